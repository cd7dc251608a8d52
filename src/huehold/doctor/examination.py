"""What works on this machine, what does not, and what to do about it.

Each check gives one `Finding`. A check that itself fails is a finding too, never a crash, and
what could hang (cameras, sound) runs in a process of its own with a time limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any, Literal

from huehold.calibration.store import Store

__all__ = ["SIGNS", "Finding", "State", "as_json", "calibrations", "examine"]

State = Literal["works", "limited", "fails"]

SIGNS: dict[State, str] = {"works": "ok", "limited": "note", "fails": "problem"}
"""The sign in words that stands before a line."""


@dataclass(frozen=True, slots=True)
class Finding:
    """The outcome of one check.

    Attributes
    ----------
    name : str
        What was looked at.
    state : {"works", "limited", "fails"}
        How it stands: ``"limited"`` leaves the program usable, with something less.
    found : str
        What was seen.
    advice : str
        What to do; empty if nothing.
    detail : mapping of str to str
        What a helper from afar would ask for, for ``--json``.
    """

    name: str
    state: State
    found: str
    advice: str = ""
    detail: Mapping[str, str] = field(default_factory=dict)

    def line(self) -> str:
        """One line for people."""
        told = f"{self.found.rstrip('.')}; {self.advice}" if self.advice else self.found
        return f"{SIGNS[self.state]:<8}{self.name:<14}{told}"


Check = Callable[[], "Finding | list[Finding]"]


def examine(today: date, *, store: Store | None = None, camera: bool = True) -> Iterator[Finding]:
    """Run all checks, one after the other.

    Parameters
    ----------
    today : date
        For the age of calibrations.
    store : Store, optional
        Where the calibrations are.
    camera : bool
        Whether cameras may be opened; their light goes on.
    """
    from huehold.doctor import checks, devices

    kept = store or Store()
    named: list[tuple[str, Check]] = [
        ("Python", checks.python),
        ("libraries", checks.libraries),
        ("OpenCV", checks.opencv),
        ("video", checks.codecs),
        ("data folder", checks.data_folder),
        ("disk", checks.disk),
        ("notebook", checks.notebook),
        ("browser", checks.browser),
        ("network", checks.network),
        ("sound", devices.sound),
    ]
    if camera:
        named.append(("camera", devices.cameras))
    named.append(("calibrations", lambda: calibrations(kept, today)))
    for name, check in named:
        yield from _guarded(name, check)


def calibrations(store: Store, today: date) -> Finding:
    """Look at the age of what is used, and for files that cannot be read."""
    entries = [entry for entry in store.entries() if not entry.shipped]
    broken = [entry.fault for entry in entries if entry.calibration is None]
    chosen, told = store.chosen()
    if broken or told:
        faults = " ".join([*told, *broken][:3])
        return Finding(
            "calibrations", "fails", faults, "remove it with `huehold calibrate remove`, or anew"
        )
    readable = [entry.calibration for entry in entries if entry.calibration is not None]
    every = [*chosen, *(found for found in readable if found not in chosen)]
    due = [found.reminder(today) for found in every if found.reminder(today)]
    if due:
        return Finding("calibrations", "limited", " ".join(due[:3]), "calibrate those anew")
    if not entries:
        return Finding(
            "calibrations", "limited", "none of your own", "start with `huehold calibrate dropper`"
        )
    ages = ", ".join(f"{c.ref} {c.age_days(today)} days" for c in chosen) or "none"
    advice = "" if chosen else "`huehold calibrate use NAME` has runs use one"
    state: State = "works" if chosen else "limited"
    return Finding("calibrations", state, f"{len(entries)} of your own; used: {ages}", advice)


def as_json(findings: list[Finding]) -> dict[str, Any]:
    """Return the findings as plain data."""
    return {
        "schema": "huehold.doctor/1",
        "works": not any(finding.state == "fails" for finding in findings),
        "findings": [asdict(finding) for finding in findings],
    }


def _guarded(name: str, check: Check) -> list[Finding]:
    try:
        found = check()
        return found if isinstance(found, list) else [found]
    except Exception as error:
        # Whatever a machine has in store, the other lines are still wanted.
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        return [Finding(name, "fails", f"could not be looked at ({reason})", "report this line")]
