"""Earlier runs: list, open, compare, put away, bring back, and their files."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from huehold.errors import InputError
from huehold.notebook import Notebook
from huehold.page import messages
from huehold.past_runs import open_run

__all__ = ["RUN_ROUTES"]


def _book(request: Request) -> Notebook:
    book: Notebook = request.app.state.desk.notebook
    return book


async def _list(request: Request) -> Response:
    removed = request.query_params.get("removed") == "1"
    records = await run_in_threadpool(_book(request).runs, removed=removed)
    return JSONResponse({"runs": [messages.record_values(record) for record in records]})


async def _show(request: Request) -> Response:
    values = await run_in_threadpool(_values, _book(request), request.path_params["run"])
    return JSONResponse(values)


def _values(book: Notebook, number: int) -> dict[str, Any]:
    run = open_run(book, number)
    return {
        **messages.record_values(book.run(number)),
        **messages.result_values(run),
        "method": run.method.title,
        "bands": messages.bands_of(run.method),
        "hold_s": run.hold_s,
        "additions": sum(event.kind == "addition" for event in run.events),
        "trace": messages.trace_values(run.trace),
        "events": [messages.event_values(event) for event in run.events],
        "masses": [messages.mass_values(entry) for entry in book.masses(number, history=True)],
        "notes": [[note.time_s, note.text] for note in book.notes(number)],
        "warnings": list(run.warnings),
    }


async def _rename(request: Request) -> Response:
    title = messages.TitleIn.model_validate_json(await request.body()).title
    await run_in_threadpool(_book(request).rename, request.path_params["run"], title)
    return Response(status_code=204)


async def _remove(request: Request) -> Response:
    number = request.path_params["run"]
    if number == request.app.state.desk.watch.run_id:
        raise InputError("This run is being watched; finish it before putting it away.")
    await run_in_threadpool(_book(request).remove, number)
    return Response(status_code=204)


async def _bring_back(request: Request) -> Response:
    await run_in_threadpool(_book(request).bring_back, request.path_params["run"])
    return Response(status_code=204)


async def _file(request: Request) -> Response:
    number, kind = request.path_params["run"], request.path_params["kind"]
    text, media = await run_in_threadpool(_rendered, _book(request), number, kind)
    name = f"huehold-run-{number}.{kind}"
    return Response(
        text, media_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _rendered(book: Notebook, number: int, kind: str) -> tuple[str, str]:
    from huehold.report.csv_ import trace_csv
    from huehold.report.html import report_html
    from huehold.report.result import result_text

    run = open_run(book, number)
    if kind == "html":
        return report_html(run), "text/html"
    if kind == "csv":
        return trace_csv(run), "text/csv"
    if kind == "json":
        return result_text(run), "application/json"
    raise InputError(f"A run is had as html, csv or json, not as {kind[:20]!r}.")


RUN_ROUTES = (
    Route("/api/runs", _list),
    Route("/api/runs/{run:int}", _show, methods=["GET"]),
    Route("/api/runs/{run:int}", _rename, methods=["PATCH"]),
    Route("/api/runs/{run:int}", _remove, methods=["DELETE"]),
    Route("/api/runs/{run:int}/back", _bring_back, methods=["POST"]),
    Route("/api/runs/{run:int}/file.{kind}", _file),
)
"""Routes below /api/runs."""
