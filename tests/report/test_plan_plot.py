"""The picture of a plan, for every method that is shipped."""

import itertools

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from huehold.methods import list_methods, load_method
from huehold.planning.plan import make_plan
from huehold.planning.request import PlanRequest
from huehold.report.plan_plot import plan_figure

_CLAIMED = "magnesium-hydroxide-by-vinegar"
_REQUESTS = {
    **{name: {} for name in list_methods()},
    "small": {"claim": "1200 mg/15 mL", "strength": "5.0 %", "wanted_percent": 3.0},
    "large": {"claim": "1200 mg/15 mL", "sample_g": 15.0, "drop_g": 0.02, "strength": "5.0 %"},
    "weak": {"claim": "20 mg/mL", "sample_g": 0.5, "squirt_g": 0.06, "water": "distilled"},
}


@pytest.fixture(params=_REQUESTS, scope="module")
def figure(request):
    named = request.param if request.param in list_methods() else _CLAIMED
    drawn = plan_figure(make_plan(PlanRequest(load_method(named), **_REQUESTS[request.param])))
    FigureCanvasAgg(drawn).draw()
    return drawn


def _texts(figure):
    """Every text that shows, with its place in pixels."""
    renderer = figure.canvas.get_renderer()
    shown = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    places = [(t.get_text(), t.get_window_extent(renderer)) for t in shown]
    ticks = {t for ax in figure.axes for t in _hidden_ticks(ax)}
    return [(text, box) for t, (text, box) in zip(shown, places, strict=True) if t not in ticks]


def _hidden_ticks(ax):
    """Labels of ticks beyond the limits are made but not drawn."""
    if not ax.axison:
        return [*ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label, ax.yaxis.label]
    low, high = sorted(ax.get_xlim())
    below, above = sorted(ax.get_ylim())
    return [
        *(t for t in ax.get_xticklabels() if not low <= t.get_position()[0] <= high),
        *(t for t in ax.get_yticklabels() if not below <= t.get_position()[1] <= above),
    ]


def test_no_two_labels_overlap(figure):
    for (one, box), (other, its) in itertools.combinations(_texts(figure), 2):
        assert not _overlap(box, its), (one, other)


def _overlap(one, other):
    """Whether two boxes share more than a pixel."""
    return (
        min(one.x1, other.x1) - max(one.x0, other.x0) > 1.0
        and min(one.y1, other.y1) - max(one.y0, other.y0) > 1.0
    )


def test_every_label_is_on_the_picture(figure):
    width, height = figure.canvas.get_width_height()
    for text, box in _texts(figure):
        assert min(box.x0, box.y0, width - box.x1, height - box.y1) >= 0, text


def test_stretches_are_told_apart_without_colour(figure):
    legend = next(ax.get_legend() for ax in figure.axes if ax.get_legend() is not None)
    hatches = [handle.get_hatch() for handle in legend.get_patches()]
    assert len(set(hatches)) == len(hatches)
