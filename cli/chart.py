"""``cuttable chart``: a machine's range as a picture."""

from pathlib import Path

import click

from ..catalogue.errors import InputError
from ..catalogue.families import FAMILIES
from ..engine.charting import charts_of
from ..engine.wording import SYSTEMS, System
from .desk import open_desk
from .files import write_whole

KINDS = (".svg", ".png", ".html")


@click.command(
    "chart",
    epilog="""\b
Examples:
  cuttable chart --machine alder-320 --out alder.svg
  cuttable chart --machine rowan-150 --wall "XS" --units us --out rowan.png
  cuttable chart --machine medlar-300 --against alder-320 --family shs --out two.html""",
)
@click.option("--machine", required=True, metavar="CODE|FILE.toml", help="The machine to draw.")
@click.option("--against", default="", metavar="CODE|FILE.toml",
              help="A second machine or revision, drawn beside it on the same scale.")  # fmt: skip
@click.option("--family", type=click.Choice(list(FAMILIES)), default="pipe", show_default=True)
@click.option("--wall", default="", metavar="SCHEDULE|WALL",
              help="Schedule of pipe, or wall; else SCH 40 or STD, 5 mm or 3/16 in.")  # fmt: skip
@click.option("--grade", default=None, metavar="G",
              help="Grade; without it the carbon steel each is sold in.")  # fmt: skip
@click.option("--units", type=click.Choice(SYSTEMS), default="si", show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), default=Path("chart.svg"),
              show_default=True, help="File to write: .svg, .png or .html.")  # fmt: skip
def command(
    *,
    machine: str,
    against: str,
    family: str,
    wall: str,
    grade: str | None,
    units: System,
    out: Path,
) -> int:
    """Draw for which sections and lengths a machine is in range, on conditions, or not.

    Sizes against length, a tint and a pattern for each verdict, and along each border what
    decides. HTML tells what is pointed at.
    """
    kind = out.suffix.casefold()
    if kind not in KINDS:
        raise InputError(
            "choice-unknown", f"{out.name!r} is no kind of chart",
            remedy=f"End the file name in {', '.join(KINDS)}.",
        )  # fmt: skip
    desk = open_desk()
    models = desk.machines([machine, *([against] if against else [])])
    drawn = charts_of(desk, models, family=family, wall=wall, grade=grade, system=units)
    made = (
        drawn.page(units).encode()
        if kind == ".html"
        else drawn.picture("png" if kind == ".png" else "svg", units)
    )
    write_whole(out, made, "the chart")
    codes = " against ".join(model.code for model in models)
    click.echo(f"{out}: {codes}, {drawn.title}, {len(drawn.charts[0].rows)} sizes.")
    return 0
