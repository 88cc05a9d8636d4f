"""The question as a form and as an address: what is typed, and what is said beside each field."""

import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Final, Literal, NamedTuple
from urllib.parse import urlencode

from pydantic import ValidationError

from ...catalogue.errors import CuttableError, InputError, Question
from ...engine.ask import Desk
from ...engine.job import BOW, Reading, grade_of, read_accessory, read_fact
from ...engine.wording import System, system_of
from ..asking import Question as Asked

SINGLE: Final = (
    "section", "length", "grade", "bow", "off_axis", "ends", "contents", "coating", "behind",
    "grip",
)  # fmt: skip
"""Fields that hold one thing."""
LISTS: Final = ("parts", "cuts", "stations")
"""Fields that hold several things, one a line or with ; between."""
CHOSEN: Final = ("fitted", "machines")
"""Fields of boxes to tick."""
FACTS: Final = ("ends", "contents", "coating", "grip")
MORE: Final = ("parts", "cuts", "stations", "bow", "off_axis", "ends", "contents", "coating",
               "fitted", "behind", "grip")  # fmt: skip
"""Fields that are folded away."""
_BETWEEN: Final = re.compile(r"[;\n]")
_OF_CODE: Final = {
    "cuts-outside": "cuts", "stations-bad": "stations", "parts-and-cuts": "cuts",
    "accessory-unknown": "fitted", "machine-unknown": "machines", "length-range": "length",
    "grade-unknown": "grade",
}  # fmt: skip
"""Fields of errors that come to light only when everything is read."""

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
    """What is typed."""

    values: Mapping[str, str]
    fitted: tuple[str, ...] = ()
    machines: tuple[str, ...] = ()
    units: Units = ""

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
        return bool(self.fitted) or any(
            self.text(name).strip() for name in MORE if name != "fitted"
        )

    def items(self, name: str) -> list[str]:
        """Return the things of a field that holds several."""
        return [item.strip() for item in _BETWEEN.split(self.text(name)) if item.strip()]

    def query(self, **changes: Any) -> str:
        """Return the whole question as the query of an address."""
        pairs = [(name, text) for name in (*SINGLE, *LISTS) if (text := self.text(name).strip())]
        pairs += [("fitted", code) for code in self.fitted]
        pairs += [("machines", code) for code in self.machines]
        pairs += [("units", self.units)] if self.units else []
        pairs = [(name, text) for name, text in pairs if name not in changes]
        for name, value in changes.items():
            texts: list[str] = [value] if isinstance(value, str) else list(value)
            pairs += [(name, text) for text in texts if text]
        return urlencode(pairs)

    def filled(self, field: str, value: str) -> "Form":
        """Return the form with a field filled in."""
        if field in CHOSEN:
            known = getattr(self, field)
            return self._replace(**{field: tuple(dict.fromkeys([*known, value]))})
        return self._replace(values={**self.values, field: value})

    def question(self, *, keep: bool = False) -> Asked:
        """Return the question as the API takes it.

        Raises:
            InputError: ``text-too-long`` where a field holds more than any question.
        """
        said: dict[str, Any] = {name: self.text(name).strip() for name in SINGLE}
        said |= {name: self.items(name) for name in LISTS}
        said |= {"fitted": list(self.fitted), "machines": list(self.machines)}
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
    form = Form(values, tuple(texts("fitted")), tuple(texts("machines")),
                "us" if units == "us" else "si" if units else "")  # fmt: skip
    for text in texts("fill")[:1]:
        field, mark, value = text.partition("=")
        if mark and field in (*SINGLE, *LISTS, *CHOSEN):
            form = form.filled(field, value)
    return form


class _Look:
    """Reads what is typed, field by field, and notes what is wrong or open in each."""

    def __init__(self, form: Form, desk: Desk) -> None:
        self.form, self.notes = form, list[Note]()
        self.catalogue, self.vocabulary = desk.catalogue, desk.rule_set.vocabulary
        self.reading = Reading()

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
        self.stock()
        for name in LISTS:
            for place, item in enumerate(self.form.items(name)):
                self.read(name, self.reader(name, item), place)
        for name in ("bow", "behind", "off_axis", *FACTS):
            if text := self.form.text(name).strip():
                self.read(name, self.reader(name, text))
        for code in self.form.fitted:
            self.read("fitted", partial(read_accessory, code, self.vocabulary))
        for code in self.form.machines:
            self.read("machines", partial(self.catalogue.machine, code))

    def stock(self) -> None:
        """Read section, length and grade."""
        form, section = self.form, None
        if form.text("section").strip():
            section = self.read("section", partial(self.catalogue.section, form.text("section")))
        if form.text("length").strip():
            self.read("length", partial(self.reading.length, form.text("length"), "length"))
        grade = form.text("grade").strip()
        if grade or section is not None:
            self.read("grade", partial(grade_of, grade or None, section, self.catalogue))

    def reader(self, name: str, text: str) -> Callable[[], Any]:
        """Return what reads the text of a field."""
        if name in FACTS:
            return partial(read_fact, name, text, self.vocabulary)
        reading = self.reading
        return {
            "parts": partial(reading.part, text),
            "cuts": partial(reading.length, text, "cut position"),
            "stations": partial(reading.length, text, "station"),
            "bow": partial(reading.length, text, "bow", BOW),
            "behind": partial(reading.length, text, "length behind"),
            "off_axis": partial(reading.off_axis, text),
        }[name]


def notes_on(form: Form, desk: Desk) -> list[Note]:
    """Return everything that is wrong or open in what is typed, each at its field.

    The engine tells the first fault of a job; a form tells them all, where they are.
    """
    look = _Look(form, desk)
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
            where = _field_of(option)
            value = shlex.split(rest)[0] if rest else ""
        if place is not None and where in LISTS:
            items = form.items(where)
            items[place] = value
            choices.append(Choice(value, where, "; ".join(items)))
        else:
            choices.append(Choice(value, where, value))
    where = field or (choices[0].field if choices else "section")
    return Note(where, "question", asked.text, choices=tuple(choices))


def _field_of(option: str) -> str:
    name = option.removeprefix("--").replace("-", "_")
    plural = {"part": "parts", "cut": "cuts", "station": "stations", "end": "ends",
              "machine": "machines"}  # fmt: skip
    return plural.get(name, name)


def note_of_fault(fault: CuttableError, form: Form) -> Note:
    """Return an error that came to light when everything was read, at its field."""
    where = fault.where if isinstance(fault, InputError) else ""
    field = _field_of(where) if where.removeprefix("--") else _OF_CODE.get(fault.code, "section")
    if field not in (*SINGLE, *LISTS, *CHOSEN):
        field = _OF_CODE.get(fault.code, "section")
    if fault.code == "length-range" and form.text("behind").strip():
        field = "behind"
    return Note(field, "error", fault.what, fault.remedy)


def by_field(notes: Sequence[Note]) -> dict[str, list[Note]]:
    """Return notes by their field."""
    found: dict[str, list[Note]] = {}
    for note in notes:
        found.setdefault(note.field, []).append(note)
    return found
