"""How well the bench card is found and measured over many views: place, size, white.

    python -m benchmarks card_views --views 40

Rendered pictures of the printed card in seven groups: any pose, light of any colour and slope,
blur and noise, prints at 94 to 106 %, the cup in place with a corner hidden, half in shadow, and
all of it at once. Told are the share found, the error of the ring's place and size in percent of
its radius, and the error of white in CIEDE2000, each as median and worst.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from tests.calibration.card_scene import Scene, render
from tests.calibration.test_card_find import off
from tests.calibration.test_card_light import white_off

from huehold.calibration.card import CUP_SIZES_MM
from huehold.calibration.card_guide import read_card

Rng = np.random.Generator
SIZE = (960, 640)


def posed(rng: Rng) -> Scene:
    """Look from anywhere up to 45 degrees, at a card of any size."""
    cup_mm = int(rng.choice(CUP_SIZES_MM))
    return Scene(
        cup_mm=cup_mm, cup_px=170.0 * cup_mm / 75.0, size=SIZE, tilt_deg=rng.uniform(0, 45),
        turn_deg=rng.uniform(-180, 180), seed=int(rng.integers(1 << 30)),
    )  # fmt: skip


def lit(rng: Rng, scene: Scene) -> Scene:
    """Light from dim to bright, from bluish to a warm bulb, falling off across the picture."""
    red, blue = rng.uniform(0.75, 1.25), rng.uniform(0.45, 1.2)
    light = np.array([red, 1.0, blue]) / max(red, 1.0, blue) * rng.uniform(0.25, 0.9)
    slope = rng.uniform(-0.4, 0.4, 2)
    return replace(scene, light=tuple(light.tolist()), slope=tuple(slope.tolist()))


def blurred(rng: Rng, scene: Scene) -> Scene:
    """Blur up to 2.5 pixels, and noise of a dim room."""
    return replace(scene, blur_px=rng.uniform(0.4, 2.5), noise=rng.uniform(0.0, 0.02))


def fitted(rng: Rng, scene: Scene) -> Scene:
    """Print it smaller or larger than true."""
    return replace(scene, cup_px=scene.cup_px * rng.uniform(0.94, 1.06))


def covered(rng: Rng, scene: Scene) -> Scene:
    """Put a cup of some liquid on it, and a hand over a corner."""
    liquid = tuple(rng.uniform(0.05, 0.7, 3).tolist())
    return replace(scene, cup=liquid, hidden=(int(rng.integers(4)),))


def shaded(rng: Rng, scene: Scene) -> Scene:
    """Let a shadow with an edge fall across it."""
    return replace(scene, shadow=rng.uniform(0.2, 0.6))


Change = Callable[[Rng, Scene], Scene]
GROUPS: dict[str, tuple[Change, ...]] = {
    "any pose": (),
    "any light": (lit,),
    "blur and noise": (blurred,),
    "print at 94 to 106 %": (fitted,),
    "cup and a hidden corner": (covered,),
    "half in shadow": (shaded,),
    "all but the shadow": (lit, blurred, fitted, covered),
}


def measured(scene: Scene) -> tuple[float, float] | None:
    """Error of the pose in percent of the radius and of white in CIEDE2000; None if not found."""
    picture = render(scene)
    reading = read_card(picture.image)
    if reading is None:
        return None
    white = np.nan if reading.light is None else white_off(reading.light.white, picture.white)
    return 100.0 * off(reading.sight, picture), white


def row(name: str, views: int) -> str:
    """Measure one group."""
    rng = np.random.default_rng(11)
    scenes = []
    for _ in range(views):
        scene = posed(rng)
        for change in GROUPS[name]:
            scene = change(rng, scene)
        scenes.append(scene)
    found = [one for one in map(measured, scenes) if one is not None]
    poses, whites = np.array(found).T
    return (
        f"| {name} | {len(found)} of {views} | {np.median(poses):.2f}, {poses.max():.2f} "
        f"| {np.nanmedian(whites):.2f}, {np.nanmax(whites):.2f} "
        f"| {int(np.isnan(whites).sum())} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--views", type=int, default=40)
    views = parser.parse_args().views
    print("| view | found | place and size, % of radius | white, CIEDE2000 | no white |")
    print("|---|---|---|---|---|")
    for name in GROUPS:
        print(row(name, views), flush=True)


if __name__ == "__main__":
    main()
