"""``cuttable chart``: a machine's range as a picture."""

from collections.abc import Sequence
from pathlib import Path

import click

from ..catalogue.errors import InputError
from ..catalogue.families import FAMILIES, Member
from ..catalogue.quantities import length as read_length
from ..engine.chart import Chart, chart_of
from ..engine.job import grade_of
from ..engine.lengths import STEPS, Interval
from ..engine.verdict import VERDICTS
from ..engine.wording import SYSTEMS, System
from .desk import open_desk
from .files import write_whole

KINDS = (".svg", ".png", ".html")
MOST_ROWS = 60


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
    members = _row_of_sizes(FAMILIES[family](desk.catalogue.tables), family, wall)
    stocks = [
        (item.section, grade_of(grade, item.section, desk.catalogue).grade) for item in members
    ]
    charts = [chart_of(stocks, desk.engine, model, STEPS[units]) for model in models]
    shown = _worth_showing(charts)
    charts = [chart._replace(rows=tuple(chart.rows[n] for n in shown)) for chart in charts]
    titles = desk.rule_set.vocabulary.titles
    rules = {rule.code: rule.title for rule in desk.rule_set.rules}

    def reason(item: Interval) -> str:
        if item.missing:
            return f"needs {item.missing.replace('; ', ', ')}"
        if item.decided_by:
            return rules.get(item.decided_by, item.decided_by).lower()
        return f"fullest limit: {titles.get(item.governing, item.governing)}"

    from .chart_drawing import page, picture

    grades = list(dict.fromkeys(grade.name for _, grade in stocks))
    title = f"{_words(family, wall)}, {' and '.join(grades[:2])}"
    if kind == ".html":
        made = page(charts, title=title, system=units, reason=reason).encode()
    else:
        try:
            made = picture(charts, title=title, system=units, reason=reason, kind=kind[1:])
        except ImportError as fault:
            raise InputError(
                "option-needs", f"pictures need the package {fault.name}",
                remedy="Install it: pip install 'cuttable[charts]'; or write .html.",
            ) from None  # fmt: skip
    write_whole(out, made, "the chart")
    codes = " against ".join(model.code for model in models)
    click.echo(f"{out}: {codes}, {title}, {len(shown)} sizes.")
    return 0


def _row_of_sizes(members: Sequence[Member], family: str, wall: str) -> list[Member]:
    """Return one section a size: of the wall asked for, else of a usual one."""
    wanted = [wall] if wall else (["SCH 40", "STD"] if family == "pipe" else ["5 mm", "3/16"])
    names = [_fold(item) for item in wanted]
    try:
        thick = None if family == "pipe" or not wall else read_length(wall)
    except (InputError, ValueError):
        thick = None
    chosen: dict[str, tuple[int, Member]] = {}
    for item in members:
        is_wall = thick is not None and abs(item.section.wall - thick) < 0.05
        if _fold(item.wall) not in names and not is_wall:
            continue
        rank = names.index(_fold(item.wall)) if _fold(item.wall) in names else 0
        if item.size not in chosen or rank < chosen[item.size][0]:
            chosen[item.size] = (rank, item)
    if not chosen:
        walls = list(dict.fromkeys(item.wall for item in members))
        raise InputError(
            "section-unknown", f"no {family} has the wall {wall.strip()[:40]!r}",
            remedy=f"There are: {', '.join(walls[:24])}.",
        )  # fmt: skip
    return [item for _, item in chosen.values()]


def _worth_showing(charts: Sequence[Chart]) -> list[int]:
    """Return the rows up to two beyond the last one that some machine takes, at most sixty."""
    able: set[int] = set()
    count = 0
    for chart in charts:
        count = len(chart.rows)
        for place, row in enumerate(chart.rows):
            if any(item.verdict != VERDICTS["refused"] for item in row.intervals):
                able.add(place)
    if not able:
        return list(range(min(count, MOST_ROWS)))
    first, last = max(min(able) - 2, 0), min(max(able) + 2, count - 1)
    return list(range(first, last + 1))[:MOST_ROWS]


def _words(family: str, wall: str) -> str:
    names = {"pipe": "Pipe", "tube": "Tube", "chs": "CHS", "shs": "SHS", "rhs": "RHS", "hss": "HSS"}
    usual = "SCH 40 or STD" if family == "pipe" else "5 mm or 3/16 in"
    return f"{names[family]} {wall.strip() or usual}"


def _fold(text: str) -> str:
    return "".join(text.casefold().split()).removeprefix("schedule").removeprefix("sch")
