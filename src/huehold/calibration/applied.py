"""What calibrations give to an assay, and which of them suit a method."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from huehold.calibration.balance import BalanceCalibration
from huehold.calibration.density import DensityCalibration
from huehold.calibration.dropper import DropperCalibration
from huehold.calibration.indicator import IndicatorChart
from huehold.calibration.model import Calibration
from huehold.calibration.store import Store
from huehold.calibration.titrant import TitrantCalibration
from huehold.errors import InputError

if TYPE_CHECKING:
    from huehold.methods import Method

__all__ = ["Applied", "applied", "gather", "hue_bands"]


_BAND_MARGIN_DEG = 6.0  # dye, depth and light differ from cup to cup
_EXCLUDES = {"strength": "standardisation", "readability": "balance"}


@dataclass(frozen=True, slots=True)
class Applied:
    """What to hand to `huehold.stoichiometry.assay.assay`, and what to tell the user.

    Attributes
    ----------
    arguments : dict
        Keyword arguments: ``drop_mass``, ``balance``, ``density``, ``standardisation``,
        ``end_ph``; only those that follow from the calibrations.
    used : tuple of str
        Names of the calibrations behind them, such as ``"dropper/kitchen@2"``.
    warnings : tuple of str
        Sentences about those that could not be used.
    """

    arguments: dict[str, Any] = field(default_factory=dict)
    used: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def gather(
    refs: Sequence[str] = (),
    *,
    store: Store | None = None,
    today: dt.date | None = None,
    skip: bool = False,
) -> tuple[tuple[Calibration, ...], tuple[str, ...]]:
    """Collect the calibrations of a run: those in use, and those named for it.

    Parameters
    ----------
    refs : sequence of str
        Names or files, as for a ``--calibration`` option; each goes before the one in use of its
        kind. ``"none"`` leaves out all that are in use.
    store : Store, optional
        Where they are kept.
    today : date, optional
        For reminders; without it there are none.
    skip : bool
        Go on without one that was named and cannot be read, and say so.

    Returns
    -------
    (tuple of Calibration, tuple of str)
        At most one of a kind, and sentences: about one in use that cannot be read (the run goes
        on without it), and reminders.

    Raises
    ------
    UsageError, InputError
        If one that was named does not exist or cannot be read, and `skip` is not set.
    """
    kept = store or Store()
    wanted = [ref for ref in refs if ref != "none"]
    chosen, told = ((), ()) if "none" in refs else kept.chosen()
    named, missed = kept.load(wanted) if skip else (tuple(map(kept.get, wanted)), ())
    found = {c.kind: c for c in (*chosen, *named)}
    told = (*told, *missed)
    reminders = [c.reminder(today) for c in found.values()] if today is not None else []
    return tuple(found.values()), (*told, *(text for text in reminders if text))


def applied(
    calibrations: Iterable[Calibration],
    method: Method,
    end_colour: tuple[float, float] | None = None,
    typed: Collection[str] = (),
) -> Applied:
    """Turn calibrations into arguments of an assay.

    Parameters
    ----------
    calibrations : iterable of Calibration
        At most one of a kind counts, the last.
    method : Method
        One made for another method is left out, with a warning.
    end_colour : (float, float), optional
        a* and b* of the colour that held; with an indicator chart it gives ``end_ph``.
    typed : collection of str
        Arguments of an assay that the user typed; they go before. A typed strength excludes
        a standardisation, a typed readability the balance.
    """
    excluded = {*typed, *(other for given, other in _EXCLUDES.items() if given in typed)}
    arguments: dict[str, Any] = {}
    used: list[str] = []
    told: list[str] = []
    for found in {c.kind: c for c in calibrations}.values():
        if found.method and found.method != method.name:
            told.append(
                f"{found.ref} was made for {found.method}, not {method.name}; it is not used."
            )
            continue
        given = _arguments(found, end_colour)
        if isinstance(found, IndicatorChart) and end_colour is not None and not given:
            told.append(_no_ph(found, end_colour))
        wanted = {name: value for name, value in given.items() if name not in excluded}
        if wanted:
            arguments |= wanted
            used.append(found.ref)
    return Applied(arguments, tuple(used), tuple(told))


def hue_bands(
    calibrations: Iterable[Calibration], method: Method
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Hue bands of start and end colour as a measured indicator chart has them for a method.

    The end colour runs from the pH at which the method calls the end to the far side of the
    chart, the start colour from the other end of the method's turning range.

    Returns
    -------
    ((float, float), (float, float)) or None
        Degrees, as `huehold.methods.model.Indicator.hue_bands` gives them. None, so that the
        method's own bands stand, if there is no chart for it, it was computed and not measured, it
        does not cover the range, the dye is colourless on a side, or its bands would overlap.
    """
    indicator = method.indicator
    charts = [
        c
        for c in calibrations
        if isinstance(c, IndicatorChart)
        and c.origin == "measured"
        and c.method in ("", method.name)
    ]
    if not charts or indicator.end_ph is None or indicator.turning_ph is None:
        return None
    end = indicator.end_ph.value
    low, high = indicator.turning_ph
    direction = method.endpoint.direction
    try:
        if direction == "base-to-acid":
            bands = charts[-1].bands(direction, (end, high), _BAND_MARGIN_DEG)
        elif direction == "acid-to-base":
            bands = charts[-1].bands(direction, (low, end), _BAND_MARGIN_DEG)
        else:
            return None
    except InputError:
        return None
    return None if _overlap(bands.start, bands.end) else (bands.start, bands.end)


def _overlap(first: tuple[float, float], second: tuple[float, float]) -> bool:
    def holds(band: tuple[float, float], hue: float) -> bool:
        """Say whether a hue lies in a band, both in degrees."""
        return (hue - band[0]) % 360.0 <= (band[1] - band[0]) % 360.0

    return (0.0, 360.0) in (first, second) or holds(first, second[0]) or holds(second, first[0])


def _arguments(found: Calibration, end_colour: tuple[float, float] | None) -> dict[str, Any]:
    match found:
        case DropperCalibration():
            return {"drop_mass": found.as_drop_mass()}
        case BalanceCalibration():
            return {"balance": found.as_balance()}
        case DensityCalibration():
            return {"density": found.as_input()}
        case TitrantCalibration():
            return {"standardisation": found.as_standardisation()}
        case IndicatorChart() if end_colour is not None and found.variable == "pH":
            seen = found.ph(*end_colour)
            return {} if seen is None else {"end_ph": seen}
    return {}


def _no_ph(chart: IndicatorChart, colour: tuple[float, float]) -> str:
    return (
        f"The colour that held (a {colour[0]:.0f}, b {colour[1]:.0f}) is none of the chart "
        f"{chart.ref}, so no pH is read from it: another dye or light, or a "
        "white that is off."
    )
