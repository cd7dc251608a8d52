"""Scenarios of the virtual bench: every setting in one frozen value, and presets by name."""

from __future__ import annotations

import difflib
from functools import partial
from typing import Any, Literal

from pydantic import Field, InstanceOf

from huehold.errors import UsageError
from huehold.virtual.bench import Bench, kitchen_bench
from huehold.virtual.operator import Operator
from huehold.virtual.presets_model import (
    BalanceOn,
    Camera,
    Cup,
    Faults,
    Ground,
    Light,
    People,
    Recording,
    Section,
    Sight,
    WhiteCard,
)

__all__ = ["PRESETS", "Scenario", "load_preset", "short_bench"]


def short_bench(**changes: Any) -> Bench:
    """Set out a third of a dose with quick particles: done in one to two minutes, for tests."""
    settings: dict[str, Any] = {
        "sample_g": 2.0,
        "water_g": 100.0,
        "alkalinity_mmol_per_kg": 0.5,
        "squirt_g": 0.8,
        "squirt_sd_g": 0.08,
        "dissolution_s": 45.0,
        "mixing_s": 0.7,
        "swirl_mixing_s": 0.35,
    }
    return Bench(**{**settings, **changes})


def _short_operator(**changes: Any) -> Operator:
    settings: dict[str, Any] = {"patience_s": 42.0, "waves_per_min": 0.0, "swirl_s": 1.6}
    return Operator(**{**settings, **changes})


class Scenario(Section):
    """One virtual titration, from chemistry to file.

    Attributes
    ----------
    name, about : str
        The preset's name and one line on it.
    seed : int
        Of everything random; the same scenario gives the same pictures.
    chemistry : str
        ``"titration"``; or for the negative controls ``"acid"`` (acid without solid from the
        start) and ``"none"`` (clear water, an empty cup or no cup).
    length_s : float
        Length of a run without titration.
    bench, operator
        Chemistry and person; the bench's seed, its depth of liquid and the operator's balance
        step are taken from the scenario's other sections.
    """

    name: str = "custom"
    about: str = ""
    seed: int = Field(default=1, ge=0)
    chemistry: Literal["titration", "acid", "none"] = "titration"
    length_s: float = Field(default=60.0, gt=5.0, le=7200.0)
    bench: InstanceOf[Bench] = Field(default_factory=short_bench)
    operator: InstanceOf[Operator] = Field(default_factory=_short_operator)
    sight: Sight = Sight()
    cup: Cup = Cup()
    ground: Ground = Ground()
    card: WhiteCard = WhiteCard()
    balance: BalanceOn = BalanceOn()
    people: People = People()
    light: Light = Light()
    camera: Camera = Camera()
    faults: Faults = Faults()
    recording: Recording = Recording()

    def plain(self) -> dict[str, Any]:
        """All settings as plain values."""
        data = self.model_dump(mode="json", exclude={"bench", "operator"})
        return {**data, "bench": self.bench.plain(), "operator": self.operator.plain()}


_CALM = Camera(white_drift=0.0, exposure_drift=0.0, exposure_metering=0.0, white_metering=0.0)
_MISHAPS = partial(Faults, spell_s=2.0)

_TITRATIONS = (
    Scenario(
        name="clean",
        about="a careful titration under a steady camera",
        camera=_CALM,
        seed=24,
    ),
    Scenario(
        name="hand_and_dropper",
        about="hands over the cup all the time, twice for no reason during the hold",
        people=People(reach=0.9, sleeve=(0.5, 0.08, 0.07), wandering_s=(6.0, 21.0)),
        seed=7,
    ),
    Scenario(
        name="swirl_and_shift",
        about="long swirls after every portion, and the cup pushed aside twice",
        operator=_short_operator(swirls=1.0, swirl_s=3.2),
        faults=Faults(shift_s=(-14.0, 12.0), shift_cm=1.1),
        people=People(side_deg=-40.0, skin="light"),
        seed=4,
    ),
    Scenario(
        name="white_balance_drift",
        about="white balance that wanders and hunts",
        camera=Camera(white_drift=0.13, white_hunting=0.10, white_metering=0.35),
        seed=9,
    ),
    Scenario(
        name="exposure_hunting",
        about="exposure that hunts and follows the cup's brightness",
        camera=Camera(exposure_drift=0.10, exposure_hunting=0.32, exposure_metering=0.6),
        faults=_MISHAPS(dark_s=(14.0,), glare_s=(24.0,)),
        seed=33,
    ),
    Scenario(
        name="dim_and_noisy",
        about="evening light from one bulb, a grainy picture, slightly out of focus",
        light=Light(level=0.22, colour=(1.0, 0.90, 0.74), gradient=0.3, lamp="bulb"),
        camera=Camera(
            shot_noise=0.035, read_noise=0.007, blur_px=1.2, vignette=0.35, shutter_s=1 / 25
        ),
        people=People(skin="tan"),
        seed=18,
    ),
    Scenario(
        name="long_fade",
        about="green that holds for most of a minute and fades; the person gives up",
        operator=_short_operator(
            likes_s=20.0, start_s=4.0, patience_s=90.0, stop_s=82.0, tail_s=17.0
        ),
        bench=short_bench(dissolution_s=110.0, size_sd=0.8, squirt_g=1.6, squirt_sd_g=0.2),
        seed=15,
    ),
    Scenario(
        name="never_reached",
        about="the person gives up before the end",
        operator=_short_operator(stop_s=70.0),
        bench=short_bench(squirt_g=0.5),
        seed=9,
    ),
    Scenario(
        name="overshoot",
        about="large squirts by the clock: one past the end, another when the green had long held",
        operator=_short_operator(
            likes_s=900.0, hasty=1.0, reaction_s=36.0, stop_g=12.0, tail_s=20.0
        ),
        bench=short_bench(squirt_g=4.4, squirt_sd_g=0.2),
        seed=16,
    ),
    Scenario(
        name="acid_from_start",
        about="green from the first frame: nothing to titrate",
        chemistry="acid",
        length_s=75.0,
        seed=11,
    ),
    Scenario(
        name="oblique",
        about="seen from 42 degrees, through the near wall",
        sight=Sight(tilt_deg=42.0, cup_fraction=0.44, down=-0.08),
        seed=17,
    ),
    Scenario(
        name="portrait_hevc",
        about="a phone held upright: HEVC, ten bits, turned by metadata, BT.709",
        sight=Sight(width_px=240, height_px=320, cup_fraction=0.5, right=0.04, down=-0.04),
        card=WhiteCard(x_cm=-5.8, y_cm=9.4, width_cm=3.4, height_cm=2.6),
        recording=Recording(codec="hevc", bits=10, matrix="bt709", rotation_deg=90, jitter=0.15),
        seed=14,
    ),
    Scenario(
        name="gap",
        about="uneven frame rate, and six seconds without a frame during the hold",
        recording=Recording(jitter=0.4),
        operator=_short_operator(patience_s=55.0),
        faults=Faults(gap_s=(-18.0, 10.0), gap_length_s=6.0),
        seed=32,
    ),
    Scenario(
        name="mjpeg",
        about="an old webcam: motion JPEG in AVI, full range",
        recording=Recording(codec="mjpeg", full_range=True, quality=18, rate_hz=10.0),
        sight=Sight(width_px=352, height_px=288),
        camera=Camera(saturation=0.85, contrast=0.4, blur_px=0.9, shot_noise=0.025),
        seed=3,
    ),
    Scenario(
        name="green_table",
        about="a green table and green sleeves, no balance and no white card",
        ground=Ground(table="green", pattern="checker", paper_cm=9.0),
        people=People(sleeve=(0.08, 0.30, 0.10), skin="light", side_deg=-25.0),
        balance=BalanceOn(shown=False),
        card=WhiteCard(shown=False),
        seed=20,
    ),
    Scenario(
        name="pale_dye",
        about="little dye in a very cloudy mixture, plain paper under the cup",
        bench=short_bench(dye_lot=0.30, sample_g=3.5, squirt_g=1.6, squirt_sd_g=0.12),
        ground=Ground(pattern="none"),
        seed=17,
    ),
    Scenario(
        name="flicker",
        about="lamps that flicker, a short shutter: bands roll through the picture",
        light=Light(flicker_depth=0.8, lamp="fluorescent"),
        camera=Camera(shutter_s=1 / 200, readout_s=0.025),
        recording=Recording(rate_hz=13.0),
        seed=11,
    ),
    Scenario(
        name="knocked",
        about="the camera is knocked twice, once during the hold",
        faults=Faults(knock_s=(-10.0, 15.0), knock_px=14.0),
        camera=Camera(sway_px=0.6),
        seed=2,
    ),
    Scenario(
        name="webm",
        about="a browser's recording: VP9 of odd size, seen from the left, no white card",
        recording=Recording(codec="vp9", odd=True, quality=34, jitter=0.2),
        sight=Sight(width_px=360, height_px=270, tilt_deg=25.0, roll_deg=6.0),
        people=People(side_deg=165.0, skin="dark", sleeve=(0.6, 0.55, 0.12)),
        card=WhiteCard(shown=False),
        seed=2,
    ),
    Scenario(
        name="av1",
        about="AV1 with ten bits, full range and BT.709, on slate without a pattern",
        recording=Recording(codec="av1", bits=10, full_range=True, matrix="bt709", quality=38),
        ground=Ground(table="slate", pattern="none"),
        balance=BalanceOn(display="led"),
        seed=3,
    ),
)

_CONTROLS = (
    Scenario(
        name="empty_cup",
        about="an empty cup and nobody there",
        chemistry="none",
        cup=Cup(liquid_cm=0.0),
        length_s=50.0,
        seed=20,
    ),
    Scenario(
        name="no_cup",
        about="a table with a balance, no cup",
        chemistry="none",
        cup=Cup(kind="none"),
        length_s=50.0,
        seed=21,
    ),
    Scenario(
        name="clear_water",
        about="a cup of clear water on a green table",
        chemistry="none",
        ground=Ground(table="green", pattern="none", paper_cm=0.0),
        balance=BalanceOn(shown=False),
        length_s=50.0,
        seed=22,
    ),
    Scenario(
        name="waving",
        about="somebody in a green sleeve waves over an empty bench",
        chemistry="none",
        cup=Cup(kind="none"),
        people=People(waving=True, sleeve=(0.07, 0.33, 0.10)),
        length_s=50.0,
        seed=23,
    ),
)

_LONG = (
    Scenario(
        name="demo",
        about="an evening class titrates its antacid, with a phone on a stack of books",
        bench=Bench(
            sample_g=4.93, content_mg_per_ml=77.6, density_g_per_ml=1.043, water_g=90.0,
            alkalinity_mmol_per_kg=2.1, dissolution_s=160.0, squirt_g=1.7, squirt_sd_g=0.25,
        ),
        operator=Operator(patience_s=72.0, waves_per_min=0.3, tail_s=6.0),
        sight=Sight(width_px=640, height_px=480, tilt_deg=14.0, roll_deg=-3.0),
        camera=Camera(
            white_drift=0.05, white_metering=0.15, exposure_drift=0.05, exposure_hunting=0.05,
            exposure_metering=0.3, sway_px=0.4, shot_noise=0.016,
        ),
        faults=Faults(knock_s=(-95.0,), knock_px=7.0, glare_s=(-60.0,)),
        people=People(sleeve=(0.30, 0.12, 0.20), skin="tan"),
        recording=Recording(rate_hz=12.0, jitter=0.12, quality=28),
        seed=57,
    ),
    Scenario(
        name="quarter_hour",
        about="a full dose at a household's pace",
        bench=kitchen_bench(),
        operator=Operator(),
        sight=Sight(width_px=640, height_px=480),
        seed=42,
    ),
)  # fmt: skip

PRESETS: dict[str, Scenario] = {s.name: s for s in (*_TITRATIONS, *_CONTROLS, *_LONG)}
"""Scenarios by name, in the order people should meet them."""


def load_preset(name: str) -> Scenario:
    """Return a preset by its name.

    Raises
    ------
    UsageError
        If there is none; the message names the nearest.
    """
    if name in PRESETS:
        return PRESETS[name]
    near = difflib.get_close_matches(name, PRESETS, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else "see them all with huehold simulate --list."
    raise UsageError(f"There is no preset {name!r}; {hint}")
