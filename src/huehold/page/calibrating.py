"""Guided calibration on the page: pictures taken in, answers checked, the result kept.

The guides, and how their answers come to a calibration, are the terminal's: see
`huehold.calibration.guides` and `huehold.calibration.guided`.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from huehold.calibration.guide_reading import choices_of
from huehold.calibration.guided import Made, make
from huehold.calibration.guides import AnswerError, Answers, Guide, guide_of, list_guides
from huehold.calibration.store import Store, slug
from huehold.calibration.telling import entry_values, facts, swatches
from huehold.capture.picture import decode_jpeg
from huehold.errors import InputError, UsageError
from huehold.page.messages import In
from huehold.page.tray import Tray
from huehold.watching import Watch

__all__ = ["CALIBRATE_ROUTES"]

_PICTURES = "/api/calibrate/pictures"
_SILENT_S = 2.0
_MOST_ANSWER = 2000


class AnswersIn(In):
    """Answers to a guide: texts by field, and rows of texts by step."""

    kind: str = Field(max_length=40)
    step: str = Field(default="", max_length=40)
    answers: dict[str, str | list[dict[str, str]]] = Field(max_length=60)
    name: str = Field(default="", max_length=80)
    use: bool = False


class ChoiceIn(In):
    """A calibration to use from now on; or none of its kind."""

    name: str = Field(max_length=120)
    use: bool


# -- routes -----------------------------------------------------------------------------------


async def _overview(request: Request) -> Response:
    return JSONResponse(await run_in_threadpool(_overview_values, _watch(request)))


def _overview_values(watch: Watch | None) -> dict[str, Any]:
    rows, told = entry_values(Store(), dt.date.today())
    usual = _usual(watch)
    return {
        "guides": [_guide_values(guide, usual) for guide in list_guides().values()],
        "standards": {name: choices_of("standards", name) for name, _ in choices_of("methods")},
        "kept": [_kept_values(row) for row in rows if not row["shipped"]],
        "told": list(told),
        "run": watch is not None,
    }


def _kept_values(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "file"}


def _usual(watch: Watch | None) -> dict[str, str]:
    """Answers that the run which is watched suggests, by field."""
    if watch is None:
        return {}
    method = watch.session.method.name
    shipped = method in {name for name, _ in choices_of("methods")}
    device = watch.source.info.detail.get("device", "")
    return {"device": device} | ({"method": method} if shipped else {})


def _guide_values(guide: Guide, usual: dict[str, str]) -> dict[str, Any]:
    values = guide.model_dump(mode="json")
    for step in values["steps"]:
        for field in step["fields"]:
            field["start"] = usual.get(field["key"], field["start"])
            fixed = field["choices"] not in ("", "standards")
            field["offered"] = choices_of(field["choices"]) if fixed else []
    return values


async def _take_picture(request: Request) -> Response:
    tray: Tray = request.app.state.tray
    image = await run_in_threadpool(decode_jpeg, await request.body())
    if image is None:
        raise InputError("This is no whole JPEG picture of at most 9 megapixels; take another.")
    return JSONResponse(await run_in_threadpool(tray.put, image), 201)


async def _take_live(request: Request) -> Response:
    tray: Tray = request.app.state.tray
    watch = _watch(request)
    frame = watch.newest if watch is not None and not watch.over else None
    if watch is None or frame is None or watch.source.silent_s > _SILENT_S:
        raise InputError(
            "No picture comes from the run's camera just now; start it on the page of the run, "
            "or choose a picture file."
        )
    return JSONResponse(await run_in_threadpool(tray.put, frame.image), 201)


async def _show_picture(request: Request) -> Response:
    tray: Tray = request.app.state.tray
    jpeg = await run_in_threadpool(tray.jpeg, f"picture {request.path_params['number']}")
    return Response(jpeg, media_type="image/jpeg")


async def _check(request: Request) -> Response:
    given = AnswersIn.model_validate_json(await request.body())
    return await _told(_check_step, given)


def _check_step(given: AnswersIn) -> Response:
    _answers(given).check(given.step)
    return Response(status_code=204)


async def _result(request: Request) -> Response:
    given = AnswersIn.model_validate_json(await request.body())
    tray: Tray = request.app.state.tray
    return await _told(lambda given: JSONResponse(_made_values(_made(given, tray))), given)


async def _keep(request: Request) -> Response:
    given = AnswersIn.model_validate_json(await request.body())
    tray: Tray = request.app.state.tray
    return await _told(lambda given: JSONResponse(_kept(_made(given, tray), given.use), 201), given)


async def _told(answer: Any, given: AnswersIn) -> Response:
    """Answer, or say which field is wrong."""
    try:
        response: Response = await run_in_threadpool(answer, given)
    except AnswerError as error:
        place = {"step": error.step, "field": error.field, "row": error.row}
        return JSONResponse({"error": str(error), **place}, 422)
    return response


def _answers(given: AnswersIn) -> Answers:
    """Read the answers of a page; what a page may only choose must be among what is offered."""
    guide = guide_of(given.kind)
    texts = [text for text in given.answers.values() if isinstance(text, str)]
    rows = [row for row in given.answers.values() if not isinstance(row, str)]
    texts += [text for many in rows for row in many for text in row.values()]
    if any(len(text) > _MOST_ANSWER for text in texts):
        raise UsageError("An answer is too long to be read.")
    method = given.answers.get("method", "")
    if method and method not in {name for name, _ in choices_of("methods")}:
        raise UsageError("That method does not come with the program; calibrate in the terminal.")
    return Answers(guide, given.answers)


def _made(given: AnswersIn, tray: Tray) -> Made:
    answers = _answers(given)
    name = slug(given.name) if given.name.strip() else ""
    return make(
        given.kind, answers.given, name=name, made=dt.date.today(), frames=tray.frames
    )  # fmt: skip


def _made_values(made: Made) -> dict[str, Any]:
    found = made.calibration
    return {
        "name": found.name,
        "summary": found.summary(),
        "facts": facts(found),
        "seen": made.seen,
        "doubts": made.doubts,
        "swatches": swatches(found),
    }


def _kept(made: Made, use: bool) -> dict[str, Any]:
    store = Store()
    kept = store.save(made.calibration)
    if use:
        store.use(f"{kept.kind}/{kept.name}")
    return {"ref": kept.ref, "used": use}


async def _choose(request: Request) -> Response:
    choice = ChoiceIn.model_validate_json(await request.body())
    await run_in_threadpool(_use, choice)
    return Response(status_code=204)


def _use(choice: ChoiceIn) -> None:
    kind, slash, _ = choice.name.partition("/")
    if not slash or choice.name.endswith(".toml"):
        raise UsageError("Name the calibration as kind/name.")
    if choice.use:
        Store().use(choice.name.partition("@")[0])
    else:
        Store().use_none(kind)


def _watch(request: Request) -> Watch | None:
    desk = request.app.state.desk
    return None if desk is None else desk.watch


CALIBRATE_ROUTES = (
    Route("/api/calibrate", _overview),
    Route(_PICTURES, _take_picture, methods=["POST"]),
    Route(f"{_PICTURES}/live", _take_live, methods=["POST"]),
    Route(f"{_PICTURES}/{{number:int}}", _show_picture),
    Route("/api/calibrate/check", _check, methods=["POST"]),
    Route("/api/calibrate/result", _result, methods=["POST"]),
    Route("/api/calibrate/keep", _keep, methods=["POST"]),
    Route("/api/calibrate/use", _choose, methods=["PUT"]),
)
"""Routes below /api/calibrate."""
