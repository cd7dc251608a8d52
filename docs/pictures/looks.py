"""Draw looks.jpg: the liquid over a checked ground, pH by undissolved solid.

Run from the repository: python docs/pictures/looks.py
"""

from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from scipy.ndimage import gaussian_filter

from huehold.virtual.optics import KITCHEN_DYES, LiquidOptics

PH = (10.5, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.0)
SOLID_G_PER_L = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 4.0)
CELL_PX, PX_PER_MM, CHECK_PX = 60, 2.0, 15
DEPTH_MM = 25.0
OUT = Path(__file__).with_name("looks.jpg")


def ground() -> np.ndarray:
    """Return a checked ground of linear reflectance 0.85 and 0.25, shape (CELL_PX, CELL_PX)."""
    at = np.arange(CELL_PX) // CHECK_PX
    return np.where((at[:, None] + at[None, :]) % 2 == 0, 0.85, 0.25)


def cell(optics: LiquidOptics, ph: float, solid: float) -> np.ndarray:
    """Return one look, sRGB from 0 to 1, shape (CELL_PX, CELL_PX, 3)."""
    look = optics.appearance(ph, solid)
    behind = ground()
    soft = gaussian_filter(behind, float(look.blur_mm) * PX_PER_MM, mode="wrap")
    seen = float(look.sharp) * behind + (1.0 - float(look.sharp)) * soft
    linear = np.clip(look.veil + look.through * seen[..., None], 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def main() -> None:
    """Draw the sheet."""
    optics = LiquidOptics(dict(KITCHEN_DYES), DEPTH_MM)
    rows = [np.concatenate([cell(optics, ph, s) for s in SOLID_G_PER_L], axis=1) for ph in PH]
    sheet = np.concatenate(rows, axis=0)
    figure = Figure(figsize=(7.4, 8.0), dpi=110, layout="constrained")
    ax = figure.add_subplot()
    ax.imshow(sheet, interpolation="nearest")
    half = CELL_PX / 2.0
    ax.set_xticks(half + CELL_PX * np.arange(len(SOLID_G_PER_L)), [f"{s:g}" for s in SOLID_G_PER_L])
    ax.set_yticks(half + CELL_PX * np.arange(len(PH)), [f"{p:g}" for p in PH])
    ax.set_xlabel("undissolved Mg(OH)2 / g per litre")
    ax.set_ylabel("pH")
    ax.set_title(f"Turmeric and spirulina, {DEPTH_MM:g} mm deep, daylight", loc="left", fontsize=10)
    ax.tick_params(length=0)
    ax.spines[:].set_visible(False)
    FigureCanvasAgg(figure)
    figure.savefig(OUT, pil_kwargs={"quality": 88})


if __name__ == "__main__":
    main()
