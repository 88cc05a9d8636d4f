"""A whole range chart, as it is asked for: which sections, on which machines, in which words."""

from collections.abc import Callable, Sequence
from typing import Final, Literal, NamedTuple

from ...catalogue.errors import InputError
from ...catalogue.machines.model import MachineModel
from ...catalogue.tables.families import FAMILIES, Member
from ...catalogue.units.lengths import length as read_length
from ..answer.document import VERDICTS
from ..answer.wording import System
from ..assessor import AssessorCore
from ..jobs.parse import grade_of
from .chart import Chart, chart_of
from .lengths import STEPS, Interval

MOST_ROWS: Final = 60


class Charts(NamedTuple):
    """Charts of one or two machines over the same sections.

    Attributes:
        title: what is drawn.
        reason: says in words what decides an interval.
    """

    charts: tuple[Chart, ...]
    title: str
    reason: Callable[[Interval], str]

    def picture(self, kind: Literal["svg", "png"], system: System) -> bytes:
        """Return a picture.

        Raises:
            InputError: ``option-needs`` where what draws it is not installed.
        """
        from .chart_drawing import picture

        try:
            return picture(
                self.charts, title=self.title, system=system, reason=self.reason, kind=kind
            )
        except ImportError as fault:
            raise InputError(
                "option-needs", f"pictures need the package {fault.name}",
                remedy="Install it: pip install 'cuttable[charts]'; or write .html.",
            ) from None  # fmt: skip

    def page(self, system: System) -> str:
        """Return a page of HTML that tells what is pointed at."""
        from .chart_drawing import page

        return page(self.charts, title=self.title, system=system, reason=self.reason)


def charts_of(
    assessor: AssessorCore,
    models: Sequence[MachineModel],
    *,
    family: str,
    wall: str,
    grade: str | None,
    system: System,
) -> Charts:
    """Return the range of machines over a family of sections of one wall.

    Args:
        assessor: catalogue and rules.
        models: one machine, or two to compare.
        family: one of the families of the catalogue.
        wall: a schedule or a wall; empty for a usual one.
        grade: a grade; None for the carbon steel each section is sold in.
        system: units of the steps in which borders are found.

    Raises:
        InputError: ``choice-unknown``, ``section-unknown``, ``grade-unknown``.
    """
    if family not in FAMILIES:
        raise InputError("choice-unknown", f"there is no family {family[:40]!r}",
                         remedy=f"There are: {', '.join(FAMILIES)}.")  # fmt: skip
    members = _row_of_sizes(FAMILIES[family](assessor.catalogue.tables), family, wall)
    stocks = [
        (item.section, grade_of(grade, item.section, assessor.catalogue).grade) for item in members
    ]
    charts = [chart_of(stocks, assessor.engine, model, STEPS[system]) for model in models]
    shown = _worth_showing(charts)
    charts = [chart._replace(rows=tuple(chart.rows[n] for n in shown)) for chart in charts]
    titles = assessor.rule_set.vocabulary.titles
    rules = {rule.code: rule.title for rule in assessor.rule_set.rules}

    def reason(item: Interval) -> str:
        if item.missing:
            return f"needs {item.missing.replace('; ', ', ')}"
        if item.decided_by:
            return rules.get(item.decided_by, item.decided_by).lower()
        return f"fullest limit: {titles.get(item.governing, item.governing)}"

    grades = list(dict.fromkeys(grade.name for _, grade in stocks))
    title = f"{_words(family, wall)}, {' and '.join(grades[:2])}"
    return Charts(tuple(charts), title, reason)


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
