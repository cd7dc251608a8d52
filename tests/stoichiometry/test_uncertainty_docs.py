"""The examples in docs/uncertainty.md, run as they stand."""

import doctest
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "uncertainty.md"


def test_every_example_of_the_page_gives_what_it_shows():
    # An example ends at a blank line, which stands before each closing fence.
    outcome = doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8")
    assert outcome.attempted > 25
    assert outcome.failed == 0
