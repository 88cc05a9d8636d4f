"""``cuttable lengths``: for which lengths of a section a machine answers what."""

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

import typer

from ..catalogue.errors import OpenQuestion
from ..engine.answer.document import VERDICTS
from ..engine.answer.reasons import lengths_content, reason_of
from ..engine.answer.wording import System, show
from ..engine.answer.words import WORDS_BY_NAME
from ..engine.assessor import AssessorCore
from ..engine.jobs.fields import JobText
from ..engine.jobs.job import Job
from ..engine.jobs.parse import read_job
from ..engine.search.lengths import STEPS, Interval, length_intervals
from .apps import new_app
from .context import open_assessor
from .options import STOCK, Json, Machines, Section, command

app = new_app()


@command(
    app,
    "lengths",
    fields=STOCK,
    epilog="""\b
Examples:
  cuttable lengths "NPS 10 XS" --machine alder-320
  cuttable lengths "HSS 6x4x1/4" --units us""",
)
def lengths(
    section: Section,
    *,
    machines: Machines,
    said: Mapping[str, Any],
    units: Annotated[
        System, typer.Option("--units", help="Intervals to 10 mm, or to half an inch.")
    ] = "si",
    is_json: Json = False,
) -> int:
    """For which lengths is a section in range, allowed, refused?

    And what decides in each interval. Found on the verdict itself, with supports planned for every
    length.
    """
    assessor = open_assessor()
    job = _job(assessor, JobText(section, "1 m", **said))
    found = [
        (machine, length_intervals(assessor.engine, job, machine, STEPS[units]))
        for machine in assessor.machines(machines)
    ]
    if not machines:
        found.sort(key=lambda item: -_longest(item[1], VERDICTS["setting"]))
    is_allowed = any(
        _longest(intervals, verdict) > 0
        for _, intervals in found
        for verdict in (VERDICTS["setting"], VERDICTS["conditions"])
    )
    if is_json:
        content = lengths_content(job, found, units)
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return 0 if is_allowed else 1
    from .terminal.layout import console
    from .terminal.rows import columns, paragraph

    screen = console()
    screen.print(f"{job.section.designation}, {job.grade.name}", style="bold")
    for assumption in job.assumptions:
        screen.print(paragraph(assumption, screen.width, mark="- ", style="dim"), soft_wrap=True)
    titles = assessor.rule_set.vocabulary.titles
    rules = {rule.code: rule.title for rule in assessor.rule_set.rules}
    for machine, intervals in found:
        screen.print()
        sentence = f"{machine.named}: {_sentence(intervals, units)}"
        screen.print(paragraph(sentence, screen.width), soft_wrap=True)
        rows = [
            [show(item.low, "mm", units), show(item.high, "mm", units), WORDS_BY_NAME[item.verdict],
             _reason(item, rules, titles)]
            for item in intervals
        ]  # fmt: skip
        screen.print(
            columns(rows, screen.width, heads=("from", "to", "verdict", "what decides"), indent=2),
            soft_wrap=True,
        )
    return 0 if is_allowed else 1


def _job(assessor: AssessorCore, text: JobText) -> Job:
    job, questions = read_job(text, assessor.catalogue, assessor.rule_set.vocabulary)
    if job is None:
        raise OpenQuestion(questions[0].code, questions[0].text, questions[0].choices)
    return job


def _longest(intervals: Sequence[Interval], verdict: str) -> float:
    return max((item.high for item in intervals if item.verdict == verdict), default=0.0)


def _sentence(intervals: Sequence[Interval], units: System) -> str:
    """Return where a section is in range and allowed, in one sentence."""
    parts: list[str] = []
    for verdict in (VERDICTS["setting"], VERDICTS["conditions"]):
        spans: list[tuple[float, float]] = []
        for item in intervals:
            if item.verdict != verdict:
                continue
            if spans and item.low - spans[-1][1] < 2 * STEPS[units]:
                spans[-1] = (spans[-1][0], item.high)
            else:
                spans.append((item.low, item.high))
        if spans:
            told = " and ".join(
                f"{show(low, 'mm', units)} to {show(high, 'mm', units)}" for low, high in spans
            )
            parts.append(f"{WORDS_BY_NAME[verdict]} {told}")
    return f"{', '.join(parts)}." if parts else "refused at every length."


def _reason(item: Interval, rules: dict[str, str], titles: dict[str, str]) -> str:
    return reason_of(item, rules) or (
        f"{titles.get(item.governing, item.governing)} {item.utilisation:.0%} at the longest"
    )
