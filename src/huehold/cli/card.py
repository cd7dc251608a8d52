"""`huehold card`: the bench card to print."""

from __future__ import annotations

from pathlib import Path

import click

from huehold.cli.words import Number


@click.command(epilog="Example: huehold card --paper a4 --cup-mm 75 --out card.pdf")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
    help="Size of the paper in your printer.",
)
@click.option(
    "--cup-mm",
    type=Number(whole=True),
    default=75,
    show_default=True,
    metavar="MM",
    help="Diameter of the cup where it is widest: 45 to 100 in steps of 5, rather larger.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("bench-card.pdf"),
    show_default=True,
    metavar="FILE",
    help="File to write, .pdf or .svg.",
)
def card(paper: str, cup_mm: int, out: Path) -> int:
    """Write the bench card, a page to print that lies under the cup.

    With the card in view huehold knows where the cup stands, how white looks in this light,
    and what lies behind the liquid. Print it in black at 100 %, check the ruler on it, cut
    along the dashed line. Everything works without it too, less well.
    """
    from huehold.calibration.card_print import write_card
    from huehold.report.files import check_place

    if out.suffix:  # a name without one is answered with the endings there are
        check_place(out)
    layout = write_card(out, cup_mm=cup_mm, paper=paper.lower())
    side = 2 * layout.half_mm
    click.echo(
        f"{out}: a card of {side:.0f} x {side:.0f} mm for a cup of {cup_mm} mm. Print it at 100 % "
        "(actual size) and check its ruler.",
        err=True,
    )
    return 0
