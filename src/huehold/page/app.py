"""The page's server: a few routes, each a thin way to the desk."""

from __future__ import annotations

import asyncio
import contextlib
import json
import struct
from collections.abc import Awaitable, Callable, Collection
from importlib import resources
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from huehold.errors import HueholdError
from huehold.page import messages
from huehold.page.calibrating import CALIBRATE_ROUTES
from huehold.page.desk import Desk
from huehold.page.door import COOKIE, Door, Keys, TooLargeError
from huehold.page.runs import RUN_ROUTES
from huehold.page.tray import Tray
from huehold.recorder import thumbnail

__all__ = ["make_app"]

STATIC: dict[str, str] = {
    "desk.html": "text/html",
    "phone.html": "text/html",
    "enter.html": "text/html",
    "calibrate.html": "text/html",
    "calibrate.js": "text/javascript",
    "guide.js": "text/javascript",
    "style.css": "text/css",
    "enter.js": "text/javascript",
    "desk.js": "text/javascript",
    "phone.js": "text/javascript",
    "sound.js": "text/javascript",
    "camera.js": "text/javascript",
    "link.js": "text/javascript",
    "chart.js": "text/javascript",
    "columns.js": "text/javascript",
    "outline.js": "text/javascript",
    "masses.js": "text/javascript",
    "result.js": "text/javascript",
    "runs.js": "text/javascript",
    "page.js": "text/javascript",
    "shown.js": "text/javascript",
    "words.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
"""Every file that is served, by name: no path of a client ever reaches the disk."""

_OPEN = ("/enter", "/static/enter.js", "/static/style.css", "/static/icon.svg", "/favicon.ico")
_PHONE = (
    "/phone", "/live", "/frames", "/frame", "/locks", "/cues", "/static/phone.js",
    "/static/camera.js", "/static/sound.js", "/static/link.js", "/static/page.js",
    "/static/words.js", "/static/shown.js",
)  # fmt: skip
_MOST_FRAME_BYTES = 2 << 20
_MOST_NAME = 40
_ANALYSED_WITHIN_S = 0.5
M = TypeVar("M", bound=BaseModel)


def make_app(desk: Desk | None, keys: Keys, hosts: Collection[str]) -> Starlette:
    """Build the server.

    Parameters
    ----------
    desk : Desk or None
        The run, and what may be done to it; without one there is guided calibration alone.
    keys : Keys
        Tokens and cookies.
    hosts : collection of str
        Host values that are ours.
    """
    app = Starlette(
        routes=[
            *_always(),
            *(_of_a_run() if desk is not None else [Route("/", _page("calibrate.html"))]),
        ],
        middleware=[Middleware(Door, keys=keys, hosts=hosts, open_paths=_OPEN, phone_paths=_PHONE)],
        exception_handlers={
            HueholdError: _sentence,
            ValidationError: _not_understood,
            TooLargeError: _too_large,
            HTTPException: _status,
            json.JSONDecodeError: _not_understood,
            UnicodeDecodeError: _not_understood,
        },
    )
    app.state.desk, app.state.keys, app.state.phone_address = desk, keys, None
    app.state.tray = Tray()
    return app


def _always() -> list[BaseRoute]:
    return [
        Route("/enter", _page("enter.html"), methods=["GET"]),
        Route("/enter", _enter, methods=["POST"]),
        Route("/favicon.ico", _page("icon.svg")),
        Route("/static/{name}", _static),
        Route("/calibrate", _page("calibrate.html")),
        *CALIBRATE_ROUTES,
    ]


def _of_a_run() -> list[BaseRoute]:
    return [
        Route("/", _page("desk.html")),
        Route("/phone", _page("phone.html")),
        WebSocketRoute("/live", _live),
        WebSocketRoute("/frames", _frames),
        Route("/frame", _frame, methods=["POST"]),
        Route("/locks", _locks, methods=["PUT"]),
        Route("/cues", _cues),
        Route("/api/picture", _picture),
        Route("/api/masses", _add_mass, methods=["POST"]),
        Route("/api/masses", _mass_history, methods=["GET"]),
        Route("/api/masses/{entry:int}", _change_mass, methods=["PUT", "DELETE"]),
        Route("/api/inputs", _inputs, methods=["PUT"]),
        Route("/api/vessel", _vessel, methods=["PUT", "DELETE"]),
        Route("/api/white", _white, methods=["PUT", "DELETE"]),
        Route("/api/pause", _pause, methods=["PUT"]),
        Route("/api/notes", _note, methods=["POST"]),
        Route("/api/finish", _finish, methods=["POST"]),
        Route("/api/run", _new_run, methods=["POST"]),
        Route("/api/phone", _phone_link, methods=["POST"]),
        *RUN_ROUTES,
    ]


# -- pages ----------------------------------------------------------------------------------


def _page(name: str) -> Callable[[Request], Awaitable[Response]]:
    async def page(request: Request) -> Response:
        """Answer with the page."""
        return _file(name)

    return page


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in STATIC:
        raise HTTPException(404, "There is no such file.")
    return _file(name)


def _file(name: str) -> Response:
    data = resources.files("huehold.page.static").joinpath(name).read_bytes()
    return Response(data, media_type=STATIC[name])


async def _enter(request: Request) -> Response:
    entry = await _read(request, messages.EntryIn)
    got = request.app.state.keys.exchange(entry.token)
    if got is None:
        raise HTTPException(403, "This key is used up or wrong; take the newest address.")
    cookie, role = got
    response = JSONResponse({"to": "/" if role == "desk" else "/phone"})
    secure = request.url.scheme == "https"
    response.set_cookie(COOKIE, cookie, httponly=True, samesite="strict", secure=secure, path="/")
    return response


# -- live -----------------------------------------------------------------------------------


async def _live(socket: WebSocket) -> None:
    await socket.accept()
    desk: Desk = socket.app.state.desk
    if desk.hub.full:
        await socket.close(1013, "Too many pages are open; close one.")
        return
    phone = socket.state.role == "phone"
    page = desk.hub.open(pictures=socket.query_params.get("pictures") != "0", phone=phone)
    try:
        hello = await run_in_threadpool(desk.hello)
        told = messages.for_phones(hello) if phone else hello
        await socket.send_text(json.dumps(told, allow_nan=False))
        sending = asyncio.create_task(_send_all(socket, page))
        try:
            # Nothing is expected; reading notices that the page is gone.
            while (await socket.receive())["type"] != "websocket.disconnect":
                pass
        finally:
            sending.cancel()
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        desk.hub.close(page)


async def _send_all(socket: WebSocket, page: Any) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while not page.behind:
            message = await page.next()
            if isinstance(message, str):
                await socket.send_text(message)
            else:
                await socket.send_bytes(message)
        await socket.close(1013, "This page was too slow; it connects again.")


async def _frames(socket: WebSocket) -> None:
    """Take pictures: eight bytes of time stamp, then a JPEG; answer each when analysed."""
    await socket.accept()
    desk: Desk = socket.app.state.desk
    sender = socket.query_params.get("sender", "")[:_MOST_NAME]
    try:
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            data = message.get("bytes") or b""
            if not data:
                await socket.close(1003, "A picture is sent as bytes.")
                return
            if not 8 < len(data) <= _MOST_FRAME_BYTES:
                await socket.close(1009, "A picture must be at most 2 MiB.")
                return
            (stamp_s,) = struct.unpack("<d", data[:8])
            await socket.send_json(await _take_frame(desk, data[8:], stamp_s, sender))
    except (WebSocketDisconnect, RuntimeError):
        return


async def _frame(request: Request) -> Response:
    try:
        stamp_s = float(request.query_params.get("stamp_s", ""))
    except ValueError:
        raise HTTPException(422, "stamp_s must be the picture's time in seconds.") from None
    desk: Desk = request.app.state.desk
    sender = request.query_params.get("sender", "")[:_MOST_NAME]
    told = await _take_frame(desk, await request.body(), stamp_s, sender)
    moment = desk.watch.moment
    # A browser that refuses WebSockets to this certificate hears how the run stands here.
    told["moment"] = messages.moment_values(moment) if moment is not None else None
    return JSONResponse(told)


async def _locks(request: Request) -> Response:
    """Take what a sending browser says of its camera; the pictures tell whether it is true."""
    source = request.app.state.desk.phone
    said = await _read(request, messages.LocksIn)
    if source is not None:
        source.locks.update(said.locks)
    return Response(status_code=204)


async def _cues(request: Request) -> Response:
    return JSONResponse(messages.cue_values())


async def _take_frame(desk: Desk, data: bytes, stamp_s: float, sender: str) -> dict[str, Any]:
    source = desk.phone
    if desk.watch.over:
        return {"taken": False, "over": True, "error": "The run is over; no picture is wanted."}
    if source is None:
        return {"taken": False, "error": "This run has a camera of its own; no picture is wanted."}
    if not abs(stamp_s) < 1e12:
        return {"taken": False, "error": "The picture's time makes no sense."}
    if not desk.takes(sender):
        return {"taken": False, "error": "Another camera is sending its pictures to this run."}
    before = desk.watch.moment
    taken = await run_in_threadpool(source.push, data, stamp_s)
    if not taken:
        return {"taken": False, "error": "This is no whole JPEG picture, or it came too late."}
    await _until_analysed(desk, before)
    return {"taken": True, "stamp_s": stamp_s}


async def _until_analysed(desk: Desk, before: Any) -> None:
    loop = asyncio.get_running_loop()
    until_s = loop.time() + _ANALYSED_WITHIN_S
    while desk.watch.moment is before and loop.time() < until_s:
        await asyncio.sleep(0.005)


# -- what may be done -----------------------------------------------------------------------


async def _picture(request: Request) -> Response:
    frame = request.app.state.desk.watch.newest
    if frame is None:
        raise HTTPException(404, "No picture has come yet.")
    jpeg = await run_in_threadpool(thumbnail, frame.image, 1280)
    return Response(jpeg, media_type="image/jpeg")


async def _add_mass(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    entry = await run_in_threadpool(desk.type_mass, await _read(request, messages.MassIn))
    return JSONResponse(messages.mass_values(entry), 201)


async def _mass_history(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    number = desk.watch.run_id
    entries = desk.watch.masses
    if number is not None:
        entries = await run_in_threadpool(desk.notebook.masses, number, history=True)
    return JSONResponse({"masses": [messages.mass_values(entry) for entry in entries]})


async def _change_mass(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    number = request.path_params["entry"]
    typed = await _read(request, messages.MassIn) if request.method == "PUT" else None
    entry = await run_in_threadpool(desk.change_mass, number, typed)
    return JSONResponse(messages.mass_values(entry))


async def _inputs(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    given = await _read(request, messages.InputsIn)
    inputs = await run_in_threadpool(desk.set_inputs, given.values)
    return JSONResponse({"inputs": inputs.as_mapping(), "saved": desk.watch.unsaved == 0})


async def _vessel(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    given = None
    if request.method == "PUT":
        given = (await _read(request, messages.VesselIn)).ellipse()
    await run_in_threadpool(desk.watch.set_vessel, given)
    return Response(status_code=204)


async def _white(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    given = (await _read(request, messages.WhiteIn)).rect() if request.method == "PUT" else None
    await run_in_threadpool(desk.watch.set_white, given)
    return Response(status_code=204)


async def _pause(request: Request) -> Response:
    request.app.state.desk.watch.pause((await _read(request, messages.PauseIn)).paused)
    return Response(status_code=204)


async def _note(request: Request) -> Response:
    note = await _read(request, messages.NoteIn)
    watch = request.app.state.desk.watch
    await run_in_threadpool(watch.note, note.text)
    return JSONResponse({"saved": watch.unsaved == 0}, 201)


async def _finish(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    await run_in_threadpool(desk.finish)
    return JSONResponse(desk.finished_values())


async def _new_run(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    watch = await run_in_threadpool(desk.new_run)
    return JSONResponse({"run_id": watch.run_id}, 201)


async def _phone_link(request: Request) -> Response:
    """Make a new one-time address for a phone, as text and as a QR code."""
    address = request.app.state.phone_address
    if address is None:
        raise HTTPException(409, "Start with `huehold watch --phone` to use a phone's camera.")
    import segno

    link = f"{address}/enter#{request.app.state.keys.new_token('phone')}"
    picture = segno.make(link, error="m").svg_data_uri(scale=4, light="white", omitsize=True)
    return JSONResponse({"link": link, "qr": picture, "fingerprint": request.app.state.fingerprint})


async def _read(request: Request, model: type[M]) -> M:
    return model.model_validate_json(await request.body())


# -- what went wrong, in one sentence ---------------------------------------------------------


async def _sentence(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": str(error)}, 422)


async def _not_understood(request: Request, error: Exception) -> Response:
    text = "The request was not understood."
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False, include_context=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        text = f"{place or 'The request'}: {first['msg']}."
    return JSONResponse({"error": text}, 422)


async def _status(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse({"error": error.detail}, error.status_code)


async def _too_large(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": "The request is too large."}, 413)
