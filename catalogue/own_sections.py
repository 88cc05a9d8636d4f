"""Sections of the site's own, beside the curated tables.

One TOML file: ``[sections."RING 210x8"]`` with shape, sizes, standard and basis. Such a section
is asked for by its name, which no curated section may have.
"""

from typing import Final

from .designations import read_section
from .errors import CuttableError, OpenQuestion
from .problems import Problems
from .reading import parse_toml
from .schema import Hole
from .section_schema import OwnSectionFile, OwnSectionTable
from .sections import (
    A500,
    COLD_FORMED,
    HOT_FINISHED,
    Corners,
    Section,
    hollow_section,
    round_section,
)
from .tables import SectionTables, own_name

CORNERS: Final[dict[str, Corners]] = {
    "EN 10219-2": COLD_FORMED, "EN 10210-2": HOT_FINISHED, "ASTM A500": A500,
}  # fmt: skip


def read_own_sections(content: bytes, where: str, curated: SectionTables) -> dict[str, Section]:
    """Read the file of own sections.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``: wrong keys, sizes or names taken.
    """
    problems = Problems(where, content)
    file = problems.read(OwnSectionFile, parse_toml(content, where))
    found: dict[str, Section] = {}
    for name, table in file.sections.items():
        if _is_taken(name, curated):
            problems.note(
                ("sections", name), "can be read as a section already; give it another name."
            )
        if own_name(name) in found:
            problems.note(
                ("sections", name),
                "differs from another name in nothing but letters and spaces.",
            )
        section = _section(name, table, problems)
        if section is not None:
            found[own_name(name)] = section
    problems.finish("file of own sections")
    return found


def _section(name: str, table: OwnSectionTable, problems: Problems) -> Section | None:
    """Return a section; None where its table has a problem."""
    if isinstance(table, Hole) or any(isinstance(value, Hole) for _, value in table):
        return None
    path = ("sections", name)
    is_round = table.shape == "round"
    for key, is_wanted in (
        ("outside_diameter", is_round), ("height", not is_round), ("width", not is_round),
        ("corners", not is_round),
    ):  # fmt: skip
        is_there = getattr(table, key) is not None
        if is_wanted and not is_there:
            problems.note((*path, key), f"is missing; a {table.shape} section has it.")
        if is_there and not is_wanted:
            problems.note((*path, key), f"is nothing that a {table.shape} section has.")
    try:
        if is_round:
            if table.outside_diameter is None:
                return None
            section = round_section(name, table.outside_diameter, table.wall, table.standard)
        else:
            if table.height is None or table.width is None or table.corners is None:
                return None
            if (table.shape == "square") != (table.height == table.width):
                problems.note((*path, "shape"), "goes not with height and width.")
            section = hollow_section(
                name, table.height, table.width, table.wall, table.standard,
                corners=CORNERS[table.corners],
            )  # fmt: skip
    except CuttableError as fault:
        problems.note((*path, "wall"), f"{fault.what}. {fault.remedy}")
        return None
    return section._replace(note=f"the site's own section: {table.basis}")


def _is_taken(name: str, curated: SectionTables) -> bool:
    try:
        read_section(name, curated)
    except OpenQuestion:
        return True
    except CuttableError:
        return False
    return True
