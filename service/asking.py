"""A question as a program or a form puts it, and its answer."""

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, create_model

from ..catalogue.errors import InputError
from ..catalogue.ledger.answers import New
from ..engine.answer.document import Reply
from ..engine.answer.wording import System, system_of
from ..engine.jobs.fields import FIELDS, JobText
from ..engine.review.recording import new_answer
from .engine_worker import Standing

Word = Annotated[str, StringConstraints(max_length=200)]
Words = Annotated[list[Word], Field(max_length=200)]
MaybeWord = Word | None

MOST_PIECES: Final = 60
"""Parts, cuts and stations of a question that is answered at once."""
MOST_MACHINES: Final = 20
_COUNT: Final = re.compile(r"^\s*(\d{1,9})\s*\*|\*\s*(\d{1,9})\s*$")
"""How many of a part are wanted."""

EXAMPLE: Final[dict[str, Any]] = {
    "section": "NPS 5 SCH 80", "length": "20 ft", "machines": ["rowan-150", "alder-320"],
    "parts": ["1.2 m*3"], "units": "us",
}  # fmt: skip


class Asked(BaseModel):
    """What is asked: as people write it, with units."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [EXAMPLE]})

    machines: Words = Field([], description="Models or MODEL@SITE; every model where none is given")
    units: Literal["si", "us"] | None = Field(
        None, description="Units of sentences; else those the length was typed in"
    )
    keep: bool = Field(False, description="Keep the answer in the ledger")

    def text(self) -> JobText:
        """Return the job as the engine reads it."""
        said: dict[str, Any] = self.model_dump(include={field.name for field in FIELDS})
        read: dict[str, Any] = {
            name: tuple(cast("list[str]", value)) if isinstance(value, list) else value
            for name, value in said.items()
        }
        return JobText(**read)

    @property
    def system(self) -> System:
        """The units of its sentences."""
        return self.units or system_of(self.text().length)

    @property
    def is_heavy(self) -> bool:
        """Say whether it may take long: it then waits with what takes long, not before the rest."""
        job = self.text()
        found = (number for part in job.parts for pair in _COUNT.findall(part) for number in pair)
        counts = (int(number or 0) for number in found)
        pieces = len(job.parts) + len(job.cuts) + len(job.stations) + sum(counts)
        return pieces > MOST_PIECES or len(self.machines) > MOST_MACHINES

    def check_machines(self) -> None:
        """Refuse what would read a file of the server.

        Raises:
            InputError: ``machine-unknown``.
        """
        check_names(self.machines)


def _job_fields() -> dict[str, Any]:
    """Return the fields of a job as those of a model."""
    found: dict[str, Any] = {}
    for item in FIELDS:
        about = f"{item.help} For example: {item.example}"
        if item.is_required:
            found[item.name] = (Word, Field(description=about))
        elif item.is_list:
            found[item.name] = (Words, Field([], description=about))
        elif item.kind == "grade":
            found[item.name] = (MaybeWord, Field(None, description=about))
        else:
            found[item.name] = (Word, Field("", description=about))
    return found


if TYPE_CHECKING:
    Question = Asked
else:
    Question = create_model("Question", __base__=Asked, __doc__=Asked.__doc__, **_job_fields())


def check_names(machines: Sequence[str]) -> None:
    """Refuse names of machines that would read a file of the server.

    Raises:
        InputError: ``machine-unknown``.
    """
    for name in machines:
        if name.strip().casefold().endswith(".toml") or "/" in name or "\\" in name:
            raise InputError("machine-unknown", f"no machine model {name[:60]!r} is known",
                             remedy="Name models by their codes.")  # fmt: skip


def answered(standing: Standing, question: Question) -> Reply:
    """Return the answer to a question.

    Raises:
        CuttableError: it cannot be read.
    """
    question.check_machines()
    return standing.assessor.ask(question.text(), question.machines, system=question.system)


def kept_answer(standing: Standing, question: Question, reply: Reply) -> New:
    """Return an answer as the ledger keeps it."""
    return new_answer(
        reply, standing.assessor, standing.snapshot.mark, question.text(), question.machines,
        question.system, {},
    )  # fmt: skip
