"""A question as a program or a form puts it, and its answer."""

import re
from collections.abc import Sequence
from typing import Annotated, Any, Final, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from ..catalogue.book.answers import New
from ..catalogue.errors import InputError
from ..engine.answer.document import Reply
from ..engine.job import JobText
from ..engine.keeping import new_answer
from ..engine.wording import System, system_of
from .bench import Standing

Word = Annotated[str, StringConstraints(max_length=200)]
Words = Annotated[list[Word], Field(max_length=200)]

MOST_PIECES: Final = 60
"""Parts, cuts and stations of a question that is answered at once."""
MOST_MACHINES: Final = 20
_COUNT: Final = re.compile(r"^\s*(\d{1,9})\s*\*|\*\s*(\d{1,9})\s*$")
"""How many of a part are wanted."""

EXAMPLE: Final[dict[str, Any]] = {
    "section": "NPS 5 SCH 80", "length": "20 ft", "machines": ["rowan-150", "alder-320"],
    "parts": ["1.2 m*3"], "units": "us",
}  # fmt: skip


class Question(BaseModel):
    """What is asked: as people write it, with units."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [EXAMPLE]})

    section: Word = Field(description="Section as the trade writes it, e.g. NPS 4 SCH 40")
    length: Word = Field(description="Stock length with its unit, e.g. 20 ft")
    grade: Word | None = Field(None, description="Grade; carbon steel where it is not given")
    parts: Words = Field([], description="Parts to cut: LENGTH or LENGTH*N")
    cuts: Words = Field([], description="Cuts, from the chuck face outward")
    stations: Words = Field([], description="Support stations to be judged; else planned")
    bow: Word = Field("", description="Measured bow")
    off_axis: Word = Field("", description="A flange or branch: 'MASS @ DISTANCE'")
    ends: Word = ""
    contents: Word = ""
    coating: Word = ""
    fitted: Words = Field([], description="Accessories that are fitted, by code")
    behind: Word = ""
    grip: Word = ""
    machines: Words = Field([], description="Models or MODEL@SITE; every model where none is given")
    units: Literal["si", "us"] | None = Field(
        None, description="Units of sentences; else those the length was typed in"
    )
    keep: bool = Field(False, description="Keep the answer in the book")

    def text(self) -> JobText:
        """Return the job as the engine reads it."""
        said: dict[str, Any] = self.model_dump(exclude={"machines", "units", "keep"})
        read: dict[str, Any] = {
            name: tuple(cast("list[str]", value)) if isinstance(value, list) else value
            for name, value in said.items()
        }
        return JobText(**read)

    @property
    def system(self) -> System:
        """The units of its sentences."""
        return self.units or system_of(self.length)

    @property
    def is_heavy(self) -> bool:
        """Say whether it may take long: it then waits with what takes long, not before the rest."""
        found = (number for part in self.parts for pair in _COUNT.findall(part) for number in pair)
        counts = (int(number or 0) for number in found)
        pieces = len(self.parts) + len(self.cuts) + len(self.stations) + sum(counts)
        return pieces > MOST_PIECES or len(self.machines) > MOST_MACHINES

    def check_machines(self) -> None:
        """Refuse what would read a file of the server.

        Raises:
            InputError: ``machine-unknown``.
        """
        check_names(self.machines)


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
    return standing.desk.ask(question.text(), question.machines, system=question.system)


def kept_answer(standing: Standing, question: Question, reply: Reply) -> New:
    """Return an answer as the book keeps it."""
    return new_answer(
        reply, standing.desk, standing.held.mark, question.text(), question.machines,
        question.system, {},
    )  # fmt: skip
