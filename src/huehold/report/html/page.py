"""The HTML report: one file that opens without internet and asks for nothing."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from jinja2 import BaseLoader, Environment, StrictUndefined, Template
from markupsafe import Markup

from huehold import __version__
from huehold.report.assay_view import view_assay
from huehold.report.figures import all_warnings, key_figures
from huehold.report.files import write_text
from huehold.report.html.data import embedded_json, run_data
from huehold.report.html.tables import (
    count_words,
    event_rows,
    method_notes,
    number_rows,
    settings_pairs,
)
from huehold.report.words import VERDICTS, clock
from huehold.run import Run

__all__ = ["report_html", "write_report"]

_SCRIPTS: Final = ("trace.js", "report.js")


def report_html(run: Run) -> str:
    """Return a run's report as one HTML page.

    Parameters
    ----------
    run : Run
        A finished run.

    Returns
    -------
    str
        The page, with pictures, style and script inside; it makes no request.
    """
    return _template().render(**_content(run))


def write_report(run: Run, path: str | Path) -> Path:
    """Write the HTML report, whole or not at all.

    Raises
    ------
    InputError
        If the folder does not exist or writing is refused.
    """
    return write_text(path, report_html(run))


def _content(run: Run) -> dict[str, Any]:
    style, script = _part("report.css"), "\n".join(map(_part, _SCRIPTS))
    data = run_data(run)
    step_s, rows = number_rows(run)
    return {
        "policy": _policy(style, script),
        "style": Markup(style),
        "script": Markup(script),
        "data": Markup(embedded_json(data)),  # escaped for a script element
        "ribbon": data["ribbon"],
        "run": run,
        "verdict": VERDICTS[run.verdict.kind],
        "figures": key_figures(run),
        "warnings": all_warnings(run),
        "assay": view_assay(run.assay),
        "events": event_rows(run),
        "counts": count_words(run),
        "numbers": rows,
        "numbers_step_s": step_s,
        "settings": settings_pairs(run),
        "notes": method_notes(run.method),
        "clock": clock,
        "has_hold": data["hold"] is not None,
        "has_pictures": bool(data["pictures"]),
        "version": __version__,
    }


def _policy(style: str, script: str) -> str:
    """Return a content security policy that allows these two texts and data pictures only."""
    return (
        f"default-src 'none'; img-src data:; style-src '{_digest(style)}'; "
        f"script-src '{_digest(script)}'; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


@cache
def _part(name: str) -> str:
    """Read a file of this folder, line ends as the browser will count them."""
    text = files(__package__).joinpath(name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n").strip()


@cache
def _template() -> Template:
    environment = Environment(
        loader=BaseLoader(), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["safe_markup"] = Markup
    return environment.from_string(_part("report.html.j2"))
