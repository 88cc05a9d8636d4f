"""``cuttable chart``: a machine's range as a picture."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from ..catalogue.errors import InputError
from ..catalogue.tables.families import Family
from ..engine.search.charting import charts_of
from .apps import new_app
from .context import open_assessor
from .files import write_whole
from .options import GRADE, Machine, Units, command

KINDS = (".svg", ".png", ".html")


app = new_app()


@command(
    app,
    "chart",
    fields=GRADE,
    epilog="""\b
Examples:
  cuttable chart --machine alder-320 --out alder.svg
  cuttable chart --machine rowan-150 --wall "XS" --units us --out rowan.png
  cuttable chart --machine medlar-300 --against alder-320 --family shs --out two.html""",
)
def chart(
    *,
    machine: Machine,
    against: Annotated[
        str,
        typer.Option("--against", metavar="CODE|FILE.toml",
                     help="A second machine or revision, drawn beside it on the same scale."),
    ] = "",
    family: Annotated[Family, typer.Option("--family", help="Sections to draw.")] = "pipe",
    wall: Annotated[
        str,
        typer.Option("--wall", metavar="SCHEDULE|WALL",
                     help="Schedule of pipe, or wall; else SCH 40 or STD, 5 mm or 3/16 in."),
    ] = "",
    said: Mapping[str, Any],
    units: Units = "si",
    out: Annotated[
        Path,
        typer.Option("--out", metavar="FILE", dir_okay=False,
                     help="File to write: .svg, .png or .html."),
    ] = Path("chart.svg"),
) -> int:  # fmt: skip
    """Draw a machine's range: sections against lengths.

    A tint and a pattern for each verdict, and along each border what
    decides. HTML tells what is pointed at.
    """
    kind = out.suffix.casefold()
    if kind not in KINDS:
        raise InputError(
            "choice-unknown", f"{out.name!r} is no kind of chart",
            remedy=f"End the file name in {', '.join(KINDS)}.",
        )  # fmt: skip
    assessor = open_assessor()
    models = assessor.machines([machine, *([against] if against else [])])
    drawn = charts_of(assessor, models, family=family, wall=wall, system=units, **said)
    made = (
        drawn.page(units).encode()
        if kind == ".html"
        else drawn.picture("png" if kind == ".png" else "svg", units)
    )
    write_whole(out, made, "the chart")
    codes = " against ".join(model.code for model in models)
    typer.echo(f"{out}: {codes}, {drawn.title}, {len(drawn.charts[0].rows)} sizes.")
    return 0
