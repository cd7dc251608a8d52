"""The plot of an uncertainty budget: what it shows, what it refuses."""

import pytest

from huehold.errors import UsageError
from huehold.report.budget_plot import budget_bytes, budget_figure
from huehold.stoichiometry.propagate import propagate
from huehold.stoichiometry.uncertain import Input


def add(x):
    return sum(x.values())


def budget(*us, correlations=None):
    inputs = [Input.normal(f"x{i}", 10.0, u, "g") for i, u in enumerate(us)]
    inputs.append(Input.type_a("runs", [1.0, 1.4, 1.1], "g"))
    return propagate(add, inputs, correlations or {})


def labels(figure):
    return [tick.get_text() for tick in figure.axes[0].get_yticklabels()]


def test_no_uncertainty_is_refused():
    nothing = propagate(add, [Input.normal("x", 1.0, 0.0, "g")])
    with pytest.raises(UsageError, match="no uncertainty"):
        budget_figure(nothing)


def test_another_form_is_refused():
    with pytest.raises(UsageError, match="png or svg, not 'gif'"):
        budget_bytes(budget(1.0), "gif")


def test_bars_are_the_shares_largest_first():
    figure = budget_figure(budget(0.3, 1.0), result="dose", unit="g")
    widths = [bar.get_width() for bar in figure.axes[0].patches]
    shares = {row.name: row.share_percent for row in budget(0.3, 1.0).rows}
    assert labels(figure) == ["x1", "x0", "runs"]
    assert widths == pytest.approx([shares[name] for name in labels(figure)])
    assert figure.axes[0].get_title(loc="left").startswith("dose: 21.2 ± 2.1 g (95 %, k = 1.96)")


def test_kinds_differ_by_hatch_and_are_named():
    figure = budget_figure(budget(0.3, 1.0))
    hatches = [bar.get_hatch() or "" for bar in figure.axes[0].patches]
    assert hatches == ["", "", "////"]
    named = [text.get_text() for text in figure.legends[0].get_texts()]
    assert named == ["type A: from repeated readings", "type B: from anything else"]


def test_small_shares_are_drawn_together_and_nothing_is_lost():
    figure = budget_figure(budget(5.0, *[0.05] * 20))
    assert labels(figure)[-1] == "21 smaller ones"
    assert sum(bar.get_width() for bar in figure.axes[0].patches) == pytest.approx(100)


def test_negative_shares_of_correlated_inputs_stay_in_view():
    figure = budget_figure(budget(1.0, 0.3, correlations={("x0", "x1"): -0.9}))
    ax = figure.axes[0]
    assert min(bar.get_width() for bar in ax.patches) < 0
    assert ax.get_xlim()[0] < min(bar.get_width() for bar in ax.patches)


def test_names_with_dollars_are_text_and_svg_keeps_them():
    inputs = [Input.normal("cost $1 $", 1.0, 0.1, "g"), Input.normal("b", 1.0, 0.2, "g")]
    svg = budget_bytes(propagate(add, inputs), "svg").decode()
    assert "cost $1 $" in svg
    assert budget_bytes(propagate(add, inputs))[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_same_budget_gives_the_same_svg():
    assert budget_bytes(budget(1.0), "svg") == budget_bytes(budget(1.0), "svg")
