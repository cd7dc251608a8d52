"""What a recording says about its colours, and what is made of it.

Video stores luma and two colour differences. Turning them into red, green and blue needs
four facts the file may state, misstate or leave out: the matrix, the range, the transfer
function and the primaries. They are settled here once per recording, in words that go
into the report; `huehold.capture.convert` does the arithmetic.

The code points are those of ITU-T H.273 (the same as ISO/IEC 23091-2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from huehold.errors import InputError, UsageError

__all__ = ["ColourPlan", "ColourTags", "MatrixChoice", "plan_colours"]

MatrixChoice = Literal["auto", "bt601", "bt709"]
Curve = Literal["srgb", "hlg"]

_UNSPECIFIED = 2
_HLG = 18
_PQ = 16
_MATRICES = {
    1: "bt709", 4: "fcc", 5: "bt601", 6: "bt601", 7: "smpte240m", 9: "bt2020",
}  # fmt: skip
_WIDE_PRIMARIES = {9: "bt2020", 11: "dci-p3", 12: "display-p3"}
_ODD_CURVES = {8: "linear light", 9: "logarithmic", 10: "logarithmic", 17: "SMPTE ST 428"}
_FULL_RANGE = 2
_PHONE_SETTING = (
    "switch HDR video off on the phone (iPhone: Settings, Camera, Record Video, HDR Video) "
    "and record again, or export the recording as standard dynamic range"
)


@dataclass(frozen=True, slots=True)
class ColourTags:
    """Colour facts as the file states them, H.273 code points.

    Attributes
    ----------
    matrix, transfer, primaries : int
        2 where the file says nothing.
    full_range : bool or None
        None where the file says nothing.
    """

    matrix: int
    transfer: int
    primaries: int
    full_range: bool | None

    @classmethod
    def of(cls, frame: Any, context: Any) -> ColourTags:
        """Read the tags of a decoded frame; the codec's own fill what it leaves out."""

        def stated(name: str, nothing: int) -> int:
            """Return a tag of the frame, or the codec's where the frame has none."""
            value = int(getattr(frame, name))
            return int(getattr(context, name)) if value == nothing else value

        spread = stated("color_range", 0)
        full = frame.format.name.startswith("yuvj") or spread == _FULL_RANGE
        return cls(
            matrix=stated("colorspace", _UNSPECIFIED),
            transfer=stated("color_trc", _UNSPECIFIED),
            primaries=stated("color_primaries", _UNSPECIFIED),
            full_range=True if full else (False if spread else None),
        )


@dataclass(frozen=True, slots=True)
class ColourPlan:
    """How a recording's pictures become sRGB-encoded red, green and blue.

    Attributes
    ----------
    matrix : str
        ``"bt709"``, ``"bt601"``, ``"fcc"``, ``"smpte240m"`` or ``"bt2020"``.
    full_range : bool
        Whether luma runs over all codes (0 to 255 at 8 bits) or 16 to 235.
    curve : {"srgb", "hlg"}
        How light is encoded. Ordinary video counts as sRGB-encoded.
    primaries : str
        ``"bt709"``, ``"bt2020"``, ``"display-p3"`` or ``"dci-p3"``.
    warnings : tuple of str
        What was assumed.
    """

    matrix: str
    full_range: bool
    curve: Curve = "srgb"
    primaries: str = "bt709"
    warnings: tuple[str, ...] = ()

    @property
    def plain(self) -> bool:
        """Whether the matrix alone gives sRGB-encoded values."""
        return self.curve == "srgb" and self.primaries == "bt709"


def plan_colours(
    tags: ColourTags, size_px: tuple[int, int], name: str, choice: MatrixChoice = "auto"
) -> ColourPlan:
    """Settle how a recording is converted.

    Parameters
    ----------
    tags : ColourTags
        What the file states.
    size_px : (int, int)
        Width and height as coded; decides the matrix of untagged video.
    name : str
        File name for messages.
    choice : {"auto", "bt601", "bt709"}
        The user's override of the matrix.

    Raises
    ------
    InputError
        If the recording uses perceptual quantisation (PQ), or an encoding that is not
        handled.
    UsageError
        If `choice` is none of the three.
    """
    if choice not in ("auto", "bt601", "bt709"):
        raise UsageError(f"The colour matrix must be auto, bt601 or bt709, not {choice!r}.")
    _refuse_curves(tags, name)
    hlg = tags.transfer == _HLG
    matrix, warnings = _matrix(tags, size_px, choice)
    primaries = _WIDE_PRIMARIES.get(tags.primaries, "bt709")
    if hlg and tags.primaries == _UNSPECIFIED:
        primaries = "bt2020"
    if hlg:
        warnings.append(
            "The recording is high dynamic range (HLG); it was converted to standard range with "
            "reference white at 80 % of full scale. For the surest colours, record without HDR."
        )
    return ColourPlan(
        matrix=matrix,
        full_range=bool(tags.full_range),
        curve="hlg" if hlg else "srgb",
        primaries=primaries,
        warnings=tuple(warnings),
    )


def _refuse_curves(tags: ColourTags, name: str) -> None:
    if tags.transfer == _PQ:
        raise InputError(
            f"{name} is a high-dynamic-range recording (PQ), whose colours cannot be measured "
            f"here: {_PHONE_SETTING}."
        )
    if tags.transfer in _ODD_CURVES:
        raise InputError(
            f"{name} encodes light in a way that is not handled ({_ODD_CURVES[tags.transfer]}): "
            "export it as ordinary BT.709 video."
        )


def _matrix(
    tags: ColourTags, size_px: tuple[int, int], choice: MatrixChoice
) -> tuple[str, list[str]]:
    stated = _MATRICES.get(tags.matrix)
    if choice != "auto":
        return choice, _override_note(stated, choice)
    if stated:
        return stated, []
    wide = tags.transfer == _HLG or _WIDE_PRIMARIES.get(tags.primaries) == "bt2020"
    guess = "bt2020" if wide else _customary(size_px)
    said = "does not say" if tags.matrix == _UNSPECIFIED else "names one that is not handled for"
    return guess, [
        f"The recording {said} which colour matrix it uses; {_spoken(guess)} was taken because "
        f"of its size ({size_px[0]} x {size_px[1]}). If colours look off, choose the other with "
        "the matrix option (bt601 or bt709)."
    ]


def _override_note(stated: str | None, choice: MatrixChoice) -> list[str]:
    if stated is None or stated == choice:
        return []
    return [
        f"The recording says its colour matrix is {_spoken(stated)}; {_spoken(choice)} was used "
        "as asked."
    ]


def _customary(size_px: tuple[int, int]) -> str:
    """Matrix by custom: high definition uses BT.709, smaller pictures BT.601."""
    high = min(size_px) >= 720 or max(size_px) >= 1280
    return "bt709" if high else "bt601"


def _spoken(matrix: str) -> str:
    return {"fcc": "FCC", "smpte240m": "SMPTE 240M"}.get(
        matrix, matrix.upper().replace("BT", "BT.")
    )
