"""``cuttable compare``: two pieces side by side, so that "about the same" has a number."""

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..catalogue.errors import OpenQuestion
from ..engine.answer.wording import show, system_of
from ..engine.jobs.fields import JobText
from ..engine.jobs.parse import read_job
from .apps import new_app
from .context import open_assessor
from .options import GRADE, Json, UnitsTyped, command

if TYPE_CHECKING:
    from ..engine.jobs.job import Job

MEASURES = ("linear_mass", "stock_mass", "rotary_inertia")


app = new_app()


@command(
    app,
    "compare",
    fields=GRADE,
    epilog='Example: cuttable compare "HSS 3x3x3/16" "20 ft" "NPS 3 SCH 40" "20 ft"',
)
def compare(
    section: Annotated[str, typer.Argument(metavar="SECTION", help="Section of the first piece.")],
    length: Annotated[str, typer.Argument(metavar="LENGTH", help="Its length.")],
    other_section: Annotated[
        str, typer.Argument(metavar="OTHER_SECTION", help="Section of the other piece.")
    ],
    other_length: Annotated[str, typer.Argument(metavar="OTHER_LENGTH", help="Its length.")],
    *,
    said: Mapping[str, Any],
    units: UnitsTyped = None,
    is_json: Json = False,
) -> int:
    """How much heavier, and harder to turn, is one piece than another?"""
    assessor = open_assessor()
    pieces = [(section, length), (other_section, other_length)]
    jobs: list[Job] = []
    for item_section, item_length in pieces:
        text = JobText(item_section, item_length, **said)
        job, questions = read_job(text, assessor.catalogue, assessor.rule_set.vocabulary)
        if job is None:
            raise OpenQuestion(questions[0].code, questions[0].text, questions[0].choices)
        jobs.append(job)
    # The measures compared do not read the machine; any model completes the columns.
    machine = next(iter(assessor.catalogue.machines.values()))
    nominal = assessor.engine.decide(jobs, [machine, machine]).measured.nominal
    rows: list[dict[str, Any]] = []
    for name in MEASURES:
        first, second = (float(value) for value in nominal[name])
        unit = assessor.rule_set.vocabulary.measures[name].unit
        rows.append(
            {"measure": name, "unit": unit, "first": first, "second": second,
             "ratio": first / second}
        )  # fmt: skip
    if is_json:
        names = [job.section.designation for job in jobs]
        content = {"schema": "cuttable.comparison/1", "pieces": names, "measures": rows}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    system = units or system_of(length)
    heads = [f"{job.section.designation}, {show(job.length, 'mm', system)}" for job in jobs]
    print_rows(
        ("", *heads, "ratio"),
        (
            (
                assessor.rule_set.vocabulary.titles[row["measure"]],
                show(row["first"], row["unit"], system),
                show(row["second"], row["unit"], system),
                f"{row['ratio']:.3f}",
            )
            for row in rows
        ),
    )
    typer.echo(_sentence(rows[-1]["ratio"]))
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
