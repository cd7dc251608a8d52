"""Calibrations on disk: every way a file can be wrong, then keeping, choosing, removing."""

import os
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.calibration import files
from huehold.calibration.dropper import Weighing, calibrate
from huehold.calibration.files import KINDS, model_of, read_calibration, to_toml
from huehold.calibration.store import Store, default_folder, slug
from huehold.errors import InputError, UsageError

MADE = date(2026, 11, 1)


def dropper(name="kitchen", text="20:0.95,20:0.97"):
    parts = (part.split(":") for part in text.split(","))
    weighings = [Weighing(int(drops), float(mass)) for drops, mass in parts]
    return calibrate(weighings, name=name, made=MADE)


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "calibration")


@pytest.fixture
def kept(store):
    store.save(dropper())
    return store.folder / "dropper.kitchen.toml"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("calibration/1", "calibration/0", "old layout huehold.calibration/0"),
        ("calibration/1", "calibration/2", "newer huehold"),
        ("calibration/1", "calibration/" + "9" * 5000, "old layout"),
        ("version = 1", "version = " + "9" * 5000, "not valid TOML"),
        ("huehold.calibration/1", "huehold.method/1", "is no calibration: its schema is"),
        ('kind = "dropper"', 'kind = "droper"', "of kind 'droper', which this huehold does not"),
        ('kind = "dropper"', "kind = 7", "of kind 7"),
        ("value = 0.048", "valu = 0.048", "'value'"),
        ("value = 0.048", 'value = "much"', "'drop_mass.value' is 'much'"),
        ("value = 0.048", "value = nan", "finite"),
        ("u = 0.0", "u = -0.0", "'drop_mass.u' is -0.0"),
        ("date = 2026-11-01", "date = 2026-13-01", "not valid TOML"),
        ("date = 2026-11-01", "date = 2027-11-01", "remind_after lies before the date"),
        ("date = 2026-11-01", "", "'date' is missing"),
        ("weighings = 2", "weighing = 2", "the nearest valid key is 'weighings'"),
        ("weighings = 2", "weighings = 2\nweighings = 2", "not valid TOML"),
        ('name = "kitchen"', 'name = "My Kitchen"', "'name' is 'My Kitchen'"),
    ],
)
def test_hand_edited_files_are_told_in_one_sentence(kept, old, new, words):
    text = kept.read_text("utf-8")
    assert old in text
    kept.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(InputError) as caught:
        read_calibration(kept)
    message = str(caught.value)
    assert words in message
    assert "dropper.kitchen.toml" in message
    assert "\n" not in message


def test_a_file_cut_short_anywhere_never_reads_as_something_else(kept):
    whole = kept.read_bytes()
    good = read_calibration(kept)
    read = 0
    for length in range(len(whole) - 1):
        kept.write_bytes(whole[:length])
        try:
            found = read_calibration(kept)
        except InputError:
            continue
        read += 1
        assert found.drop_mass.value == good.drop_mass.value
    assert read <= 2 + len("dof = 1.0")  # only the last, optional key may be lost


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: p.write_bytes(b"\xff\xd8\xff\xe0 picture"), "not text in UTF-8"),
        (lambda p: p.write_bytes(b""), "its schema is None"),
        (lambda p: p.write_text('{"schema": 1}'), "not valid TOML"),
        (lambda p: p.write_text("a = [" + "[" * 5000), "not valid TOML"),
        (lambda p: p.write_text("#" * 1_000_001), "too large"),
        (lambda p: p.mkdir(), "not an ordinary file"),
        (lambda p: None, "There is no calibration file"),
    ],
)
def test_foreign_files_are_told(tmp_path, make, words):
    place = tmp_path / "x.toml"
    make(place)
    with pytest.raises(InputError, match=words):
        read_calibration(place)


@given(st.binary(max_size=200))
def test_no_bytes_make_it_crash(data):
    place = Path(os.environ["PYTEST_TMP_BYTES"])
    place.write_bytes(data)
    with pytest.raises(InputError):
        read_calibration(place)


@pytest.fixture(autouse=True)
def _place_for_bytes(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("PYTEST_TMP_BYTES", str(tmp_path_factory.mktemp("bytes") / "b.toml"))


@pytest.mark.parametrize(
    ("ref", "words"),
    [
        ("dropper/kitchn", "did you mean 'dropper/kitchen'"),
        ("kitchen@7", "There is no calibration"),
        ("dripper/kitchen", "no calibration of kind 'dripper'"),
        ("../../etc/passwd", "names no calibration"),
        ("", "names no calibration"),
        ("a" * 400, "names no calibration"),
    ],
)
def test_names_that_fit_nothing(kept, store, ref, words):
    with pytest.raises(UsageError, match=words):
        store.get(ref)


def test_a_name_of_several_kinds_asks_which(kept, store):
    other = kept.read_text("utf-8")
    (store.folder / "balance.kitchen.toml").write_text(other, "utf-8")
    with pytest.raises(InputError, match="says it is dropper/kitchen"):
        store.get("balance/kitchen")
    with pytest.raises(UsageError, match="dropper/kitchen"):
        store.get("kitchen")
    assert store.get("dropper/kitchen").kind == "dropper"


def test_shipped_ones_cannot_be_removed(store):
    with pytest.raises(UsageError, match="comes with huehold"):
        store.remove("indicator/turmeric-and-spirulina-food-colouring")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a folder that refuses")
def test_a_folder_that_refuses_is_told(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="cannot be written"):
        Store(tmp_path / "x").save(dropper())


def test_a_place_that_is_a_file_is_told(tmp_path):
    (tmp_path / "calibration").write_text("here already")
    with pytest.raises(InputError, match="cannot be written"):
        Store(tmp_path / "calibration").save(dropper())


def test_a_crash_while_writing_leaves_the_old_file(kept, store, monkeypatch):
    before = kept.read_text("utf-8")

    def fail(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", fail)
    with pytest.raises(InputError, match="No space left"):
        store.save(dropper(text="20:0.99"))
    assert kept.read_text("utf-8") == before
    assert [p.name for p in store.folder.iterdir()] == [kept.name]


def test_what_is_saved_reads_back_the_same(store):
    saved = store.save(dropper())
    assert store.get("kitchen") == saved
    assert saved.ref == "dropper/kitchen@1"
    assert to_toml(saved).startswith('schema = "huehold.calibration/1"')


def test_measured_anew_the_earlier_stays(store):
    store.save(dropper())
    second = store.save(dropper(text="20:1.00,20:1.02"))
    assert second.version == 2
    assert store.get("kitchen") == second
    assert store.get("kitchen@1").drop_mass.value == pytest.approx(0.048)
    assert store.get("dropper/kitchen@2") == second
    assert len([e for e in store.entries() if not e.shipped]) == 1
    assert len([e for e in store.entries(earlier=True) if not e.shipped]) == 2
    store.remove("kitchen")
    assert not list(store.folder.glob("dropper*"))


def test_used_until_something_else_is(store):
    store.save(dropper())
    assert store.chosen() == ((), ())
    store.use("kitchen")
    store.save(dropper(text="20:1.00"))
    (chosen,), told = store.chosen()
    assert (chosen.version, told) == (2, ())
    store.use("kitchen@1")
    assert store.chosen()[0][0].version == 1
    store.use_none("dropper")
    assert store.chosen() == ((), ())


def test_a_file_elsewhere_is_used_wherever_one_works(store, kept, tmp_path, monkeypatch):
    kept.rename(tmp_path / "lent.toml")
    monkeypatch.chdir(tmp_path)
    store.use("lent.toml")
    monkeypatch.chdir("/")
    assert [c.ref for c in store.chosen()[0]] == ["dropper/kitchen@1"]


def test_removing_what_is_used_forgets_it(store):
    store.save(dropper())
    store.use("kitchen")
    store.remove("dropper/kitchen")
    assert store.chosen() == ((), ())


def test_a_run_goes_on_without_one_that_is_broken(kept, store):
    store.use("kitchen")
    kept.write_text("schema = ", "utf-8")
    good, told = store.chosen()
    assert good == ()
    assert len(told) == 1
    assert told[0].startswith("The calibration dropper/kitchen is not used:")


@pytest.mark.parametrize(
    "text", ["chosen = 3", "[chosen]\nspoon = 'a'", "[chosen", "[chosen]\nx=1"]
)
def test_a_broken_choice_is_told_and_nothing_is_used(store, text):
    store.folder.mkdir()
    (store.folder / "chosen.toml").write_text(text)
    good, told = store.chosen()
    assert good == ()
    assert "No calibration is used" in told[0]


def test_unreadable_files_are_listed_with_their_fault(kept, store):
    kept.write_text("x")
    (entry,) = (e for e in store.entries() if not e.shipped)
    assert entry.calibration is None
    assert "not valid TOML" in entry.fault


def test_the_environment_moves_the_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path))
    assert default_folder() == tmp_path / "calibration"
    assert Store().folder == tmp_path / "calibration"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2027, 4, 30), ""),
        (date(2027, 5, 1), "181 days ago; it was to be repeated after 2027-04-30"),
        (date(2026, 10, 31), "still to come"),
    ],
)
def test_one_is_reminded_after_its_date(day, words):
    told = dropper().reminder(day)
    assert words in told
    assert bool(words) == bool(told)


@pytest.mark.parametrize(("text", "name"), [("My Kitchen!", "my-kitchen"), ("a--b", "a-b")])
def test_names_from_what_people_type(text, name):
    assert slug(text) == name
    with pytest.raises(UsageError, match="makes no name"):
        slug("???")


def test_every_kind_has_its_model():
    for kind in set(KINDS) - {"camera"}:
        assert model_of(kind).model_fields["kind"].default == kind
