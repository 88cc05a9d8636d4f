"""Sections in the order in which a range is read: by size, then by wall."""

from collections.abc import Callable
from typing import Final, Literal, NamedTuple

from .reader import SectionTables
from .sections import Section
from .table_files import shipped_forms
from .table_rows import filled

Family = Literal["pipe", "hss", "chs", "shs", "rhs", "tube"]
"""Names of families."""


class Member(NamedTuple):
    """One section of a family: its size, what tells it from others of that size, itself."""

    size: str
    wall: str
    section: Section


def members_of(name: str, tables: SectionTables) -> list[Member]:
    """Return the sections that the index of tables puts into a family, smallest first."""
    return [
        Member(
            filled(row.kind.family_size, row.cells),
            filled(row.kind.family_wall, row.cells),
            row.section,
        )
        for row in tables.family(name)
    ]


def _family(name: str) -> Callable[[SectionTables], list[Member]]:
    return lambda tables: members_of(name, tables)


FAMILIES: Final[dict[str, Callable[[SectionTables], list[Member]]]] = {
    kind.family: _family(kind.family)
    for form in shipped_forms().values()
    for kind in form.kinds
    if kind.family
}
"""The families that the index of tables names, in its order."""
