"""Ask a ledger and keep the answer in it, so that it can be given again."""

from collections.abc import Sequence
from pathlib import Path

import typer

from ..catalogue.files.file_source import read_bytes
from ..catalogue.ledger.answers import keep_answers
from ..catalogue.ledger.snapshot import Snapshot
from ..engine.answer.document import Reply
from ..engine.answer.wording import System
from ..engine.assessor import AssessorCore, Chance
from ..engine.jobs.fields import JobText
from ..engine.review.ledger_assessor import assessor_of
from ..engine.review.recording import new_answer
from .context import open_ledger, person


def ask_and_keep(
    text: JobText,
    machines: Sequence[str],
    system: System,
    who: str | None,
    *,
    is_traced: bool = False,
    chance: Chance | None = None,
) -> tuple[Reply, AssessorCore]:
    """Return the answer of the ledger that is asked, and the assessor; the answer is kept there.

    Raises:
        CuttableError: the job cannot be read, or the ledger cannot be written: then there is no
            answer, for one that is not kept could not be given again.
    """
    asker = person(who)
    ledger = open_ledger(is_made=True)
    snapshot = Snapshot(ledger.place, now=ledger.clock())
    assessor = assessor_of(snapshot)
    given = {name: read_bytes(Path(name)) for name in machines
             if name.casefold().endswith(".toml")}  # fmt: skip
    assessor.catalogue.given_files |= {str(Path(name)): content for name, content in given.items()}
    reply = assessor.ask(text, machines, system=system, is_traced=is_traced, chance=chance)
    (number,) = keep_answers(
        ledger, asker, [new_answer(reply, assessor, snapshot.mark, text, machines, system, given)]
    )
    typer.echo(f"Kept as answer {number}: cuttable answer {number}", err=True)
    return reply, assessor
