"""``cuttable compare``: two pieces side by side, so that "about the same" has a number."""

import json
from typing import Any

import click

from ..catalogue.errors import OpenQuestion
from ..engine.job import Job, JobText, read_job
from ..engine.wording import SYSTEMS, System, show, system_of
from .desk import open_desk

MEASURES = ("linear_mass", "stock_mass", "rotary_inertia")


@click.command(
    "compare",
    epilog='Example: cuttable compare "NPS 8 SCH 80" "10 ft" "NPS 6 SCH 80" "24 ft"',
)
@click.argument("section")
@click.argument("length")
@click.argument("other_section")
@click.argument("other_length")
@click.option("--grade", default=None, metavar="G", help="Grade of both.")
@click.option("--units", type=click.Choice(SYSTEMS), default=None)
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def command(
    section: str,
    length: str,
    other_section: str,
    other_length: str,
    grade: str | None,
    units: System | None,
    *,
    is_json: bool,
) -> int:
    """How much heavier, and how much harder to turn, is one piece than another?"""
    desk = open_desk()
    pieces = [(section, length), (other_section, other_length)]
    jobs: list[Job] = []
    for item_section, item_length in pieces:
        text = JobText(item_section, item_length, grade=grade)
        job, questions = read_job(text, desk.catalogue, desk.rule_set.vocabulary)
        if job is None:
            raise OpenQuestion(questions[0].code, questions[0].text, questions[0].choices)
        jobs.append(job)
    # The measures compared do not read the machine; any model completes the columns.
    machine = next(iter(desk.catalogue.machines.values()))
    nominal = desk.engine.decide(jobs, [machine, machine]).measured.nominal
    rows: list[dict[str, Any]] = []
    for name in MEASURES:
        first, second = (float(value) for value in nominal[name])
        unit = desk.rule_set.vocabulary.measures[name].unit
        rows.append(
            {"measure": name, "unit": unit, "first": first, "second": second,
             "ratio": first / second}
        )  # fmt: skip
    if is_json:
        names = [job.section.designation for job in jobs]
        content = {"schema": "cuttable.comparison/1", "pieces": names, "measures": rows}
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .render import print_rows

    system = units or system_of(length)
    heads = [f"{job.section.designation}, {show(job.length, 'mm', system)}" for job in jobs]
    print_rows(
        ("", *heads, "ratio"),
        (
            (
                desk.rule_set.vocabulary.titles[row["measure"]],
                show(row["first"], row["unit"], system),
                show(row["second"], row["unit"], system),
                f"{row['ratio']:.3f}",
            )
            for row in rows
        ),
    )
    click.echo(_sentence(rows[-1]["ratio"]))
    return 0


def _sentence(ratio: float) -> str:
    percent = (ratio - 1) * 100
    if abs(percent) < 0.05:
        return "They are equally hard to turn."
    word = "harder" if percent > 0 else "easier"
    size = f"{abs(percent):.1f} %" if ratio < 2 else f"{ratio:.3g} times"
    if ratio >= 2:
        return f"The first is {size} as hard to turn as the second."
    return f"The first is {size} {word} to turn than the second."
