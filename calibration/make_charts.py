"""Write the shipped indicator charts from the spectra of the virtual bench.

Run from the top of the project: ``python calibration/make_charts.py``. The charts are computed,
not measured, and say so. How far their pH can be trusted is how far the sources of the constants
differ from each other.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from huehold.calibration.files import to_toml, write_whole
from huehold.calibration.indicator import Curve, IndicatorChart
from huehold.calibration.model import Value
from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics
from huehold.virtual.spectra import load_dye
from huehold.vision.colour import lab_from_linear

MADE = date(2026, 11, 25)
DEPTH_MM = 25.0
PAPER = (0.80, 0.79, 0.76)
CURVE_U = 4.0  # CIELAB: strength of the dye, depth and light differ from cup to cup


class Recipe(NamedTuple):
    """An indicator: its doses, the span of the chart, and how uncertain its scale is."""

    dye: str
    doses: dict[str, float]
    span: tuple[float, float]
    u_scale: float
    why: str


RECIPES = (
    Recipe("turmeric and spirulina food colouring", dict(KITCHEN_DYES), (5.0, 11.6), 0.55,
           "published first pKa of curcumin are 7.43 and 8.38; that of spirulina is the project's"),
    Recipe("turmeric", {"curcumin": 0.45}, (5.0, 12.6), 0.55,
           "published first pKa of curcumin are 7.43 and 8.38"),
    Recipe("thymol blue", {"thymol_blue": 0.15}, (6.0, 11.0), 0.2, "tables of turning ranges"),
    Recipe("bromocresol green", {"bromocresol_green": 0.15}, (2.6, 7.0), 0.2,
           "tables of turning ranges"),
    Recipe("bromothymol blue", {"bromothymol_blue": 0.15}, (5.0, 9.2), 0.2,
           "tables of turning ranges"),
    Recipe("phenolphthalein", {"phenolphthalein": 0.12}, (7.0, 11.6), 0.2,
           "tables of turning ranges"),
    Recipe("red cabbage", {"red_cabbage": 0.2}, (1.6, 13.0), 0.5, "steps set by eye"),
    Recipe("starch", {"starch_iodine": 0.25}, (3.0, 7.0), 0.5, "textbooks"),
    Recipe("eriochrome black T", {"eriochrome_black_t": 0.15}, (3.4, 7.4), 0.3, "textbooks"),
)  # fmt: skip


def chart(recipe: Recipe) -> IndicatorChart:
    """Compute the chart of a recipe."""
    dyes = [load_dye(name) for name in recipe.doses]
    variable: Literal["pH", "pI", "pM"] = dyes[0].variable  # type: ignore[assignment]
    count = round((recipe.span[1] - recipe.span[0]) / 0.2) + 1
    ph = np.linspace(*recipe.span, count).round(3)
    seen = LiquidOptics(recipe.doses, DEPTH_MM).appearance(ph).over(PAPER)
    lightness, a, b = (tuple(c.tolist()) for c in lab_from_linear(seen, PAPER).T.round(2))
    return IndicatorChart(
        name=recipe.dye.lower().replace(" ", "-"), date=MADE, origin="virtual bench", light="D65",
        dye=recipe.dye, variable=variable, basis="computed", u_scale=recipe.u_scale,
        note=f"Computed from spectra, not measured; the scale is uncertain: {recipe.why}.",
        pka=tuple(
            Value(value=step, u=recipe.u_scale, source=f"{dye.name}: {dye.source}")
            for dye in dyes for step in dye.steps
        ),
        curve=Curve(ph=tuple(ph.tolist()), lightness=lightness, a=a, b=b, u=(CURVE_U,) * count),
    )  # fmt: skip


def main() -> None:
    """Write every chart beside this script."""
    folder = Path(__file__).resolve().parent
    for recipe in RECIPES:
        made = chart(recipe)
        write_whole(folder / f"{made.kind}.{made.name}.toml", to_toml(made))
        print(made.ref, made.summary())


if __name__ == "__main__":
    main()
