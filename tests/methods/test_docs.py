"""The page on methods: its file loads, its examples run, its table is complete."""

import doctest
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from huehold.methods import Method, list_methods, load_method
from huehold.stoichiometry.assay import Settings, assay

PAGE = Path(__file__).parents[2] / "docs" / "methods.md"


def test_the_file_on_the_page_is_a_method(tmp_path):
    block = re.search(r"```toml\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL).group(1)
    path = tmp_path / "soda.toml"
    path.write_text(block, "utf-8")
    method = load_method(path)
    assert method.name == "washing-soda-by-vinegar"
    found = assay(
        method, sample_mass=1.0, titrant_mass=8.4, strength="5.0 %", settings=Settings(trials=False)
    )
    # washing soda crystals, Na2CO3.10H2O, hold 37 % of sodium carbonate
    assert 30 < found.content.magnitude < 40


def test_examples_run():
    failures, tried = doctest.testfile(str(PAGE), module_relative=False)
    assert tried > 4
    assert failures == 0


def test_every_shipped_method_is_named():
    text = PAGE.read_text("utf-8")
    assert all(f"`{name}`" in text for name in list_methods())


def keys_of(table: type[BaseModel]) -> Iterator[str]:
    """Names of all keys of a table and of the tables in it."""
    for name, field in table.model_fields.items():
        yield field.alias or name
        for part in (field.annotation, *nested(field.annotation)):
            if isinstance(part, type) and issubclass(part, BaseModel):
                yield from keys_of(part)


def nested(annotation: object) -> Iterator[object]:
    for part in get_args(annotation):
        yield part
        yield from nested(part)


@pytest.mark.parametrize("key", sorted(set(keys_of(Method))))
def test_every_key_of_a_method_is_on_the_page(key):
    assert re.search(rf"\b{key}\b", PAGE.read_text("utf-8"))
