"""Coverage-guided fuzzing of the parsers of our own (needs the package atheris).

    python benchmarks/fuzz_guided.py formula --seconds 300
    python benchmarks/fuzz_guided.py all --seconds 120

Anything but a sentence for the user (`HueholdError`) or a result without NaN ends the run of
that parser and is told with the input. One process for each parser; libFuzzer counts.
"""

from __future__ import annotations

import argparse
import io
import math
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

SEEDS: dict[str, tuple[bytes, ...]] = {
    "masses": (b"time_s,cumulative_g\n0.2,1.50\n", b"time_min;cumulative_mg\n1,5;200\n"),
    "method": (b'name = "x"\n[indicator]\nstart = 1\n',),
    "formula": (b"Mg(OH)2", b"CuSO4.5H2O", b"Fe3+", b"[Fe(CN)6]4-", b"C12H22O11"),
    "reaction": (b"Mg(OH)2 + 2 CH3COOH -> Mg(CH3COO)2 + 2 H2O", b"I2 + 2 S2O3^2- = 2 I-"),
    "quantity": (b"5.22 g", b"5.0 +/- 0.1 %", b"1,044 g/mL", b"1e3 mg", b"-5(2) mL"),
    "claim": (b"1200 mg/15 mL", b"500 mg Mg per tablet", b"5 % (w/v)", b"80 mg/mL"),
    "tolerance": (b"90-115 %", b"90 to 110", b"90..110 %"),
    "jpeg": (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00\xff\xd9",),
    "wire": (b"--frame\r\nContent-Type: image/jpeg\r\n\r\n\xff\xd8\xff\xd9\r\n--frame--",),
    "calibration": (b'schema = "huehold.calibration/1"\nkind = "dropper"\n',),
}


def _text(data: bytes) -> str:
    return data.decode("utf-8", errors="replace")


def _file(read: Callable[[Path], object], suffix: str) -> Callable[[bytes], None]:
    path = Path(tempfile.mkdtemp()) / f"input{suffix}"

    def target(data: bytes) -> None:
        path.write_bytes(data)
        read(path)

    return target


def _masses() -> Callable[[bytes], None]:
    from huehold.balance.masses import read_masses

    def read(path: Path) -> None:
        for reading in read_masses(path):
            assert math.isfinite(reading.mass_g)
            assert math.isfinite(reading.time_s)

    return _file(read, ".csv")


def _method() -> Callable[[bytes], None]:
    from huehold.methods import load_method

    return _file(load_method, ".toml")


def _calibration() -> Callable[[bytes], None]:
    from huehold.calibration.files import read_calibration

    return _file(read_calibration, ".toml")


def _formula() -> Callable[[bytes], None]:
    from huehold.stoichiometry.formulae import molar_mass, parse_formula

    def target(data: bytes) -> None:
        formula = parse_formula(_text(data))
        assert all(count > 0 for count in formula.atoms.values())
        molar_mass(_text(data))

    return target


def _reaction() -> Callable[[bytes], None]:
    from huehold.stoichiometry.reactions import parse_reaction

    def target(data: bytes) -> None:
        parse_reaction(_text(data))

    return target


def _quantity() -> Callable[[bytes], None]:
    from huehold.stoichiometry.quantities import read

    def target(data: bytes) -> None:
        typed = read(_text(data), "g", "mass")
        assert math.isfinite(typed.value)

    return target


def _claim() -> Callable[[bytes], None]:
    from huehold.methods import load_method
    from huehold.stoichiometry.claim import parse_claim

    method = load_method("magnesium-hydroxide-by-vinegar")

    def target(data: bytes) -> None:
        claim = parse_claim(_text(data), method)
        assert claim.amount_mg > 0.0
        assert math.isfinite(claim.amount_mg)

    return target


def _tolerance() -> Callable[[bytes], None]:
    from huehold.stoichiometry.claim import parse_tolerance

    def target(data: bytes) -> None:
        parse_tolerance(_text(data))

    return target


def _jpeg() -> Callable[[bytes], None]:
    from huehold.capture.picture import decode_jpeg

    def target(data: bytes) -> None:
        image = decode_jpeg(data, most_pixels=256 * 256)
        assert image is None or image.shape[0] * image.shape[1] <= 256 * 256

    return target


def _wire() -> Callable[[bytes], None]:
    from huehold.capture.stream import jpeg_parts

    def target(data: bytes) -> None:
        for part in jpeg_parts(io.BytesIO(data)):
            assert part

    return target


TARGETS: dict[str, Callable[[], Callable[[bytes], None]]] = {
    "masses": _masses, "method": _method, "formula": _formula, "reaction": _reaction,
    "quantity": _quantity, "claim": _claim, "tolerance": _tolerance, "jpeg": _jpeg,
    "wire": _wire, "calibration": _calibration,
}  # fmt: skip


def fuzz(name: str, seconds: int) -> None:
    """Fuzz one parser in this process; libFuzzer ends it."""
    import atheris

    with atheris.instrument_imports(include=["huehold"]):
        target = TARGETS[name]()
    from huehold.errors import HueholdError

    def once(data: bytes) -> None:
        try:
            target(data)
        except HueholdError:
            return

    with tempfile.TemporaryDirectory() as corpus:
        for number, seed in enumerate(SEEDS[name]):
            (Path(corpus) / f"seed{number}").write_bytes(seed)
        options = [
            f"-max_total_time={seconds}",
            "-max_len=2048",
            "-timeout=20",
            "-rss_limit_mb=1500",
        ]
        atheris.Setup([sys.argv[0], *options, "-print_final_stats=1", corpus], once)
        atheris.Fuzz()


def told(name: str, seconds: int) -> bool:
    """Fuzz one parser in a process of its own and print a line on it; True if it held."""
    command = [sys.executable, __file__, name, "--seconds", str(seconds), "--inside"]
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    log = done.stdout + done.stderr
    runs = re.findall(r"(?:number_of_executed_units: |#)(\d+)", log)
    points = re.findall(r"cov: (\d+)", log)
    count = max((int(number) for number in runs), default=0)
    held = done.returncode == 0
    finding = "" if held else _finding(log)
    print(
        f"| {name} | {count} | {points[-1] if points else '?'} | {finding or 'none'} |", flush=True
    )
    return held


def _finding(log: str) -> str:
    lines = [line for line in log.splitlines() if line.strip()]
    shown = [line for line in lines if "Error" in line or "ERROR" in line or "Base64" in line]
    places = [line.strip().split("huehold/")[-1] for line in lines if "huehold/" in line][-1:]
    return " / ".join([*shown[:4], *places])[:600]


def main() -> int:
    """Fuzz the parsers named; exit 1 if one fell."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("name", choices=["all", *TARGETS])
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.inside:
        fuzz(options.name, options.seconds)
        return 0
    print("| parser | executions | coverage points | finding |\n| --- | --- | --- | --- |")
    names = list(TARGETS) if options.name == "all" else [options.name]
    held = [told(name, options.seconds) for name in names]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
