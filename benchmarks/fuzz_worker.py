"""Worker of the fuzz harness: runs one input after the other and tells what came of each.

It reads jobs as lines of JSON from standard input and answers with a line each on the pipe
named by its first argument. The harness ends it when an input takes too long.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import sys
import time
import traceback
import warnings
from pathlib import Path
from typing import Any

_MOST_BYTES = 3 << 30  # of address space beyond what is mapped at the start


def main() -> None:
    """Answer jobs until standard input ends."""
    answers = os.fdopen(int(sys.argv[1]), "w", buffering=1)
    _warm_up()
    mapped = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (mapped + _MOST_BYTES, mapped + _MOST_BYTES))
    jobs, sys.stdin = sys.stdin, io.StringIO()  # nobody answers a question
    for line in jobs:
        answers.write(json.dumps(_answer(json.loads(line))) + "\n")


def _warm_up() -> None:
    """Import what inputs need, so that the guard times the work and not the start."""
    import huehold.calibration.files
    import huehold.cli.compute
    import huehold.cli.review
    import huehold.cli.runs
    import huehold.report.result
    import huehold.session  # noqa: F401


def _answer(job: dict[str, Any]) -> dict[str, Any]:
    _reset_peak()
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code, trace = _run(job)
    said = err.getvalue()
    if "Traceback (most recent call last)" in said:
        trace = trace or said[-3000:]
    return {
        "code": code,
        "trace": trace,
        "said": said[-400:],
        "bad_json": _bad_json(out.getvalue()) if job.get("json") and code == 0 else "",
        "peak_mb": _peak_mb(),
    }


def _run(job: dict[str, Any]) -> tuple[int | None, str]:
    from huehold import cli
    from huehold.errors import HueholdError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if "call" in job:
                _CALLS[job["call"]](Path(job["path"]))
                return 0, ""
            return cli.run(job["arguments"]), ""
    except HueholdError as error:
        return error.exit_code, ""
    except BaseException:
        return None, traceback.format_exc()[-3000:]


def _read_assay(path: Path) -> None:
    from huehold.errors import InputError
    from huehold.stoichiometry.assay_result import Assay

    try:
        data = json.loads(path.read_text("utf-8"))
    except (ValueError, RecursionError) as error:
        raise InputError("no JSON") from error
    if not isinstance(data, dict):
        raise InputError("no object")
    json.dumps(Assay.from_json(data).to_json(), allow_nan=False)


def _read_calibration(path: Path) -> None:
    from huehold.calibration.files import read_calibration

    read_calibration(path).summary()  # type: ignore[attr-defined]


def _wait(seconds: Path) -> None:
    time.sleep(float(str(seconds)))


_CALLS = {"assay": _read_assay, "calibration": _read_calibration, "wait": _wait}


def _bad_json(text: str) -> str:
    def refuse(constant: str) -> None:
        raise ValueError(f"{constant} in JSON")

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError as error:
        return str(error)
    return ""


def _reset_peak() -> None:
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def _peak_mb() -> float:
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024.0


if __name__ == "__main__":
    main()
