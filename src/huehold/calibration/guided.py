"""From the answers of a guide to a calibration: the one way, for terminal and page alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from huehold.calibration.guides import Answers, guide_of
from huehold.calibration.store import slug
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration
    from huehold.core import Frame, Observation
    from huehold.vision import Observer

__all__ = ["FramesOf", "Made", "make"]

FramesOf = Callable[[str, float], Iterable["Frame"]]
"""Pictures by what the user called them: name and time of the first -> frames in time order."""


@dataclass(frozen=True, slots=True)
class Made:
    """A calibration, not yet kept.

    Attributes
    ----------
    calibration : Calibration
    seen : tuple of str
        What was found on the way, picture by picture or weight by weight.
    doubts : tuple of str
        Sentences to mind.
    """

    calibration: Calibration
    seen: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Facts:
    name: str
    made: dt.date
    frames: FramesOf

    @property
    def args(self) -> dict[str, Any]:
        """Name and date, as what makes a calibration takes them."""
        return {"name": self.name, "made": self.made}


def make(
    kind: str,
    given: Mapping[str, str | Sequence[Mapping[str, str]]],
    *,
    name: str = "",
    made: dt.date,
    frames: FramesOf | None = None,
) -> Made:
    """Make the calibration that a guide's answers come to.

    Parameters
    ----------
    kind : str
        Of the guide.
    given : mapping
        The answers, as for `huehold.calibration.guides.Answers`.
    name : str
        What to call it; after what was calibrated if left out.
    made : date
        When it was measured.
    frames : callable, optional
        Where pictures are had from; files by their path if left out.

    Raises
    ------
    InputError, UsageError
        If an answer is missing or cannot be read, or they make no calibration.
    """
    guide = guide_of(kind)
    answers = Answers(guide, given)
    answers.check_given()
    for step in guide.steps:
        if step.asked or answers.has(step.key):
            answers.check(step.key)
    named = name or " ".join(str(answers[key]) for key in guide.named_by if answers.has(key))
    facts = _Facts(slug(named or _USUAL.get(kind, kind)), made, frames or _frames_of_file)
    return _MAKERS[kind](answers, facts)


def _frames_of_file(path: str, start_s: float) -> Iterable[Frame]:
    from huehold.calibration.indicator_measure import frames_of_file

    return frames_of_file(Path(path), start_s)


def _dropper(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.dropper import Weighing, calibrate

    found = [Weighing(drops, mass_g) for drops, mass_g in answers["weighings"]]
    few = ("Three weighings or more would tell how far drops differ.",) * (len(found) < 3)
    calibration = calibrate(
        found, liquid=answers["liquid"] or "", readability_g=answers["readability"], **facts.args
    )
    return Made(calibration, doubts=few)


def _balance(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.balance import calibrate, check

    checks = [check(weight, reading) for weight, reading in answers["check"]]
    repeated = tuple(reading for (reading,) in answers["repeat"])
    if not (checks or repeated or answers["together"]):
        raise UsageError("Nothing was weighed; give check weights, repeated or joint readings.")
    found = calibrate(
        readability_g=answers["readability"], repeated_g=repeated, checks=checks,
        together=answers["together"], zeros=answers["zero"], capacity_g=answers["capacity"],
        **facts.args,
    )  # fmt: skip
    return Made(
        found,
        seen=tuple(one.verdict() for one in checks if one.inside),
        doubts=tuple(one.verdict() for one in checks if not one.inside),
    )


def _density(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.density import against_water, by_volume

    masses = [mass for (mass,) in answers["mass"]]
    water = [mass for (mass,) in answers["water"]]
    told = {
        "readability_g": answers["readability"], "sample": answers["sample"] or "",
        "method": answers["method"].name, **facts.args,
    }  # fmt: skip
    if not answers["volume"]:
        return Made(against_water(masses, water, celsius=answers["celsius"], **told))
    if len(masses) != 1:
        raise UsageError("With a volume give one mass; several fills go with water.")
    return Made(by_volume(masses[0], answers["volume"], graduation=answers["graduation"], **told))


def _titrant(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.titrant import calibrate
    from huehold.stoichiometry.standardise import Standardisation
    from huehold.stoichiometry.weighing import Balance

    method, standard = answers["method"], answers["standard"]
    if standard is None:
        if len(method.standards) != 1:
            known = ", ".join(s.name for s in method.standards) or "none"
            raise UsageError(f"Say which standard was weighed; {method.name} has {known}.")
        standard = method.standards[0]
    given = Standardisation(
        standard.name, answers["standard_mass"], answers["titrant_mass"],
        answers["last_addition"], answers["assay"],
    )  # fmt: skip
    balance = Balance(answers["readability"])
    titrant = answers["titrant"] or method.titrant.name
    name = facts.name if facts.name != "titrant" else slug(titrant)
    return Made(
        calibrate(method, given, name=name, made=facts.made, balance=balance, titrant=titrant)
    )


def _indicator(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.indicator_fit import fit_chart, suits
    from huehold.calibration.indicator_measure import point_of
    from huehold.vision import Observer

    method = answers["method"]
    dye = answers["dye"] or method.indicator.name
    seen: list[str] = []
    points = []
    for picture, known in answers["pictures"]:
        observer = Observer(answers["vessel"], answers["white"])
        looks = _looks(facts.frames, picture, observer)
        label = _label(picture)
        point = point_of(looks, known, label)
        seen.append(
            f"{label}: pH {point.ph:g} +/- {point.u_ph:g}, a {point.a:.1f}, b {point.b:.1f} +/- "
            f"{point.u:.1f}"
        )
        points.append(point)
    chart = fit_chart(
        points, name=facts.name if facts.name != "indicator" else slug(dye), dye=dye,
        made=facts.made, light=answers["light"] or "", device=answers["device"] or "",
        illuminant=answers["illuminant"],
    )  # fmt: skip
    smooth = ("No model of protolysis fits; the colours are joined smoothly.",)
    return Made(chart, tuple(seen), suits(chart, method) + smooth * (chart.basis == "monotone"))


def _turbidity(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.turbidity import calibrate

    pairs: list[tuple[float, float]] = list(answers["pairs"])
    seen: list[str] = []
    if not pairs:
        pairs, seen = _indices(answers, facts.frames)
    method = answers["method"]
    made = calibrate(
        pairs, method=method.name if method else "", light=answers["light"] or "", **facts.args
    )
    two = ("Two points: between them the index is taken as straight.",) * (len(made.share) == 2)
    return Made(made, tuple(seen), two)


def _indices(answers: Answers, frames: FramesOf) -> tuple[list[tuple[float, float]], list[str]]:
    """Let one observer see all pictures, the cloudiest first: its scale goes by that one."""
    import numpy as np

    from huehold.vision import Observer

    observer = Observer(answers["vessel"], answers["white"])
    found, told, time_s = [], [], 0.0
    for picture, share in sorted(answers["pictures"], key=lambda pair: -pair[1]):
        seen = _looks(frames, picture, observer, time_s)
        time_s = seen[-1].time_s + 2.0 if seen else time_s
        values = [o.turbidity for o in seen[len(seen) // 2 :] if np.isfinite(o.turbidity)]
        if not values:
            raise InputError(
                f"{_label(picture)}: the turbidity cannot be seen; put a pattern under the cup, "
                "or say where the liquid is (X,Y,R in pixels)."
            )
        found.append((share, float(np.median(values))))
        told.append(f"{_label(picture)}: share {share:g}, index {found[-1][1]:.2f}")
    return found, told


def _looks(
    frames: FramesOf, picture: str, observer: Observer, start_s: float = 0.0
) -> list[Observation]:
    return [observer.observe(frame) for frame in frames(picture, start_s)]


def _label(picture: str) -> str:
    return Path(picture).name


def _camera(answers: Answers, facts: _Facts) -> Made:
    from huehold.calibration.camera import calibration_by_card, calibration_by_chart
    from huehold.calibration.card_guide import read_card
    from huehold.calibration.chart import fit_chart
    from huehold.calibration.chart_find import chart_at, find_chart, read_patches

    picture, corners = answers["picture"], answers["corners"]
    image = next(iter(facts.frames(picture, 0.0))).image
    device, light = answers["device"] or "", answers["light"] or ""
    told: dict[str, Any] = {**facts.args, "device": device, "light": light}
    sight = find_chart(image) if corners is None else chart_at(image, corners)
    if sight is not None:
        return Made(calibration_by_chart(fit_chart(read_patches(image, sight)), **told))
    reading = read_card(image)
    if reading is None:
        raise InputError(
            f"No chart of 24 patches is found in {_label(picture)}, nor a bench card; take it "
            "larger, flat and evenly lit, or say where its corner patches are."
        )
    return Made(calibration_by_card(reading, **told))


_USUAL: Mapping[str, str] = MappingProxyType({"density": "sample"})
_MAKERS: Mapping[str, Callable[[Answers, _Facts], Made]] = MappingProxyType(
    {
        "dropper": _dropper, "balance": _balance, "density": _density, "titrant": _titrant,
        "indicator": _indicator, "turbidity": _turbidity, "camera": _camera,
    }
)  # fmt: skip
