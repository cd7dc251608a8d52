"""Mutations of sound files: blind damage, and lies told in the fields that readers trust."""

from __future__ import annotations

import random
import re
import sqlite3
import struct
from collections.abc import Callable, Sequence
from pathlib import Path

__all__ = ["mutate_notebook", "mutate_recording", "mutate_text"]

Mutation = Callable[[bytearray, random.Random, Sequence[bytes]], None]

_EXTREMES = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_BOXES = (
    b"ftyp", b"moov", b"mvhd", b"trak", b"tkhd", b"edts", b"elst", b"mdia", b"mdhd", b"hdlr",
    b"minf", b"stbl", b"stsd", b"avc1", b"avcC", b"hvc1", b"hev1", b"hvcC", b"colr", b"pasp",
    b"stts", b"stss", b"ctts", b"stsc", b"stsz", b"stco", b"co64", b"mdat",
)  # fmt: skip
_CHUNKS = (b"RIFF", b"LIST", b"avih", b"strh", b"strf", b"strl", b"movi", b"idx1", b"00dc")
_ELEMENTS = (
    b"\x1a\x45\xdf\xa3", b"\x18\x53\x80\x67", b"\x15\x49\xa9\x66", b"\x2a\xd7\xb1", b"\x44\x89",
    b"\x16\x54\xae\x6b", b"\x23\xe3\x83", b"\xb0", b"\xba", b"\x55\xb0", b"\x1f\x43\xb6\x75",
    b"\xe7", b"\xa3", b"\x1c\x53\xbb\x6b", b"\xb3", b"\x63\xa2",
)  # fmt: skip
_NASTY = (
    "nan", "NaN", "inf", "-inf", "1e308", "-1e308", "1e-320", "-0.0", "0", "-1", "1e9999",
    "9" * 400, "", "null", "true", "None", "0x10", "1,5", "1.5.2", "１２", "±", "٣", "\u2028",
    "'" * 3, '"""', "[" * 2000, "{" * 2000, "\0", "\ufeff", "%s%n", "../../etc/passwd", "😀" * 50,
    "1 +/- nan", "5 g/100 mL", "A" * 5000, "-5 °C", "1e5 kg", "5 %", "[]", "{}", "1979-05-27",
)  # fmt: skip
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")


def mutate_recording(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Return a damaged copy of a recording.

    Parameters
    ----------
    data : bytes
        A sound file.
    rng : random.Random
        Decides everything.
    others : sequence of bytes
        Other sound recordings, to splice from.
    """
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        rng.choice(_RECORDING)(changed, rng, others)
    return bytes(changed)


def _flip_bits(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    for _number in range(rng.choice((1, 4, 16, 64, 256))):
        if data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _flip_header(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    reach = min(len(data), 2048)
    at_end = rng.random() < 0.5  # MP4 files keep their index at the end
    for _number in range(rng.choice((1, 2, 8))):
        if reach:
            place = rng.randrange(reach)
            data[len(data) - 1 - place if at_end else place] = rng.randrange(256)


def _cut(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    if len(data) < 2:
        return
    low, high = sorted(rng.sample(range(len(data)), 2))
    part = rng.choice(("tail", "head", "middle"))
    if part == "tail":
        del data[low:]
    elif part == "head":
        del data[: min(low, 4096)]
    else:
        del data[low:high]


def _blank(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    if len(data) < 2:
        return
    start = rng.randrange(len(data))
    length = min(rng.choice((4, 64, 1024, 8192)), len(data) - start)
    filling = rng.choice((b"\0" * length, b"\xff" * length, rng.randbytes(length)))
    data[start : start + length] = filling


def _repeat(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    if len(data) < 2:
        return
    start = rng.randrange(len(data))
    piece = bytes(data[start : start + rng.choice((16, 512, 4096))])
    data[rng.randrange(len(data)) : 0] = piece * rng.choice((1, 2, 8))


def _splice(data: bytearray, rng: random.Random, others: Sequence[bytes]) -> None:
    other = rng.choice(others)
    length = rng.choice((32, 256, 1024, 8192))
    if rng.random() < 0.5:
        data[:length] = other[:length]
    else:
        at = rng.randrange(max(1, len(data)))
        data[at:] = other[rng.randrange(len(other)) :]


def _lie(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    """Put an extreme value into a field of a box, chunk or element."""
    names = rng.choice((_BOXES, _CHUNKS, _ELEMENTS))
    places = [at + len(name) for name in names for at in _find_all(data, name)]
    if not places:
        return
    place = rng.choice(places)
    if rng.random() < 0.25:
        place -= 8  # the size in front of a box's name
    else:
        place += 4 * rng.randrange(0, 26) if rng.random() < 0.7 else rng.randrange(0, 9)
    width = rng.choice((1, 2, 4, 4, 4))
    value = rng.choice((*_EXTREMES, rng.getrandbits(32))) & ((1 << 8 * width) - 1)
    order = "little" if names is _CHUNKS else "big"
    if 0 <= place <= len(data) - width:
        data[place : place + width] = value.to_bytes(width, order)  # type: ignore[arg-type]


def _lie_in_float(data: bytearray, rng: random.Random, _: Sequence[bytes]) -> None:
    """Give a Matroska file another duration."""
    places = _find_all(data, b"\x44\x89\x88")
    if places:
        value = rng.choice((0.0, -1.0, 1e300, float("nan"), float("inf"), 1e-300, 4.5e9))
        place = rng.choice(places) + 3
        data[place : place + 8] = struct.pack(">d", value)


def _find_all(data: bytearray, name: bytes, most: int = 40) -> list[int]:
    places: list[int] = []
    at = data.find(name)
    while at >= 0 and len(places) < most:
        places.append(at)
        at = data.find(name, at + 1)
    return places


_RECORDING: tuple[Mutation, ...] = (
    _flip_bits, _flip_bits, _flip_header, _cut, _blank, _repeat, _splice,
    _lie, _lie, _lie, _lie_in_float,
)  # fmt: skip


def mutate_text(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    """Return a damaged copy of a text file: its numbers, words, lines or bytes."""
    text = data.decode("utf-8", errors="replace")
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        text = rng.choice(_TEXT)(text, rng)
    raw = bytearray(text.encode("utf-8", errors="surrogatepass"))
    if rng.random() < 0.15:
        rng.choice((_flip_bits, _cut, _blank, _repeat))(raw, rng, others)
    if rng.random() < 0.05:
        return text.encode("utf-16", errors="replace")
    return bytes(raw)


def _other_number(text: str, rng: random.Random) -> str:
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    spot = rng.choice(found)
    return text[: spot.start()] + rng.choice(_NASTY) + text[spot.end() :]


def _milder_number(text: str, rng: random.Random) -> str:
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    spot = rng.choice(found)
    factor = rng.choice((-1.0, 0.0, 0.1, 0.5, 0.99, 1.01, 2.0, 10.0, 1e3, 1e-3, 1e6, 1e-6))
    return f"{text[: spot.start()]}{float(spot.group()) * factor:.6g}{text[spot.end() :]}"


def _other_word(text: str, rng: random.Random) -> str:
    found = list(re.finditer(r"[\w.\-]+|\"[^\"]*\"", text))
    if not found:
        return text
    spot = rng.choice(found)
    word = rng.choice((rng.choice(_NASTY), rng.choice(found).group(), f'"{rng.choice(_NASTY)}"'))
    return text[: spot.start()] + word + text[spot.end() :]


def _lines(text: str, rng: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    if not lines:
        return text
    at = rng.randrange(len(lines))
    how = rng.choice(("drop", "double", "swap", "many"))
    if how == "drop":
        del lines[at]
    elif how == "double":
        lines.insert(at, lines[at])
    elif how == "many":
        lines[at:at] = [lines[at]] * 3000
    else:
        other = rng.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    return "".join(lines)


def _insert(text: str, rng: random.Random) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(_NASTY) + text[at:]


def _delete(text: str, rng: random.Random) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + text[at + rng.choice((1, 5, 50)) :]


_TEXT = (
    _milder_number, _milder_number, _milder_number, _milder_number, _other_number, _other_number,
    _other_word, _lines, _insert, _delete,
)  # fmt: skip


def mutate_notebook(source: Path, target: Path, rng: random.Random) -> None:
    """Write a damaged copy of a notebook: its bytes, or well-formed rows that make no sense."""
    data = source.read_bytes()
    if rng.random() < 0.5:
        changed = bytearray(data)
        rng.choice((_flip_bits, _flip_header, _cut, _blank, _repeat))(changed, rng, (data,))
        target.write_bytes(changed)
        return
    target.write_bytes(data)
    db = sqlite3.connect(target)
    try:
        for _ in range(rng.choice((1, 1, 2, 5))):
            _other_cell(db, rng)
        db.commit()
    finally:
        db.close()


def _other_cell(db: sqlite3.Connection, rng: random.Random) -> None:
    table = rng.choice(("run", "run", "observation", "event", "mass", "note", "picture"))
    column = rng.choice([row[1] for row in db.execute(f"PRAGMA table_info({table})")])
    everywhere = "" if rng.random() < 0.5 else "WHERE abs(random()) % 3 = 0"
    try:
        if rng.random() < 0.3:
            old = db.execute(f"SELECT {column} FROM {table} LIMIT 1").fetchone()
            value: object = mutate_text(str(old[0]).encode(), rng).decode(errors="replace") if (
                old) else "x"  # fmt: skip
        else:
            value = rng.choice(_CELLS)
        db.execute(f"UPDATE OR REPLACE {table} SET {column} = ? {everywhere}", (value,))
    except sqlite3.IntegrityError:
        return


_CELLS: tuple[object, ...] = (
    None, "", "x", "{}", "[]", "null", "[1, 2]", '{"a": NaN}', b"\x00\xff", -1, 0, 1, 2**62, 1e308,
    float("inf"), -1e308, '{"hold_s": "long"}', '{"vessel": {"x_px": 1}}', '{"kind": 5}',
    "[" * 3000, "2026-13-45T99:99", "nan",
)  # fmt: skip
