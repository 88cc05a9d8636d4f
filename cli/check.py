"""``cuttable check``: the main job."""

import json
from collections.abc import Sequence
from typing import Any

import click

from ..catalogue.errors import Question
from ..engine.ask import Answer, Desk, is_at_least
from ..engine.job import JobText
from ..engine.verdict import to_json
from ..engine.wording import System
from .job_options import job_options, section_and_length, system_of

SCHEMA = "cuttable.verdicts/1"


@click.command(
    "check",
    context_settings={"ignore_unknown_options": True},
    epilog="""\b
Examples:
  cuttable check "NPS 4 SCH 40" "20 ft"
  cuttable check "HSS 6x4x1/4" "12 m" --machine medlar-300 --part "1.2 m*6"
  cuttable check "NPS 6 SCH 40" "6 m" --machine rowan-150 --fitted reversed-jaws --json""",
)
@click.option(
    "--machine",
    "machines",
    multiple=True,
    metavar="CODE|FILE.toml",
    help="Model to ask; repeat for several. Without it: every model, best first.",
)
@job_options
@click.option(
    "--at-least",
    type=click.Choice(["in-range", "allowed"]),
    default="allowed",
    help="Exit with 1 where the best verdict is below this.",
)
@click.option(
    "--trace", "is_traced", is_flag=True, help="Show every measure with formula and inputs."
)
@click.option("--full", "is_full", is_flag=True, help="Show every limit, however little used.")
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
@click.pass_context
def command(
    ctx: click.Context,
    *,
    words: Sequence[str],
    machines: Sequence[str],
    units: System | None,
    at_least: str,
    is_traced: bool,
    is_full: bool,
    is_json: bool,
    **options: Any,
) -> int:
    """Can this machine cut this stock, and on what conditions?

    SECTION as the trade writes it, LENGTH with its unit, each in quotes.
    """
    desk = Desk()
    section, length = section_and_length(ctx, words)
    system = units or system_of(length)
    answer = desk.ask(JobText(section, length, **options), machines, system=system)
    if is_json:
        click.echo(_json(answer, desk, is_traced=is_traced))
    else:
        from .render import print_answer

        print_answer(answer, desk, system, is_traced=is_traced, is_full=is_full)
    if answer.questions:
        return 2
    return 0 if is_at_least(answer.best, at_least) else 1


def _json(answer: Answer, desk: Desk, *, is_traced: bool) -> str:
    found = [to_json(verdict) for verdict in answer.verdicts]
    content: dict[str, Any] = {
        "schema": SCHEMA,
        "verdicts": found,
        "questions": [_question(question) for question in answer.questions],
    }
    if is_traced:
        from ..engine.trace import trace

        for item, verdict in zip(found, answer.verdicts, strict=True):
            item["trace"] = trace(desk, verdict.job, verdict.machine)
    return json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False)


def _question(question: Question) -> dict[str, Any]:
    return {"code": question.code, "text": question.text, "choices": list(question.choices)}
