"""The guides: their data fits together; any answers give a calibration or a sentence."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from huehold.calibration.files import KINDS
from huehold.calibration.guide_reading import READERS, choices_of
from huehold.calibration.guided import make
from huehold.calibration.guides import AnswerError, Answers, guide_of, list_guides
from huehold.errors import HueholdError, UsageError

MADE = date(2026, 11, 1)
WEIGHED = ("dropper", "balance", "density", "titrant")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_guide_whose_parts_fit(kind):
    guide = guide_of(kind)
    fields = [field for step in guide.steps for field in step.fields]
    keys = {step.key for step in guide.steps} | {field.key for field in fields}
    singles = [f.key for step in guide.steps if not step.rows for f in step.fields]
    assert len(singles) == len(set(singles))
    assert set(guide.named_by) <= set(singles)
    assert all(step.unless in keys for step in guide.steps if step.unless)
    assert all(field.kind in READERS or field.kind == "standard" for field in fields)
    for field in fields:
        if field.choices:
            assert choices_of(field.choices, "magnesium-hydroxide-by-vinegar")
        if field.default:
            assert field.read("", Answers(guide, {})) is not None
    for step in guide.steps:
        assert len(step.fields) == 2 or not step.separator
        assert step.words or not step.shown


def test_what_there_is_not():
    with pytest.raises(UsageError, match="no guide for 'spoon'"):
        make("spoon", {}, made=MADE)
    with pytest.raises(UsageError, match="no step 'tea'"):
        guide_of("dropper").step("tea")


def test_an_error_has_its_place_and_keeps_its_exit_code():
    rows = [{"weight": "", "reading": ""}, {"weight": "us-6-cents", "reading": "5"}]
    with pytest.raises(AnswerError, match="did you mean") as caught:
        make("balance", {"check": rows}, made=MADE)
    assert (caught.value.step, caught.value.field, caught.value.row) == ("check", "weight", 1)
    assert caught.value.exit_code == 2


def test_too_many_rows():
    rows = [{"drops": "20", "mass": "0.95"}] * 61
    with pytest.raises(AnswerError, match="61 rows are too many"):
        make("dropper", {"weighings": rows}, made=MADE)


@pytest.mark.parametrize(
    ("kind", "line", "row"),
    [
        ("dropper", "20:0.97", {"drops": "20", "mass": "0.97"}),
        ("indicator", "C:/cups/a=b.jpg=7.0", {"picture": "C:/cups/a=b.jpg", "ph": "7.0"}),
        ("balance", " 10 x us-5-cents = 50.1 ", {"weight": "10 x us-5-cents", "reading": "50.1"}),
    ],
)
def test_a_row_typed_as_one_line(kind, line, row):
    step = next(step for step in guide_of(kind).steps if step.separator)
    assert step.row_of(line) == row


TYPED = st.one_of(
    st.text(max_size=12),
    st.sampled_from([
        "5", "0.95", "1,5", "20", "-1", "0", "nan", "inf", "1e400", "5 g", "10 mL", "0.05 +/- 0 g",
        "us-5-cents", "5.01+7.49", "baking soda", "²", "1e-300", "999999999999999999999999",
    ]),
)  # fmt: skip


@st.composite
def answered(draw):
    guide = list_guides()[draw(st.sampled_from(WEIGHED))]
    answers = {}
    for step in guide.steps:
        keys = [field.key for field in step.fields]
        rows = st.lists(st.fixed_dictionaries(dict.fromkeys(keys, TYPED)), max_size=3)
        if step.rows:
            answers[step.key] = draw(rows)
        else:
            answers |= {key: draw(TYPED) for key in keys if draw(st.booleans())}
    answers.pop("method", None)  # may be a file; its own tests see to it
    return guide.kind, answers


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(answered())
def test_any_answers_make_a_calibration_or_a_sentence(case):
    kind, answers = case
    told = ""
    try:
        found = make(kind, answers, made=MADE).calibration
        assert found.kind == kind
        told = found.summary()
    except HueholdError as error:
        told = str(error)
    assert told
    assert "\n" not in told
