"""A synthetic run made of core types, for tests and for looking at pictures.

It follows the course of a mass titration: each addition turns the mixture green, the
colour fades back while solid is left, and the last green holds.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import lab2rgb

from huehold.core import Ellipse, Event, Reading, SourceInfo, Trace, Verdict
from huehold.methods import load_method
from huehold.run import Picture, Run, Settings
from huehold.stoichiometry.assay import Assay
from huehold.stoichiometry.assay import Settings as AssaySettings
from huehold.stoichiometry.assay import assay as compute

START_LAB = np.array([58.0, 38.0, 34.0])
END_LAB = np.array([66.0, -22.0, 38.0])
HOLD_S = 60.0


def assay(label: str = "chewable suspension") -> Any:
    """Return something with the face of an assay."""
    row = SimpleNamespace
    working_html = (
        "<ol><li><p>Moles of acid</p><math><mi>n</mi><mo>=</mo>"
        "<mfrac><mi>m</mi><mi>M</mi></mfrac></math></li></ol>"
    )
    return SimpleNamespace(
        summary=(
            ("Mg(OH)₂", "81.5 ± 1.6 mg/mL (k = 2)"),
            ("in 15 mL", "1,222 ± 24 mg"),
            ("Coverage", "95 %, k = 2.00"),
        ),
        results={"content": None, "dose": None},
        notes=("No blank was titrated.",),
        warnings=("the label is read as 5 g per 100 mL",),
        decision=f"The {label} claims 1,200 mg per 15 mL: within 5 %.",
        working=row(text="1. Moles of acid\n   n = m / M", html=working_html),
        budget=(
            row(
                name="molar mass",
                value=58.32,
                unit="g/mol",
                u=0.001,
                share_percent=0.1,
                source="CIAAW 2021",
            ),
            row(
                name="titrant strength",
                value=5.0,
                unit="g/100 mL",
                u=0.03,
                share_percent=71.5,
                source=f"label of the {label}",
            ),
            row(
                name="bracket",
                value=1.96,
                unit="g",
                u=0.012,
                share_percent=28.4,
                source="half the last addition",
            ),
        ),
        to_json=lambda: {"label": label, "mg_per_ml": 81.5, "u_mg_per_ml": float("nan")},
    )


def real_assay() -> Assay:
    """Return an assay as the stoichiometry computes it, without Monte Carlo."""
    return compute(
        "magnesium-hydroxide-by-vinegar",
        sample_mass="1.25 g",
        titrant_mass="4.01 g",
        bracket_mass="0.06 g",
        strength="5.0 %",
        strength_basis="per-100-mL",
        claim="1200 mg/15 mL",
        settings=AssaySettings(trials=False),
    )


def _course(t: NDArray[np.float64], adds: list[float], last: float) -> NDArray[np.float64]:
    """Return how far the colour is from start (0) to end (1)."""
    green = np.zeros_like(t)
    for i, at in enumerate(adds):
        tau = 1.2 + 9.0 * (i / len(adds)) ** 3
        since = np.maximum(t - at, 0.0)
        pulse = np.exp(-since / tau) * (1 - np.exp(-since / 0.35))
        green = np.maximum(green, pulse * (0.7 + 0.3 * i / len(adds)))
    return np.maximum(green, 1 - np.exp(-np.maximum(t - last, 0.0) / 0.5))


def _strip(rgb: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.uint8]:
    shade = np.linspace(-14, 10, 24)[:, None] + rng.normal(0, 3, (24, 1))
    return np.clip(rgb * 255 + shade, 0, 255).astype(np.uint8)


def _picture(rgb: NDArray[np.float64], hand: bool, size: tuple[int, int]) -> bytes:
    width, height = size
    image = np.full((height, width, 3), (196, 188, 176), np.uint8)
    bgr = tuple(float(v) for v in (rgb * 255)[::-1])
    centre = (width // 2, height // 2)
    cv2.circle(image, centre, 52, (235, 238, 240), -1, cv2.LINE_AA)
    cv2.circle(image, centre, 46, bgr, -1, cv2.LINE_AA)
    cv2.ellipse(image, (centre[0] - 16, centre[1] - 18), (9, 5), -30, 0, 360, (250, 250, 250), -1)
    if hand:
        cv2.rectangle(image, (centre[0] + 10, 0), (centre[0] + 60, 70), (130, 160, 205), -1)
    return bytes(cv2.imencode(".jpg", image)[1])


def make_run(
    *,
    length_s: float = 240.0,
    rate_hz: float = 12.0,
    count: int = 14,
    kind: str = "endpoint",
    masses: bool = True,
    with_assay: bool = True,
    turn_deg: float = 0.0,
    pictures: int = 40,
    seed: int = 7,
    name: str = "kitchen run.mp4",
    warnings: tuple[str, ...] = ("No white patch was found: colours refer to the brightest grey.",),
) -> Run:
    """Build a run of `length_s`, its last addition a hold and a little before the end."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, length_s, 1 / rate_hz) + rng.uniform(0, 0.01, int(np.ceil(length_s * rate_hz)))
    t -= t[0]
    last = length_s - HOLD_S - 12.0
    adds = list(np.linspace(14.0, last, count) + np.r_[rng.uniform(-2, 2, count - 1), 0.0])
    holds = kind in ("endpoint", "overshoot")
    green = _course(t, adds, last if holds else np.inf)
    lab = START_LAB + green[:, None] * (END_LAB - START_LAB)
    lab = lab + rng.normal(0, 0.5, lab.shape)
    if kind == "unreadable":
        lab[:, 1:] *= 0.04
    clean = lab.copy()
    turn = np.deg2rad(turn_deg)
    lab[:, 1:] = lab[:, 1:] @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    )
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.rad2deg(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    hands = [(a - 0.8, a + 0.5) for a in adds[::3]]
    swirl = (length_s * 0.42, length_s * 0.42 + 4.0)
    hidden = np.zeros(len(t), bool)
    for lo, hi in hands:
        hidden |= (t > lo) & (t < hi)
    shaken = (t > swirl[0]) & (t < swirl[1])
    trust = np.where(hidden, 0.2, np.where(shaken, 0.6, 0.97))
    reasons = tuple(
        ("hand",) if h else (("swirl",) if s else ()) for h, s in zip(hidden, shaken, strict=True)
    )
    turbidity = np.clip(1.02 - (t / last) ** 1.5 * 0.9, 0.06, 1.0) + rng.normal(0, 0.012, len(t))
    for column in (hue, chroma):
        column[hidden & (rng.random(len(t)) < 0.5)] = np.nan
    rgb = lab2rgb(clean)
    strips = tuple(
        _strip(colour, rng) if i % 5 == 0 and not h else None
        for i, (colour, h) in enumerate(zip(rgb, hidden, strict=True))
    )
    trace = Trace(
        time_s=t,
        lightness=lab[:, 0],
        a=lab[:, 1],
        b=lab[:, 2],
        hue_deg=hue,
        chroma=chroma,
        hue_sd_deg=np.rad2deg(0.9 / np.maximum(chroma, 0.5)),
        turbidity=turbidity,
        trust=trust,
        vessel=(Ellipse(320.0, 240.0, 110.0, 104.0, 12.0),) * len(t),
        reasons=reasons,
        strip=strips,
    )
    portion_g = 2.45 / count
    portions = np.r_[np.full(count - count // 3, portion_g), np.full(count // 3, 0.06)]
    total = np.cumsum(portions)
    readings = (
        tuple(Reading(a + 1.0, float(m), "file") for a, m in zip(adds, total, strict=True))
        if masses
        else ()
    )
    return Run(
        source=SourceInfo(name, 640, 480, length_s, {"codec": "h264", "colour": "bt709 limited"}),
        method=load_method("magnesium-hydroxide-by-vinegar"),
        settings=Settings(),
        verdict=_verdict(kind, last, hue, t),
        events=_events(kind, adds, t, green, hands, swirl, last),
        trace=trace,
        readings=readings,
        assay=assay() if with_assay and masses and holds else None,
        warnings=warnings,
        frames_seen=round(length_s * 30),
        frames_used=len(t),
        pictures=tuple(
            Picture(float(t[i]), _picture(rgb[i], bool(hidden[i]), (240, 180)))
            for i in np.linspace(0, len(t) - 1, pictures).astype(int)
        ),
    )


def _verdict(kind: str, last: float, hue: NDArray[np.float64], t: NDArray[np.float64]) -> Verdict:
    if kind == "endpoint":
        held = float(np.nanmedian(hue[t > last + 5]))
        return Verdict(
            "endpoint", ("The green held for 60 s.",), last + 0.4, last + 60.4, 71.6, held, True
        )
    if kind == "overshoot":
        return Verdict(
            "overshoot", ("The green is far beyond the band.",), last + 0.4, last + 60.4, 71.0,
            150.0, None,
        )  # fmt: skip
    return Verdict(cast("Any", kind), ("The end colour always faded back.",))


def _events(
    kind: str,
    adds: list[float],
    t: NDArray[np.float64],
    green: NDArray[np.float64],
    hands: list[tuple[float, float]],
    swirl: tuple[float, float],
    last: float,
) -> tuple[Event, ...]:
    events = [
        Event(a, "addition", told_s=a + 0.4, detail={"number": i}) for i, a in enumerate(adds, 1)
    ]
    for a, b in zip(adds, [*adds[1:], float(t[-1])], strict=True):
        inside = (t >= a) & (t < b)
        back = t[inside & (green < 0.35) & (t > a + 1.0)]
        if len(back) and green[inside].max() > 0.5:
            peak = t[inside][green[inside].argmax()]
            events.append(Event(float(peak), "fade_back", float(back[0])))
    events += [Event(lo, "disturbance", hi, detail={"kind": "hand"}) for lo, hi in hands]
    events.append(Event(swirl[0], "disturbance", swirl[1], detail={"kind": "swirl"}))
    if kind in ("endpoint", "overshoot"):
        events.append(Event(last + 0.4, "hold_started"))
        events.append(Event(last + 60.4, kind, detail={"onset_s": last + 0.4}))
    return tuple(sorted(events, key=lambda event: event.time_s))
