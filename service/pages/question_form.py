"""The question as a form and as an address: what is typed, and what is said beside each field."""

import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple
from urllib.parse import urlencode

from pydantic import ValidationError

from ...catalogue.errors import CuttableError, InputError, Question
from ...engine.answer.wording import System, system_of
from ...engine.assessor import AssessorCore
from ...engine.jobs.fields import FIELDS, Field
from ...engine.jobs.parse import READERS, Reading, grade_of
from ..asking import Question as Asked

SINGLE: Final = tuple(field.name for field in FIELDS if not field.is_list)
"""Fields that hold one thing."""
TICKED: Final = tuple(field.name for field in FIELDS if field.kind == "accessory")
"""Fields of the job that are boxes to tick."""
LISTS: Final = tuple(
    field.name for field in FIELDS if field.is_list and field.name not in TICKED
)  # fmt: skip
"""Fields that hold several things, one a line or with ; between."""
CHOSEN: Final = (*TICKED, "machines")
"""Fields of boxes to tick."""
FIRST: Final = tuple(field for field in FIELDS if field.is_required or field.kind == "grade")
"""What is asked first."""
MORE: Final = tuple(field for field in FIELDS if field not in FIRST)
"""Fields that are folded away."""
_BETWEEN: Final = re.compile(r"[;\n]")
_OF_CODE: Final = {"machine-unknown": "machines"} | {
    code: field.name for field in FIELDS for code in field.faults
}
"""Fields of errors that come to light only when everything is read."""
_OF_OPTION: Final = {"--machine": "machines"} | {
    field.option: field.name for field in FIELDS if field.option
}

Units = Literal["", "si", "us"]


class Choice(NamedTuple):
    """An answer to a question: what the button says, and what it fills into which field."""

    words: str
    field: str
    value: str


class Note(NamedTuple):
    """What is said beside a field: an error with its remedy, or a question with choices."""

    field: str
    kind: Literal["error", "question"]
    text: str
    remedy: str = ""
    choices: tuple[Choice, ...] = ()


class Form(NamedTuple):
    """What is typed, and what is ticked, by name of field."""

    values: Mapping[str, str]
    ticked: Mapping[str, tuple[str, ...]] = MappingProxyType({})
    units: Units = ""

    @property
    def machines(self) -> tuple[str, ...]:
        """The models ticked."""
        return self.chosen("machines")

    def chosen(self, name: str) -> tuple[str, ...]:
        """Return what is ticked in a field."""
        return self.ticked.get(name, ())

    def text(self, name: str) -> str:
        """Return what stands in a field."""
        return self.values.get(name, "")

    @property
    def system(self) -> System:
        """The units of the answer: those chosen, else those the length was typed in."""
        return self.units or system_of(self.text("length"))

    @property
    def is_whole(self) -> bool:
        """Say whether there is enough to ask."""
        return bool(self.text("section").strip() and self.text("length").strip())

    @property
    def is_more(self) -> bool:
        """Say whether anything is said in the part that is folded away."""
        return any(self.chosen(field.name) or self.text(field.name).strip() for field in MORE)

    def items(self, name: str) -> list[str]:
        """Return the things of a field that holds several."""
        return [item.strip() for item in _BETWEEN.split(self.text(name)) if item.strip()]

    def query(self, **changes: Any) -> str:
        """Return the whole question as the query of an address."""
        pairs = [(name, text) for name in (*SINGLE, *LISTS) if (text := self.text(name).strip())]
        pairs += [(name, code) for name in CHOSEN for code in self.chosen(name)]
        pairs += [("units", self.units)] if self.units else []
        pairs = [(name, text) for name, text in pairs if name not in changes]
        for name, value in changes.items():
            texts: list[str] = [value] if isinstance(value, str) else list(value)
            pairs += [(name, text) for text in texts if text]
        return urlencode(pairs)

    def filled(self, field: str, value: str) -> "Form":
        """Return the form with a field filled in."""
        if field in CHOSEN:
            both = tuple(dict.fromkeys([*self.chosen(field), value]))
            return self._replace(ticked={**self.ticked, field: both})
        return self._replace(values={**self.values, field: value})

    def question(self, *, keep: bool = False) -> Asked:
        """Return the question as the API takes it.

        Raises:
            InputError: ``text-too-long`` where a field holds more than any question.
        """
        said: dict[str, Any] = {name: self.text(name).strip() for name in SINGLE}
        said |= {name: self.items(name) for name in LISTS}
        said |= {name: list(self.chosen(name)) for name in CHOSEN}
        said["grade"] = said["grade"] or None
        try:
            return Asked(**said, units=self.system, keep=keep)
        except ValidationError as fault:
            where = str(fault.errors()[0]["loc"][0])
            raise InputError("text-too-long", "this is longer than any question", where=where,
                             remedy="Shorten it.") from None  # fmt: skip


def form_of(given: Any) -> Form:
    """Return what is typed from a query or a sent form: a multi-dictionary of texts.

    A button of a choice fills its field: ``fill`` is the field's name, = and the value.
    """

    def texts(name: str) -> list[str]:
        return [item for item in given.getlist(name) if isinstance(item, str) and item][:200]

    values = {
        name: text[:8000] for name in (*SINGLE, *LISTS) if (text := "; ".join(texts(name))).strip()
    }
    units = next((item for item in texts("units") if item in ("si", "us")), "")
    form = Form(values, {name: tuple(texts(name)) for name in CHOSEN},
                "us" if units == "us" else "si" if units else "")  # fmt: skip
    for text in texts("fill")[:1]:
        field, mark, value = text.partition("=")
        if mark and field in (*SINGLE, *LISTS, *CHOSEN):
            form = form.filled(field, value)
    return form


class _Look:
    """Reads what is typed, field by field, and notes what is wrong or open in each."""

    def __init__(self, form: Form, assessor: AssessorCore) -> None:
        self.form, self.notes = form, list[Note]()
        self.catalogue = assessor.catalogue
        self.reading = Reading(assessor.catalogue, assessor.rule_set.vocabulary)

    def read(self, field: str, what: Callable[[], Any], place: int | None = None) -> Any:
        """Return what a field is read as, None where it cannot be."""
        try:
            made = self.reading.ask(what)
        except CuttableError as fault:
            self.notes.append(Note(field, "error", fault.what, fault.remedy))
            return None
        self.notes += [note_of(asked, self.form, field, place) for asked in self.reading.questions]
        self.reading.questions.clear()
        return made

    def look(self) -> None:
        """Read everything."""
        for field in FIELDS:
            for place, text in enumerate(self.texts(field)):
                self.read(field.name, partial(READERS[field.kind], self.reading, field, text),
                          place)  # fmt: skip
            if field.kind == "grade" and not self.texts(field) and self.reading.section:
                usual = partial(grade_of, None, self.reading.section, self.catalogue)
                self.read(field.name, usual)
        for code in self.form.machines:
            self.read("machines", partial(self.catalogue.machine, code))

    def texts(self, field: Field) -> Sequence[str]:
        """Return the things typed or ticked in a field."""
        if field.name in TICKED:
            return self.form.chosen(field.name)
        if field.is_list:
            return self.form.items(field.name)
        text = self.form.text(field.name).strip()
        return [text] if text else []


def notes_on(form: Form, assessor: AssessorCore) -> list[Note]:
    """Return everything that is wrong or open in what is typed, each at its field.

    The engine tells the first fault of a job; a form tells them all, where they are.
    """
    look = _Look(form, assessor)
    look.look()
    return look.notes


def note_of(asked: Question, form: Form, field: str = "", place: int | None = None) -> Note:
    """Return a question as a note, its choices as what they fill in.

    Choices may be written as options of the command line: ``--coating lead-paint``.
    """
    choices: list[Choice] = []
    for text in asked.choices:
        where, value = field, text
        if text.startswith("--"):
            option, _, rest = text.partition(" ")
            where = _OF_OPTION.get(option, field)
            value = shlex.split(rest)[0] if rest else ""
        if place is not None and where in LISTS:
            items = form.items(where)
            items[place] = value
            choices.append(Choice(value, where, "; ".join(items)))
        else:
            choices.append(Choice(value, where, value))
    where = field or (choices[0].field if choices else "section")
    return Note(where, "question", asked.text, choices=tuple(choices))


def note_of_fault(fault: CuttableError, form: Form) -> Note:
    """Return an error that came to light when everything was read, at its field."""
    where = fault.where if isinstance(fault, InputError) else ""
    field = where if where in (*SINGLE, *LISTS, *CHOSEN) else _OF_OPTION.get(where, "")
    field = field or _OF_CODE.get(fault.code, "section")
    if fault.code == "length-range" and form.text("behind").strip():
        field = "behind"
    return Note(field, "error", fault.what, fault.remedy)


def by_field(notes: Sequence[Note]) -> dict[str, list[Note]]:
    """Return notes by their field."""
    found: dict[str, list[Note]] = {}
    for note in notes:
        found.setdefault(note.field, []).append(note)
    return found
