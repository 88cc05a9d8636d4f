"""``cuttable section-range``: which sections a machine takes at one length."""

import json
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Annotated, Any

import typer

from ..catalogue.tables.families import FAMILIES, Family
from ..catalogue.units.lengths import length as read_length
from ..engine.answer.document import VERDICTS
from ..engine.answer.reasons import plain, reason_of
from ..engine.answer.wording import show_both, system_of
from ..engine.jobs.parse import grade_of
from ..engine.search.section_range import section_range
from .apps import new_app
from .context import open_assessor
from .options import GRADE, Json, Machine, command

COLUMNS = ("setting", "conditions", "refused")


app = new_app()


@command(
    app,
    "section-range",
    fields=GRADE,
    epilog="""\b
Examples:
  cuttable section-range --machine rowan-150 --length "20 ft"
  cuttable section-range --machine medlar-300 --length "6 m" --family shs""",
)
def sections_at(
    *,
    machine: Machine,
    length_text: Annotated[
        str, typer.Option("--length", metavar="LENGTH", help="Stock length, with its unit.")
    ],
    family: Annotated[Family, typer.Option("--family", help="Sections to ask for.")] = "pipe",
    said: Mapping[str, Any],
    is_json: Json = False,
) -> int:
    """Which sections does a machine take at one length?

    One line a size: the schedules or walls that are in range, allowed with conditions, refused,
    and what decides at the first one that is not in range.
    """
    assessor = open_assessor()
    model = assessor.machines([machine])[0]
    stock_length = read_length(length_text)
    members = FAMILIES[family](assessor.catalogue.tables)
    stocks = [
        (item.section, grade_of(said["grade"], item.section, assessor.catalogue).grade)
        for item in members
    ]
    found = section_range(stocks, assessor.engine, model, stock_length)
    is_allowed = any(
        item.verdict in (VERDICTS["setting"], VERDICTS["conditions"]) for item in found
    )
    if is_json:
        content = {
            "schema": "cuttable.section-range/1",
            "machine": {"model": model.code, "revision": model.revision, "digest": model.digest},
            "stock_length": stock_length,
            "sections": [plain(item) | {"section": item.section.designation} for item in found],
        }
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return 0 if is_allowed else 1
    from .terminal.layout import console
    from .terminal.rows import columns

    screen = console()
    words = show_both(stock_length, "mm", system_of(length_text))
    screen.print(f"{model.named}, {model.title}: {family} of {words}", style="bold")
    rules = {rule.code: rule.title for rule in assessor.rule_set.rules}
    rows: list[list[str]] = []
    for size, group in groupby(zip(members, found, strict=True), key=lambda pair: pair[0].size):
        pairs = list(group)
        walls = [member.wall for member, _ in pairs]
        verdicts = [item.verdict for _, item in pairs]
        cells = [_runs(walls, verdicts, VERDICTS[name]) for name in COLUMNS]
        first = next((item for _, item in pairs if item.verdict != VERDICTS["setting"]), None)
        rows.append([size, *cells, "" if first is None else reason_of(first, rules)])
    rows = _joined(rows)
    heads = ("size", "in range", "allowed", "refused", "decided by")
    screen.print(columns(rows, screen.width, heads=heads), soft_wrap=True)
    return 0 if is_allowed else 1


def _joined(rows: list[list[str]]) -> list[list[str]]:
    """Join sizes that follow each other and are alike in all their walls."""
    result: list[list[str]] = []
    for cells, group in groupby(rows, key=lambda row: row[1:]):
        sizes = [row[0] for row in group]
        if "all" in cells:
            joined = sizes[0] if len(sizes) == 1 else f"{sizes[0]} to {sizes[-1]}"
            result.append([joined, *cells])
        else:
            result += [[size, *cells] for size in sizes]
    return result


def _runs(walls: Sequence[str], verdicts: Sequence[str], wanted: str) -> str:
    """Return the walls with a verdict, neighbours joined: ``SCH 10 to SCH 80``."""
    runs: list[list[str]] = []
    before = ""
    for wall, verdict in zip(walls, verdicts, strict=True):
        if verdict == wanted:
            if before == wanted:
                runs[-1].append(wall)
            else:
                runs.append([wall])
        before = verdict
    if runs and len(runs[0]) == len(walls):
        return "all"
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
