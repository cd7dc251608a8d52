"""Tables of masses: what is understood, and the sentence for what is not."""

from __future__ import annotations

import os
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.balance.masses import read_masses
from huehold.core import Reading
from huehold.errors import InputError


def table(tmp_path, content, name="masses.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", r"holds no lines"),
        ("\n\n# nothing\n", r"holds no lines"),
        ("time_s,cumulative_g\n", r"header but no masses"),
        ("1,2\n3,4\n", r"line 1: no column time_s"),
        ("time_s,mass_g\n1,2\n", r"no column cumulative_g \(time_s, mass_g found\)"),
        ("seconds,cumulative_g\n1,2\n", r"no column time_s"),
        ("time,cumulative_g\n1,2\n", r"no unit is given for time; name the column time_s"),
        ("time_frames,cumulative_g\n1,2\n", r"unit 'frames' is not known for time"),
        ("time_s,cumulative_mL\n1,2\n", r"unit 'ml' is not known for cumulative"),
        ("time_s,cumulative\n1,2\n", r"no unit is given for cumulative"),
        ("time_s,time_min,cumulative_g\n1,2,3\n", r"more than one column for time"),
        ("time_s,cumulative_g\n1,0.5\n1,0.6\n", r"line 3: the time 1 s is not later"),
        ("time_s,cumulative_g\n5,0.5\n4,0.6\n", r"line 3: the time 4 s is not later.*5 s"),
        ("time_s,cumulative_g\n1,0.5\n\n2,0.4\n", r"line 4: the mass falls from 0.5 g to 0.4 g"),
        ("time_s,cumulative_g\n1,-0.5\n", r"line 2: the mass is negative"),
        ("time_s,cumulative_g\n-1,0.5\n", r"line 2: the time is negative"),
        ("time_s,cumulative_g\n1,abc\n", r"line 2: the mass is 'abc', not a number"),
        ("time_s,cumulative_g\n1,nan\n", r"line 2: the mass is 'nan'"),
        ("time_s,cumulative_g\ninf,1\n", r"line 2: the time is 'inf'"),
        ("time_s,cumulative_g\n1,2 g\n", r"line 2: the mass is '2 g'"),
        ("time_s,cumulative_g\n1:20,2\n", r"line 2: the time is '1:20'"),
        ("time_s,cumulative_g\n1,\n", r"line 2: the mass is an empty cell"),
        ("time_s,cumulative_g\n1\n", r"line 2: 1 values under 2 column names"),
        ("time_s,cumulative_g\n1,5,0,2\n", r"line 2: 4 values .* need semicolons"),
        ("time_s;cumulative_g\n1,5;0.2\n", r"line 2: decimals are written with points and with"),
        ("time_s,cumulative_g\n1,1001\n", r"line 2: 1001 g of titrant cannot be meant"),
        ("time_s,cumulative_g\n1e30,2\n", r"line 2: the time 1e30 is far too large"),
        ("time_s,cumulative_g\n1,1e999\n", r"line 2: "),
        (b"PK\x03\x04\0\0\0binary", r"not a text file"),
        ("time_s,cumulative_g\n" + "1,1\n" * 300_000, r"too large"),
        ("time_s,cumulative_g\n" + "".join(f"{i},1\n" for i in range(20_002)), r"more than 20000"),
    ],
)  # fmt: skip
def test_refusals(tmp_path, content, sentence):
    with pytest.raises(InputError, match=sentence) as caught:
        read_masses(table(tmp_path, content))
    text = str(caught.value)
    assert text.startswith("masses.csv")
    assert text.endswith(".")
    assert "\n" not in text


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="There is no file"):
        read_masses(tmp_path / "none.csv")


def test_folder(tmp_path):
    with pytest.raises(InputError, match="is a folder"):
        read_masses(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_named_pipe_does_not_hang(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(InputError, match="not an ordinary file"):
        read_masses(tmp_path / "pipe.csv")


def test_nul_in_the_name():
    with pytest.raises(InputError, match="cannot be read"):
        read_masses("a\0b.csv")


EXPECTED = (Reading(12.5, 0.75, "file"), Reading(60.0, 1.5, "file"))


@pytest.mark.parametrize(
    "content",
    [
        "time_s,cumulative_g\n12.5,0.75\n60,1.5\n",
        "time_s,cumulative_g\r\n12.5,0.75\r\n60,1.5",
        "\ufefftime_s;cumulative_g\n12,5;0,75\n60;1,5\n",
        "time_s\tcumulative_g\n12,5\t0,75\n60\t1,5\n",
        'time_s,cumulative_g\n"12,5","0,75"\n60,"1,5"\n',
        "# my run\n\n Time (s) , Cumulative [g] \n 12.5 , 0.75 \n,\n60,1.5\n",
        "note,cumulative_mg,time_min\nfirst,750,0.208333333333333333\n,1500,1\n",
        "time_ms;cumulative_kg\n12500;7.5e-4\n60000;1.5e-3\n",
        "time_s,cumulative_mass_g,\n12.5,0.75,\n60,1.5,\n",
        "time_s,cumulative_g\n12.5,0.75\n60,1.5\n".encode("utf-16"),
        "time_s,cumulative_g,note\n12.5,0.75,grün\n60,1.5,\n".encode("cp1252"),
    ],
)
def test_spreadsheets_ways(tmp_path, content):
    found = read_masses(table(tmp_path, content))
    assert [r.source for r in found] == ["file", "file"]
    assert [r.time_s for r in found] == pytest.approx([r.time_s for r in EXPECTED])
    assert [r.mass_g for r in found] == pytest.approx([r.mass_g for r in EXPECTED])


def test_equal_masses_and_zero_are_fine(tmp_path):
    found = read_masses(table(tmp_path, "time_s,cumulative_g\n0,-0\n1,0\n2,0.5\n3,0.5\n"))
    assert [r.mass_g for r in found] == [0.0, 0.0, 0.5, 0.5]
    assert str(found[0].mass_g) == "0.0"


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.01, 100), st.floats(0, 10)), min_size=1, max_size=30))
def test_round_trip(tmp_path_factory, steps):
    time_s = mass_g = 0.0
    rows = []
    for wait, portion in steps:
        time_s, mass_g = time_s + wait, mass_g + portion
        rows.append((time_s, mass_g))
    content = "time_s,cumulative_g\n" + "".join(f"{t!r},{m!r}\n" for t, m in rows)
    found = read_masses(table(tmp_path_factory.mktemp("t"), content))
    assert [(r.time_s, r.mass_g) for r in found] == rows


@pytest.mark.parametrize("seed", range(200))
def test_mutated_tables_are_read_or_refused(tmp_path, seed):
    rng = random.Random(seed)
    data = bytearray(b'time_s;cumulative_g;note\n0;0;a\n12,5;0,75;"b"\n60;1,5;c\n90;2,04;d\n')
    for _ in range(rng.choice([1, 3, 20])):
        data[rng.randrange(len(data))] = rng.choice([rng.randrange(256), *b';,."\n\r\t-e0'])
    path = table(tmp_path, bytes(data))
    try:
        masses = [reading.mass_g for reading in read_masses(path)]
    except InputError:
        return
    assert masses
    assert masses == sorted(masses)
