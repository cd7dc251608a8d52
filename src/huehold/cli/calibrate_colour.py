"""`huehold calibrate indicator` and `turbidity`: what is seen in pictures of the cup."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.asking import ask, ask_several, interactive, today
from huehold.cli.keeping import keep, keep_options, name_of
from huehold.cli.options import numbers, vessel_of, white_of
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.calibration.indicator_fit import ColourPoint
    from huehold.calibration.references import Reference

__all__ = ["indicator", "turbidity"]

_HELP = {"help_option_names": ["-h", "--help"]}
_VESSEL = click.option(
    "--vessel", callback=numbers("X,Y,R"), metavar="X,Y,R",
    help="Where the liquid is in the pictures, in pixels, if it is not found.",
)  # fmt: skip
_WHITE = click.option(
    "--white", callback=numbers("X,Y,W,H"), metavar="X,Y,W,H", help="A white patch, in pixels."
)


def _pair(text: str) -> tuple[Path, str]:
    path, equals, value = text.rpartition("=")
    if not equals or not path or not value.strip():
        raise UsageError(f"'{text}' is no picture with its value; write cup1.jpg=7.0.")
    return Path(path), value


@click.command(
    context_settings=_HELP,
    epilog="Example: huehold calibrate indicator a.jpg=vinegar b.jpg=buffer-7.00 c.jpg=baking-soda "
    "d.jpg=milk-of-magnesia",
)
@click.argument("pictures", nargs=-1, metavar="FILE=PH ...")
@click.option("--dye", metavar="TEXT", help="What it is; the method's indicator if left out.")
@click.option("--method", default="magnesium-hydroxide-by-vinegar", show_default=True,
              metavar="NAME|FILE", help="What the dye is to be used for.")  # fmt: skip
@click.option("--light", default="", metavar="TEXT", help="Under which light.")
@click.option(
    "--illuminant", default="daylight", show_default=True, metavar="KIND",
    help="Kind of light: daylight, bulb, led, led-warm, led-cool, fluorescent, tri-band.",
)  # fmt: skip
@click.option("--device", default="", metavar="TEXT", help="With which camera.")
@click.option("--list-references", is_flag=True, help="List liquids of known pH and stop.")
@_VESSEL
@_WHITE
@keep_options
def indicator(
    pictures: tuple[str, ...], list_references: bool, name: str | None, vessel: Any, white: Any,
    use_it: bool, dry_run: bool, as_json: bool, **options: Any,
) -> None:  # fmt: skip
    """Colour of the dye against pH, from pictures or short clips of it in known liquids.

    PH is a number (7.0, or 7.0+/-0.1) or a reference such as buffer-7.00, vinegar or
    baking-soda. Use the same cup, as much dye and water, the same light, and four pictures or
    more, at least three of them where the colour changes.
    """
    from huehold.calibration.indicator_fit import fit_chart, suits
    from huehold.methods import load_method

    if list_references:
        _tell_references()
        return
    method = load_method(options["method"])
    dye = options["dye"] or method.indicator.name
    points = _points(pictures, vessel, white)
    chart = fit_chart(points, name=name_of(name, dye), dye=dye, made=today(),
                      light=options["light"], device=options["device"],
        illuminant=options["illuminant"])  # fmt: skip
    for sentence in suits(chart, method):
        click.echo(f"Warning: {sentence}", err=True)
    if chart.basis == "monotone":
        click.echo("No model of protolysis fits; the colours are joined smoothly.", err=True)
    keep(chart, use_it=use_it, dry_run=dry_run, as_json=as_json)


def _points(pictures: tuple[str, ...], vessel: Any, white: Any) -> list[ColourPoint]:
    from huehold.calibration.indicator_measure import measure_colour
    from huehold.calibration.references import known_ph

    def known(text: str) -> tuple[Path, Reference]:
        path, value = _pair(text)
        if not path.is_file():
            raise InputError(f"There is no picture or clip {path}: check the name and the folder.")
        return path, known_ph(value)

    if not pictures and not interactive():
        raise UsageError("Give pictures with their pH: cup1.jpg=7.0 cup2.jpg=baking-soda ...")
    if pictures:
        pairs = tuple(known(text) for text in pictures)
    else:
        _tell_references()
        click.echo("Pictures of the dye in known liquids, as cup1.jpg=baking-soda.", err=True)
        pairs = ask_several("Picture=pH, Enter ends", known, least=3)
    found = []
    for path, reference in pairs:
        point = measure_colour(path, reference, vessel=vessel_of(vessel), white=white_of(white))
        click.echo(
            f"{path.name}: pH {point.ph:g} +/- {point.u_ph:g}, a {point.a:.1f}, b {point.b:.1f} "
            f"+/- {point.u:.1f}", err=True,
        )  # fmt: skip
        found.append(point)
    return found


def _tell_references() -> None:
    from huehold.calibration.references import list_references

    for known in list_references():
        click.echo(f"{known.key:<26} {known.ph:5.2f} +/- {known.u:.2f}  {known.name} [{known.how}]")


@click.command(
    context_settings=_HELP,
    epilog="Example: huehold calibrate turbidity fresh.jpg=1 half.jpg=0.5 clear.jpg=0",
)
@click.argument("pictures", nargs=-1, metavar="FILE=SHARE ...")
@click.option("--pairs", metavar="SHARE:INDEX,...", help="Or: indices that were read before.")
@click.option("--method", default="", metavar="NAME", help="The method it is for; any if left out.")
@click.option("--light", default="", metavar="TEXT", help="Under which light.")
@_VESSEL
@_WHITE
@keep_options
def turbidity(
    pictures: tuple[str, ...], pairs: str | None, method: str, light: str, name: str | None,
    vessel: Any, white: Any, use_it: bool, dry_run: bool, as_json: bool,
) -> None:  # fmt: skip
    """Tell solid from the index of turbidity: clear water and fresh suspension, or a series.

    SHARE is the solid as a share of the fresh suspension's, 0 for clear water with dye. Camera
    and cup must stand where they will stand in the run, and not move between the pictures.
    """
    from huehold.calibration.turbidity import calibrate

    if pairs is not None and pictures:
        raise UsageError("Give pictures or --pairs, not both.")
    if pairs is not None:
        found = _series(pairs)
    elif pictures:
        found = _indices(pictures, vessel, white)
    else:
        question = "Share:index of clear water and of the fresh suspension (0:0.05,1:0.9)"
        found = ask(None, "FILE=SHARE ... or --pairs", question, _series)
    made = calibrate(found, name=name_of(name, light or "turbidity"), made=today(), method=method,
                     light=light)  # fmt: skip
    if len(made.share) == 2:
        click.echo("Two points: between them the index is taken as straight.", err=True)
    keep(made, use_it=use_it, dry_run=dry_run, as_json=as_json)


def _series(text: str) -> list[tuple[float, float]]:
    return [_numbers(part) for part in text.split(";" if ";" in text else ",")]


def _numbers(text: str) -> tuple[float, float]:
    share, _, index = text.partition(":")
    try:
        return float(share), float(index)
    except ValueError:
        raise InputError(f"'{text.strip()}' is no share with its index; write 0.5:0.62.") from None


def _indices(pictures: tuple[str, ...], vessel: Any, white: Any) -> list[tuple[float, float]]:
    """Let one observer see all pictures, the cloudiest first: its scale goes by that one."""
    import numpy as np

    from huehold.calibration.indicator_measure import observe_file
    from huehold.vision import Observer

    given = [(path, _numbers(f"{share}:0")[0]) for path, share in map(_pair, pictures)]
    observer = Observer(vessel_of(vessel), white_of(white))
    found, time_s = [], 0.0
    for path, share in sorted(given, key=lambda pair: -pair[1]):
        seen = observe_file(path, observer, time_s)
        time_s = seen[-1].time_s + 2.0 if seen else time_s
        values = [o.turbidity for o in seen[len(seen) // 2 :] if np.isfinite(o.turbidity)]
        if not values:
            raise InputError(
                f"{path.name}: the turbidity cannot be seen; put a pattern under the cup, or give "
                "--vessel X,Y,R."
            )
        found.append((share, float(np.median(values))))
        click.echo(f"{path.name}: share {share:g}, index {found[-1][1]:.2f}", err=True)
    return found
