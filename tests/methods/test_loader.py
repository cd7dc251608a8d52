"""Method files: every fault of a file is one exact sentence."""

import copy
from pathlib import Path

import pytest

from huehold.errors import InputError, UsageError
from huehold.methods import list_methods, load_method, method_from_dict


@pytest.fixture
def data():
    method = load_method("magnesium-hydroxide-by-vinegar")
    return copy.deepcopy(method.model_dump(by_alias=True, mode="json", exclude_none=True))


def fault(data):
    with pytest.raises(InputError) as caught:
        method_from_dict(data, "mine.toml")
    return str(caught.value)


def test_unknown_key_names_the_key_and_the_nearest(data):
    data["endpoint"]["holds"] = 60
    assert fault(data) == (
        "mine.toml: unknown key 'holds' in [endpoint]; the nearest valid key is 'hold_s'"
    )


def test_unknown_key_in_a_table_that_may_be_a_word(data):
    data["titrant"]["density"] = {"valeu": 1.0, "u": 0.01, "source": "x"}
    message = fault(data)
    assert "unknown key 'valeu' in [titrant.density]; the nearest valid key is 'value'" in message
    assert "'titrant.density.value' is missing" in message


def test_unknown_key_in_a_list_of_tables(data):
    data["standards"][0]["formular"] = "NaHCO3"
    assert "unknown key 'formular' in [standards[1]]" in fault(data)


def test_unknown_key_at_the_top(data):
    data["reaction"] = "A -> B"
    assert "unknown key 'reaction'; the nearest valid key is 'reactions'" in fault(data)


def test_unbalanced_reaction_gives_the_counts(data):
    data["reactions"] = ["Mg(OH)2 + CH3COOH -> Mg(CH3COO)2 + 2 H2O"]
    assert fault(data) == (
        "mine.toml: reactions: the reaction 'Mg(OH)2 + CH3COOH -> Mg(CH3COO)2 + 2 H2O' does not "
        "balance: C 2 on the left and 4 on the right, H 6 on the left and 10 on the right, "
        "O 4 on the left and 6 on the right"
    )


@pytest.mark.parametrize(
    ("table", "key", "value", "words"),
    [
        ("endpoint", "hold_s", -3, "'endpoint.hold_s' is -3: input should be greater than 0"),
        ("endpoint", "hold_s", float("nan"), "finite number"),
        ("endpoint", "hold_s", "long", "'endpoint.hold_s' is 'long'"),
        ("endpoint", "direction", "sideways", "base-to-acid"),
        ("sample", "analyte", "Mg(OX)2", "no element 'X'"),
        ("result", "expected", [300, 100], "0 <= low < high"),
        ("result", "unit", "mg/cup", "mg/mL"),
        ("dose", "acceptance", "milk", "acceptance range"),
        ("titrant", "path", ["CH3COOH", "NaHCO3"], "must run from CH3COOH to Mg(OH)2"),
        ("titrant", "path", ["CH3COOH", "H3PO4", "Mg(OH)2"], "no reaction has both"),
    ],
)
def test_wrong_values_are_named(data, table, key, value, words):
    data[table][key] = value
    assert words in fault(data)


def test_missing_section(data):
    del data["sample"]
    assert "'sample' is missing" in fault(data)


def test_two_colourless_colours_are_refused(data):
    for side in ("start", "end"):
        data["indicator"][side] = {"name": "colourless"}
    assert "cannot both be colourless" in fault(data)


def test_hue_beyond_the_circle_is_refused(data):
    data["indicator"]["end"]["hue_deg"] = [100, 400]
    assert "'indicator.end.hue_deg[2]' is 400" in fault(data)


def test_back_titration_needs_a_reagent(data):
    data["kind"] = "back"
    assert "a back titration needs a [reagent]" in fault(data)


def test_name_that_is_no_method_suggests_the_nearest():
    with pytest.raises(UsageError, match="did you mean 'lime-water'"):
        load_method("lime-watter")


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="there is no method file"):
        load_method(tmp_path / "none.toml")


def test_file_that_is_not_toml(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("name = [unfinished", "utf-8")
    with pytest.raises(InputError, match=r"mine\.toml is not valid TOML"):
        load_method(path)


def test_file_that_is_not_text(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="cannot be read as UTF-8"):
        load_method(str(path))


def test_own_file_loads_as_the_shipped_one(tmp_path):
    import huehold.methods

    folder = Path(huehold.methods.__file__).parent / "data"
    own = tmp_path / "own.toml"
    own.write_text((folder / "lime-water.toml").read_text("utf-8"), "utf-8")
    assert load_method(own) == load_method("lime-water")


def test_a_dump_of_a_method_is_a_method():
    for name in list_methods():
        method = load_method(name)
        dumped = method.model_dump(by_alias=True, mode="json", exclude_none=True)
        assert method_from_dict(dumped) == method
