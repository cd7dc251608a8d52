"""Everything that can be set in a scenario of the virtual bench, with its limits."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

__all__ = [
    "BalanceOn",
    "Camera",
    "Cup",
    "Faults",
    "Ground",
    "Light",
    "People",
    "Recording",
    "Sight",
    "WhiteCard",
]


def _split(value: Any) -> Any:
    """Let a list be written as ``1,2,3``; an empty text is an empty list."""
    if not isinstance(value, str):
        return value
    return tuple(part.strip() for part in value.split(",")) if value.strip() else ()


def _whole(value: Any) -> Any:
    """Let a choice among whole numbers be written as text."""
    return int(value) if isinstance(value, str) and value.strip().isdigit() else value


Unit = Annotated[float, Field(ge=0.0, le=1.0)]
Colour = Annotated[tuple[Unit, Unit, Unit], BeforeValidator(_split)]
Seconds = Annotated[tuple[float, ...], BeforeValidator(_split)]


class Section(BaseModel):
    """One group of settings: frozen, no unknown names, finite numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Sight(Section):
    """Where the camera stands and how large the picture is."""

    width_px: int = Field(default=320, ge=96, le=1920)
    height_px: int = Field(default=240, ge=96, le=1920)
    tilt_deg: float = Field(default=8.0, ge=0.0, le=45.0, description="0 straight from above")
    roll_deg: float = Field(default=0.0, ge=-180.0, le=180.0)
    cup_fraction: float = Field(
        default=0.46, gt=0.1, le=0.95, description="rim across the short side"
    )
    right: float = Field(
        default=0.02, ge=-0.4, le=0.4, description="cup off the middle, of the width"
    )
    down: float = Field(
        default=-0.06, ge=-0.4, le=0.4, description="cup off the middle, of the height"
    )


class Cup(Section):
    """The vessel: a tapered clear cup, or none."""

    kind: Literal["clear", "none"] = "clear"
    radius_cm: float = Field(default=3.9, gt=0.5, le=15.0, description="of the rim")
    base_ratio: float = Field(
        default=0.72, ge=0.4, le=1.0, description="base radius over rim radius"
    )
    height_cm: float = Field(default=7.5, gt=1.0, le=30.0)
    liquid_cm: float = Field(
        default=3.2, ge=0.0, le=25.0, description="depth of liquid; 0 is empty"
    )
    tint: Colour = (0.93, 0.95, 0.96)
    bubbles: int = Field(default=9, ge=0, le=60)


class Ground(Section):
    """The table and what lies under the cup."""

    table: Literal["wood", "white", "grey", "slate", "green", "blue"] = "wood"
    pattern: Literal["none", "grid", "checker", "text"] = "grid"
    pattern_cm: float = Field(default=0.8, gt=0.1, le=5.0)
    paper_cm: float = Field(
        default=10.4, ge=0.0, le=30.0, description="side of the sheet; 0 is none"
    )


class WhiteCard(Section):
    """A matt white card beside the cup."""

    shown: bool = True
    x_cm: float = Field(default=-7.4, ge=-30.0, le=30.0)
    y_cm: float = Field(default=1.8, ge=-30.0, le=30.0)
    width_cm: float = Field(default=2.6, gt=0.2, le=20.0)
    height_cm: float = Field(default=4.2, gt=0.2, le=20.0)
    reflectance: float = Field(default=0.86, gt=0.2, le=1.0)


class BalanceOn(Section):
    """The kitchen balance under the cup."""

    shown: bool = True
    display: Literal["lcd", "led"] = "lcd"
    readability_g: float = Field(default=0.01, gt=0.0, le=1.0)
    settling_s: float = Field(default=0.6, gt=0.0, le=10.0)


class People(Section):
    """Hands and sleeves."""

    skin: Literal["light", "medium", "tan", "dark"] = "medium"
    sleeve: Colour = (0.22, 0.27, 0.36)
    side_deg: float = Field(
        default=20.0, ge=-180.0, le=180.0, description="where the arm comes from"
    )
    reach: float = Field(
        default=0.35, ge=0.0, le=1.0, description="how far hands come over the cup"
    )
    wandering_s: Seconds = Field(
        default=(), description="hands crossing for no reason, from the onset"
    )
    waving: bool = Field(default=False, description="a person waves all the time")


class Light(Section):
    """What lights the bench."""

    lamp: Literal["D65", "D50", "bulb", "LED", "fluorescent"] = "D65"
    level: float = Field(default=0.62, gt=0.01, le=3.0, description="white card over full scale")
    colour: Colour = (1.0, 0.96, 0.9)
    gradient: float = Field(default=0.12, ge=0.0, le=0.8, description="fall across the picture")
    highlights: float = Field(default=0.8, ge=0.0, le=3.0)
    flicker_hz: float = Field(default=100.0, ge=0.0, le=1000.0, description="0 is steady")
    flicker_depth: float = Field(default=0.0, ge=0.0, le=1.0, description="of the light itself")


class Camera(Section):
    """Lens, sensor and the automatics."""

    shutter_s: float = Field(default=1 / 60, gt=1e-5, le=0.2)
    readout_s: float = Field(
        default=0.02, ge=0.0, le=0.1, description="rolling shutter, top to bottom"
    )
    blur_px: float = Field(default=0.6, ge=0.0, le=12.0)
    vignette: float = Field(default=0.18, ge=0.0, le=0.9, description="light lost in the corners")
    shot_noise: float = Field(default=0.012, ge=0.0, le=0.3, description="sd at full scale")
    read_noise: float = Field(default=0.003, ge=0.0, le=0.1)
    contrast: float = Field(default=0.15, ge=0.0, le=1.0, description="S shape on top of sRGB")
    saturation: float = Field(default=1.05, ge=0.0, le=2.0)
    white_error: Colour = Field(
        default=(0.97, 1.0, 0.96), description="gains left of a perfect balance"
    )
    white_drift: float = Field(
        default=0.02, ge=0.0, le=0.6, description="slow swing of red against blue"
    )
    white_hunting: float = Field(default=0.0, ge=0.0, le=0.6, description="jumps that settle")
    exposure_drift: float = Field(default=0.02, ge=0.0, le=0.6)
    exposure_hunting: float = Field(default=0.0, ge=0.0, le=0.7, description="steps and ringing")
    exposure_metering: float = Field(
        default=0.15, ge=0.0, le=1.0, description="how far it follows the scene"
    )
    white_metering: float = Field(
        default=0.1, ge=0.0, le=1.0, description="how far it greys the scene"
    )
    sway_px: float = Field(default=0.0, ge=0.0, le=20.0, description="slow sway of a loose stand")


class Faults(Section):
    """Disturbances the camera meets, in seconds from the onset (or from 60 % of the run)."""

    knock_s: Seconds = ()
    knock_px: float = Field(default=9.0, ge=0.0, le=80.0)
    gap_s: Seconds = Field(default=(), description="starts of stretches without frames")
    gap_length_s: float = Field(default=6.0, gt=0.0, le=120.0)
    shift_s: Seconds = Field(default=(), description="the cup is pushed")
    shift_cm: float = Field(default=0.8, ge=0.0, le=3.0)
    glare_s: Seconds = Field(default=(), description="a bright reflection crosses the liquid")
    dark_s: Seconds = Field(default=(), description="somebody stands in the light")
    spell_s: float = Field(
        default=2.5, gt=0.0, le=60.0, description="length of a glare or a dark spell"
    )


class Recording(Section):
    """The file."""

    rate_hz: float = Field(default=12.0, gt=0.5, le=60.0)
    jitter: float = Field(default=0.0, ge=0.0, le=0.45, description="of stamps, of the frame time")
    codec: Literal["h264", "hevc", "vp9", "av1", "mjpeg"] = "h264"
    bits: Annotated[Literal[8, 10], BeforeValidator(_whole)] = 8
    full_range: bool = False
    matrix: Literal["bt601", "bt709"] = "bt601"
    tagged: bool = True
    quality: int = Field(default=26, ge=0, le=63, description="the codec's constant-quality figure")
    rotation_deg: Annotated[Literal[0, 90, 180, 270], BeforeValidator(_whole)] = Field(
        default=0, description="turn told as metadata"
    )
    enlarge: float = Field(default=1.0, ge=1.0, le=12.0, description="upscaling before coding")
    odd: bool = Field(default=False, description="one pixel more each way, an odd size")

    @model_validator(mode="after")
    def _codec_can(self) -> Recording:
        if self.bits == 10 and self.codec in ("vp9", "mjpeg"):
            raise ValueError(f"{self.codec} is written with 8 bits only; choose h264, hevc or av1")
        if self.codec == "mjpeg" and not (self.full_range and self.matrix == "bt601"):
            raise ValueError("mjpeg is always full range and bt601; set full_range=true")
        if self.odd and self.codec == "av1":
            raise ValueError("av1 is written in even sizes only; set odd=false")
        return self
