"""Several titrations of one sample: each an assay, together one result.

What varies between runs (masses, last addition) averages out; what all runs share (strength,
density, molar masses) does not. The scatter of the runs is held against the budget, and a run
that looks like an outlier is named but never dropped.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from huehold.errors import InputError
from huehold.methods.model import Method
from huehold.stoichiometry.assay import Assay, Settings, assay
from huehold.stoichiometry.decision import Decision, decide
from huehold.stoichiometry.outliers import OutlierTest, dixon, grubbs
from huehold.stoichiometry.propagate import coverage_factor
from huehold.stoichiometry.repeatability import Combined, Repeatability, against_budget, combine
from huehold.stoichiometry.replicates import Summary, summarise
from huehold.stoichiometry.rounding import with_uncertainty

__all__ = ["COLUMNS", "Replicates", "assay_replicates", "combine_assays", "read_replicates"]

COLUMNS = {
    "sample_mass_g": "sample_mass",
    "titrant_mass_g": "titrant_mass",
    "bracket_mass_g": "bracket_mass",
    "blank_mass_g": "blank_mass",
    "reagent_mass_g": "reagent_mass",
    "water_mass_g": "water_mass",
}
"""Columns of a file of replicates, and the argument of `assay` each one is."""

_NEEDED = ("sample_mass_g", "titrant_mass_g")
_MOST_RUNS = 100
_MOST_BYTES = 1_000_000
_VARYING = (
    "sample mass", "titrant mass", "last addition", "last addition of the sample",
    "excess at the end",
)  # fmt: skip


@dataclass(frozen=True)
class Replicates:
    """Runs of one method on one sample, and what they say together.

    Attributes
    ----------
    assays : tuple of Assay
        In the order of the runs.
    key, label, unit : str
        Figure that was combined (dose if there is one, else content).
    summary : Summary
        Mean, s, RSD, confidence interval, trend.
    repeatability : Repeatability
        Scatter against the budget.
    combined : Combined
        Mean with its combined uncertainty.
    U, k : float
        Expanded uncertainty and coverage factor.
    outliers : tuple of OutlierTest
        For information, from three runs on.
    conformity : Decision or None
    """

    assays: tuple[Assay, ...]
    key: str
    label: str
    unit: str
    summary: Summary
    repeatability: Repeatability
    combined: Combined
    U: float
    k: float
    outliers: tuple[OutlierTest, ...]
    conformity: Decision | None

    @property
    def text(self) -> str:
        """The combined result, rounded once."""
        return with_uncertainty(self.combined.value, self.U, self.unit)

    @property
    def decision(self) -> str:
        """The decision against the label claim in words; empty without a claim."""
        if self.conformity is None:
            return ""
        return f"{self.conformity.sentence} {self.conformity.remedy}".strip()

    def to_json(self) -> dict[str, Any]:
        """Plain values: every run, and the figures of them together."""
        return {
            "schema": "huehold.replicates/1",
            "runs": [one.to_json() for one in self.assays],
            "combined": {
                "key": self.key,
                "label": self.label,
                "unit": self.unit,
                "value": self.combined.value,
                "u": self.combined.u,
                "expanded": self.U,
                "k": self.k,
                "text": self.text,
            },
            "summary": {
                "n": self.summary.n,
                "mean": self.summary.mean,
                "s": self.summary.s,
                "rsd_percent": self.summary.rsd_percent,
                "low": self.summary.low,
                "high": self.summary.high,
                "trend": None if self.summary.trend is None else self.summary.trend.text,
            },
            "repeatability": self.repeatability.text,
            "outliers": [test.text for test in self.outliers],
            "decision": self.decision or None,
        }


def assay_replicates(
    method: Method | str | Path, runs: Sequence[Mapping[str, object]], **common: Any
) -> Replicates:
    """Assay several runs and combine them.

    Parameters
    ----------
    method : Method, str or Path
    runs : sequence of mapping
        Arguments of `huehold.stoichiometry.assay.assay` that belong to one run.
    **common
        Arguments that all runs share.

    Raises
    ------
    InputError
        If a run makes no sense (it is named), or there are fewer than two.
    """
    if len(runs) < 2:
        raise InputError(f"replicates need at least two runs, not {len(runs)}")
    assays = []
    for number, run in enumerate(runs, start=1):
        try:
            settings = _settings(common.get("settings"), number)
            assays.append(assay(method, **{**common, **run, "settings": settings}))
        except InputError as error:
            raise InputError(f"run {number}: {error}") from error
    return combine_assays(assays)


def combine_assays(assays: Sequence[Assay]) -> Replicates:
    """Combine assays of the same method on the same sample.

    Raises
    ------
    InputError
        If there are fewer than two, or their methods, claims or doses differ.
    """
    _check_alike(assays)
    first = assays[0]
    key, unit = first.main.key, first.main.unit
    values = [one.results[key].value for one in assays]
    run, common, dof_common = _parts(first)
    scale = first.results[key].value / first.results["content"].value
    summary = summarise(values, unit=unit)
    repeatability = against_budget(values, run * scale)
    u_run, dof_run = (run * scale, float("inf")) if repeatability.agrees else (summary.s, None)
    combined = combine(
        summary.mean,
        len(values),
        u_run,
        common * scale,
        dof_run=float(summary.dof) if dof_run is None else dof_run,
        dof_common=dof_common,
    )
    k = coverage_factor(combined.dof, first.settings.coverage)
    return Replicates(
        tuple(assays), key, first.main.label, unit, summary, repeatability, combined,
        k * combined.u, k, _outliers(values), _decide(assays, combined),
    )  # fmt: skip


def read_replicates(path: Path) -> tuple[dict[str, object], ...]:
    """Read runs from a CSV file with a header.

    Parameters
    ----------
    path : Path
        Columns of `COLUMNS`, of which ``sample_mass_g`` and ``titrant_mass_g`` are needed;
        separated by commas, or by semicolons where numbers have decimal commas.

    Raises
    ------
    InputError
        If the file cannot be read, or a column or number is wrong; the line is named.
    """
    rows = _table(path)
    names = [name.strip() for name in rows[0]] if rows else []
    _check_columns(names, path)
    if len(rows) > _MOST_RUNS + 1:
        raise InputError(f"{path.name} holds more than {_MOST_RUNS} runs; is it another table?")
    return tuple(
        _row(names, row, f"{path.name}, line {number}")
        for number, row in enumerate(rows[1:], start=2)
        if any(cell.strip() for cell in row)
    )


def _table(path: Path) -> list[list[str]]:
    try:
        if path.is_char_device() or path.is_fifo() or path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path} is no table of some runs; name a CSV file")
        text = path.read_text("utf-8-sig")
        header = text.partition("\n")[0]
        return list(csv.reader(io.StringIO(text), delimiter=";" if ";" in header else ","))
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}: check the name and the folder.") from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"the file of replicates {path} cannot be read as UTF-8 text") from error


def _settings(given: Settings | None, number: int) -> Settings:
    chosen = given or Settings()
    # Monte Carlo checks the model, which all runs share: once is enough
    return chosen if number == 1 else replace(chosen, trials=False)


def _check_columns(names: Sequence[str], path: Path) -> None:
    for name in names:
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, n=1)
            hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(COLUMNS)}"
            raise InputError(f"{path.name} has a column '{name}'; {hint}")
        if names.count(name) > 1:
            raise InputError(f"{path.name} has the column '{name}' twice; keep one of them")
    for needed in _NEEDED:
        if needed not in names:
            raise InputError(f"{path.name} has no column '{needed}'; its first line names columns")


def _row(names: Sequence[str], row: Sequence[str], where: str) -> dict[str, object]:
    if len(row) != len(names):
        raise InputError(
            f"{where}: {len(row)} values for {len(names)} columns (decimal commas? then separate "
            "columns by semicolons)"
        )
    cells = {name: cell.strip() for name, cell in zip(names, row, strict=True)}
    for needed in _NEEDED:
        if not cells[needed]:
            raise InputError(f"{where}: no {needed}; every run needs it")
    return {COLUMNS[name]: cell for name, cell in cells.items() if cell}


def _check_alike(assays: Sequence[Assay]) -> None:
    if len(assays) < 2:
        raise InputError(f"replicates need at least two runs, not {len(assays)}")
    first = assays[0]
    for number, other in enumerate(assays[1:], start=2):
        if other.method != first.method:
            raise InputError(
                f"run {number} is by {other.method.name}, run 1 by {first.method.name}; only runs "
                "of one method are replicates"
            )
        if (other.claim_text, other.main.label) != (first.claim_text, first.main.label):
            raise InputError(f"run {number} has another label claim or dose than run 1")


def _parts(one: Assay) -> tuple[float, float, float]:
    """Return u of the content by what varies, by what is shared, and the latter's dof."""
    budget = one.propagation
    varying = [row.name for row in budget.rows if row.name in _VARYING]
    shared = [row.name for row in budget.rows if row.name not in _VARYING]
    run, _ = budget.part(varying)
    common, dof = budget.part(shared)
    return run, common, dof


def _outliers(values: Sequence[float]) -> tuple[OutlierTest, ...]:
    if len(values) < 3 or max(values) == min(values):
        return ()
    tests = [grubbs(values)]
    return (*tests, dixon(values)) if len(values) <= 10 else tuple(tests)


def _decide(assays: Sequence[Assay], combined: Combined) -> Decision | None:
    first = assays[0]
    if first.limits is None or first.percent_of_label is None:
        return None
    scale = first.percent_of_label / first.main.value
    return decide(
        combined.value * scale,
        combined.u * scale,
        first.limits.low,
        first.limits.high,
        risk=first.settings.risk,
        dof=combined.dof,
        unit="%",
        u_run=combined.u_run * scale,
        runs=combined.n,
    )
