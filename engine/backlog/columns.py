"""Which column of a backlog is which: headers as people write them."""

import datetime as dt
import re
from collections.abc import Collection, Sequence
from typing import Any, Final, NamedTuple

from ...catalogue.errors import FileError
from ...catalogue.nearest import nearest
from ..jobs.fields import FIELDS

# What people call the columns that stand beside those of a job. Common practice, no source.
_BESIDE: Final[dict[str, str]] = {
    "job": "job id jobid jobno jobnumber order orderno ordernumber line lineno item pos position "
           "no nr number ref reference workorder wo auftrag auftragsnummer commande ligne",
    "quantity": "quantity qty count pcs pieces piece q menge anzahl stueck stuck quantite",
    "machine": "machine model cutter maschine",
}  # fmt: skip
REQUIRED: Final = ("job", *(field.name for field in FIELDS if field.is_required))
KNOWN: Final = ("job", *(field.name for field in FIELDS), "quantity", "machine")
_HEADERS: Final = _BESIDE | {field.name: field.headers for field in FIELDS}
_BY_HEADER: Final = {header: name for name, text in _HEADERS.items() for header in text.split()}
_UNITS: Final = ("mm", "cm", "m", "in", "inch", "ft", "feet")
_LENGTHS: Final = frozenset(field.name for field in FIELDS if field.is_length)
_NUMBER: Final = re.compile(r"\d+(?:[.,]\d+)*")


class Mapping(NamedTuple):
    """Which header became which column.

    Attributes:
        places: place of each column in the file, by name.
        headers: header of each column, by name.
        units: unit that a header gives to bare numbers, by name.
        ignored: headers that are no column of a backlog.
    """

    places: dict[str, int]
    headers: dict[str, str]
    units: dict[str, str]
    ignored: tuple[str, ...]

    def sentence(self) -> str:
        """Say what was understood, in one line."""
        renamed = [
            f"{header!r} as {name}{f' in {self.units[name]}' if name in self.units else ''}"
            for name, header in self.headers.items()
            if _fold(header) != _fold(name)
        ]
        parts = [f"columns {', '.join(self.places)}"]
        if renamed:
            parts.append(f"read {', '.join(renamed)}")
        if self.ignored:
            parts.append(f"not used: {', '.join(map(repr, self.ignored))}")
        return "; ".join(parts)


def map_headers(
    headers: Sequence[str],
    where: str,
    *,
    required: Sequence[str] = REQUIRED,
    unused: Collection[str] = (),
) -> Mapping:
    """Return which header is which column.

    Args:
        headers: as they stand above the columns.
        where: the file or table, for errors.
        required: columns that must be there.
        unused: columns that nothing is made of here: no header is taken for one of them.

    Raises:
        FileError: ``column-missing`` with the nearest header, ``column-twice``.
    """
    places: dict[str, int] = {}
    named: dict[str, str] = {}
    units: dict[str, str] = {}
    ignored: list[str] = []
    for place, header in enumerate(headers):
        name, unit = _column_of(header)
        if not name or name in unused:
            if header.strip():
                ignored.append(header.strip()[:60])
            continue
        if name in places:
            raise FileError(
                "column-twice",
                f"{named[name]!r} and {header.strip()[:60]!r} are both the column {name!r}",
                where=where,
                remedy="Rename or remove one of them.",
            )
        places[name], named[name] = place, header.strip()[:60]
        if unit and name in _LENGTHS:
            units[name] = unit
    missing = [name for name in required if name not in places]
    if missing:
        known = [name for name in ignored if name]
        close = nearest(missing[0], known)
        hint = f" Nearest header: {close[0]!r}." if close else ""
        found = ", ".join(repr(header.strip()[:30]) for header in headers[:12]) or "none"
        raise FileError(
            "column-missing",
            f"there is no column {' and no column '.join(map(repr, missing))}; headers: {found}",
            where=where,
            remedy=f"Name the columns {', '.join(required[:-1])} and {required[-1]}.{hint}",
        )
    return Mapping(places, named, units, tuple(ignored))


def with_unit(values: Sequence[str], unit: str) -> list[str]:
    """Give bare numbers the unit that their header states."""
    return [
        f"{text.strip()} {unit}" if _NUMBER.fullmatch(text.strip()) else text for text in values
    ]


def _column_of(header: str) -> tuple[str, str]:
    """Return the column a header names, and the unit it states; empty where there is none."""
    words = [word for word in re.split(r"[^a-z0-9äöüéèêç]+", header.casefold()) if word]
    unit = words[-1] if len(words) > 1 and words[-1] in _UNITS else ""
    if unit:
        words = words[:-1]
    folded = _fold("".join(words))
    name = _BY_HEADER.get(folded, folded if folded in KNOWN else "")
    return name, unit


def _fold(text: str) -> str:
    plain = text.casefold().translate(str.maketrans("äöüéèêç", "aoueeec"))
    return re.sub(r"[^a-z0-9]", "", plain)


# --- cells --------------------------------------------------------------------------------

DATES: Final = (dt.date, dt.time, dt.timedelta)
"""Types of a cell that a spreadsheet took for a date."""


def cell_text(value: Any) -> str:
    """Return a cell as it would be typed."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def date_fault(name: str) -> tuple[str, str]:
    """Return code and text for a cell of a column that became a date."""
    return (
        "cell-is-date",
        f"the {name} is a date: the spreadsheet took what was typed for one. "
        "Format the column as text and type it again.",
    )
