"""`huehold calibrate camera`: colours from a picture of a chart, tone from the bench card."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from huehold.calibration.camera import CameraCalibration

__all__ = ["camera"]

Corners = tuple[tuple[float, float], ...]


def _corners(ctx: click.Context, param: click.Parameter, value: str | None) -> Corners | None:
    if value is None:
        return None
    try:
        numbers = [float(part) for part in value.replace(" ", ",").split(",") if part]
    except ValueError:
        numbers = []
    if len(numbers) != 8:
        raise click.BadParameter(f"{value!r} is not eight numbers like X,Y,X,Y,X,Y,X,Y in pixels.")
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


@click.command(epilog="Example: huehold calibrate camera chart.jpg --device phone --light kitchen")
@click.argument("picture", type=click.Path(path_type=Path))
@click.option(
    "--corners",
    callback=_corners,
    metavar="X,Y,X,Y,X,Y,X,Y",
    help="Middles of the patches dark skin, bluish green, black and white in pixels, in place of "
    "finding the chart.",
)
@click.option("--device", default="", metavar="NAME", help="The camera it holds for.")
@click.option("--light", default="", metavar="NAME", help="The light it holds for.")
@click.option("--name", metavar="NAME", help="Name of the calibration; device and light if left.")
@click.option("--no-use", is_flag=True, help="Keep it, but do not use it in runs from now on.")
@click.option("--json", "json_file", metavar="FILE", help="What was found; - for standard output.")
def camera(
    picture: Path,
    corners: Corners | None,
    device: str,
    light: str,
    name: str | None,
    no_use: bool,
    json_file: str | None,
) -> int:
    """Calibrate a camera by a PICTURE of the classic chart of 24 patches.

    Take it with the camera, in the light and with the settings of your runs, the chart flat
    where the cup stands, a third of the view or more, without glare. A picture of the bench
    card will do for the camera's tone, not for its colours.
    """
    import datetime as dt

    from huehold.calibration.chart_picture import read_picture
    from huehold.calibration.store import Store, slug

    image = read_picture(picture)
    label = slug(name or f"{device} {light}".strip() or "camera")
    facts = {"name": label, "made": dt.date.today(), "device": device, "light": light}
    found = _calibrated(image, corners, picture.name, facts)
    store = Store()
    kept = found.model_copy(update={"version": store.save(found).version})
    if not no_use:
        store.use(f"{kept.kind}/{kept.name}")
    _show(kept, not no_use, json_file)
    return 0


def _calibrated(
    image: NDArray[np.uint8], corners: Corners | None, where: str, facts: dict[str, Any]
) -> CameraCalibration:
    from huehold.calibration.camera import calibration_by_card, calibration_by_chart
    from huehold.calibration.card_guide import read_card
    from huehold.calibration.chart import fit_chart
    from huehold.calibration.chart_find import chart_at, find_chart, read_patches

    sight = find_chart(image) if corners is None else chart_at(image, corners)
    if sight is not None:
        return calibration_by_chart(fit_chart(read_patches(image, sight)), **facts)
    reading = read_card(image)
    if reading is None:
        raise InputError(
            f"No chart of 24 patches is found in {where}, nor a bench card; take it larger, flat "
            "and evenly lit, or say where it is with --corners."
        )
    return calibration_by_card(reading, **facts)


def _show(kept: CameraCalibration, used: bool, json_file: str | None) -> None:
    if json_file is not None:
        text = json.dumps(kept.model_dump(mode="json", by_alias=True), ensure_ascii=False, indent=1)
        if json_file == "-":
            click.echo(text)
        else:
            Path(json_file).write_text(text + "\n", encoding="utf-8")
    if json_file != "-":
        click.echo(f"{kept.ref}: {kept.summary()}.")
    click.echo("Runs use it from now on." if used else "It is kept; runs do not use it.", err=True)
    click.echo(f"Repeat it after {kept.remind_after}, and for every other light.", err=True)
