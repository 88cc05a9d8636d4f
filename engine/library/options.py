"""What can be said of a job besides section and length, as a program says it."""

import shlex
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Literal, TypedDict, cast

from ...catalogue.errors import InputError, OpenQuestion, Question
from ...catalogue.nearest import did_you_mean
from ..jobs.fields import JobText

Texts = str | Sequence[str]
"""One text or several."""


class Options(TypedDict, total=False):
    """Everything that may be said of a job; what is not said is not taken for granted silently.

    Attributes:
        grade: e.g. ``A106 B``, ``304``; without it the carbon steel the section is sold in.
        parts: lengths from the free end, ``"1.2 m*6"``.
        cuts: positions from the chuck face, instead of parts.
        stations: supports of your own, to be judged; without them they are planned.
        bow: as measured.
        off_axis: ``"12 kg @ 150 mm"``, a flange or branch beside the axis.
        ends, contents, coating: what is known of the stock.
        behind: length that stands behind the chuck face.
        grip: ``outside`` or ``inside``.
        fitted: accessories that are fitted, by code.
        units: of the sentences; by default those the length is given in.
    """

    grade: str | None
    parts: Texts
    cuts: Texts
    stations: Texts
    bow: str
    off_axis: str
    ends: str
    contents: str
    coating: str
    behind: str
    grip: str
    fitted: Texts
    units: Literal["si", "us"] | None


_LISTS: Final = frozenset({"parts", "cuts", "stations", "fitted"})
_FIELDS: Final = {"part": "parts", "cut": "cuts", "station": "stations", "off-axis": "off_axis",
                  "end": "ends"}  # fmt: skip
"""Options of the command line that a field is not named by."""


def job_text(section: object, length: object, options: Mapping[str, Any]) -> JobText:
    """Return a job as it would be typed.

    Raises:
        InputError: ``type-wrong`` where a value is no text, nor a number.
        TypeError: there is no such option.
    """
    known = [name for name in JobText._fields if name not in ("section", "length")]
    for name in options:
        if name not in known:
            hint = did_you_mean(name, [*known, "machine", "machines", "units"])
            raise TypeError(f"there is no option {name!r}. {hint}".strip())
    said: dict[str, Any] = {
        name: _texts(name, value) if name in _LISTS else _text(name, value)
        for name, value in options.items()
        if value is not None
    }
    return JobText(_text("section", section), _text("length", length), **said)


def names_of(machine: object, machines: object) -> list[str]:
    """Return the machines that are asked; nothing for all.

    Raises:
        InputError: ``option-needs`` where both are given or none is left; ``type-wrong``.
    """
    if machine is not None and machines is not None:
        raise InputError(
            "option-needs", "machine and machines are both given",
            remedy="Give machine for one answer, machines for a list of them.",
        )  # fmt: skip
    if machine is not None:
        return [_text("machine", machine)]
    if machines is None:
        return []
    names = _texts("machines", machines)
    if not names:
        raise InputError(
            "option-needs", "machines is an empty list",
            remedy="Leave it out to ask every model.",
        )  # fmt: skip
    return list(names)


def raise_open(questions: Iterable[Any]) -> None:
    """Raise the questions that are open, with choices as a program gives them.

    Raises:
        OpenQuestion: the first, with the others.
    """
    asked = [
        Question(item.code, item.text, tuple(plain_choice(choice) for choice in item.choices))
        for item in questions
    ]
    if asked:
        raise OpenQuestion(*asked[0], others=asked[1:])


def plain_choice(choice: str) -> str:
    """Return a choice without the option of the command line that it is given by.

    >>> plain_choice("--grade 'ASTM A312 TP304'")
    "grade='ASTM A312 TP304'"
    >>> plain_choice("--part '2 m*3'")
    "parts='2 m*3'"
    >>> plain_choice("NPS 4 SCH 40")
    'NPS 4 SCH 40'
    """
    if not choice.startswith("--"):
        return choice
    try:
        option, value = shlex.split(choice)
    except ValueError:
        return choice
    name = option.removeprefix("--")
    return f"{_FIELDS.get(name, name)}={value!r}"


def _text(name: str, value: object) -> str:
    """Return a value as text; a bare number becomes one that is asked for its unit."""
    if isinstance(value, str):
        return value
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{value:.15g}"
    raise InputError(
        "type-wrong", f"{name} is a {type(value).__name__}, not a text",
        remedy="Give it as it would be typed, like '20 ft'.",
    )  # fmt: skip


def _texts(name: str, value: object) -> tuple[str, ...]:
    if isinstance(value, (str, Path)):
        return (str(value),)
    if not isinstance(value, Iterable):
        return (_text(name, value),)
    return tuple(_text(name, item) for item in cast("Iterable[object]", value))
