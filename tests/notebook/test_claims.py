"""A run belongs to the program that watches it, for as long as that lives."""

import subprocess
import sys

import pytest

from huehold.errors import UsageError
from huehold.notebook import Claim, is_claimed

HOLD = """
import pathlib, sys, time
from huehold.notebook import Claim
claim = Claim(pathlib.Path(sys.argv[1]), 7)
print("held", flush=True)
time.sleep(60)
"""


def test_a_claim_is_seen_and_let_go(tmp_path):
    book = tmp_path / "book.sqlite3"
    assert not is_claimed(book, 7)
    claim = Claim(book, 7)
    assert is_claimed(book, 7)
    assert not is_claimed(book, 8)
    with pytest.raises(UsageError, match="Run 7 is being watched"):
        Claim(book, 7)
    claim.release()
    claim.release()
    assert not is_claimed(book, 7)
    assert list(tmp_path.iterdir()) == []


def test_the_claim_of_a_program_that_was_killed_is_gone(tmp_path):
    book = tmp_path / "book.sqlite3"
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(book)], stdout=subprocess.PIPE, text=True
    )
    with other:
        assert other.stdout.readline() == "held\n"
        assert is_claimed(book, 7)
        other.kill()
    assert not is_claimed(book, 7)
    Claim(book, 7).release()


def test_where_no_file_can_be_made_a_claim_hinders_nothing(tmp_path):
    book = tmp_path / "missing" / "book.sqlite3"
    claim = Claim(book, 7)
    assert not is_claimed(book, 7)
    claim.release()
