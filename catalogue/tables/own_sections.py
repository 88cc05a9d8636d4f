"""Sections of the site's own, beside the curated tables.

One TOML file: ``[sections."RING 210x8"]`` with shape, sizes, standard and basis. Such a section
is asked for by its name, which no curated section may have.
"""

from fractions import Fraction
from typing import Any

from ..designations.designations import read_section
from ..errors import CuttableError, OpenQuestion
from ..files.file_source import parse_toml
from ..files.problems import Problems
from ..files.schema import Hole
from ..units.lengths import written_inches
from .reader import SectionTables, own_name
from .schema import OwnSectionFile, OwnSectionTable
from .sections import INCH, Section, hollow_section, round_section, with_inches
from .table_form import CORNERS


def read_own_sections(content: bytes, where: str, curated: SectionTables) -> dict[str, Section]:
    """Read the file of own sections.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``: wrong keys, sizes or names taken.
    """
    problems = Problems(where, content)
    data = parse_toml(content, where)
    file = problems.read(OwnSectionFile, data)
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
        section = _section(name, table, data["sections"][name], problems)
        if section is not None:
            found[own_name(name)] = section
    problems.finish("file of own sections")
    return found


def _section(
    name: str, table: OwnSectionTable, written: dict[str, Any], problems: Problems
) -> Section | None:
    """Return a section of its table, read and as written; None where that has a problem."""
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
    section = _as_written(section, table, written)
    return section._replace(note=f"the site's own section: {table.basis}")


def _as_written(section: Section, table: OwnSectionTable, written: dict[str, Any]) -> Section:
    """Return a section with the inches that its sizes are written in, if any is."""
    is_round = table.shape == "round"
    keys = ("outside_diameter", "wall") if is_round else ("height", "width", "wall")
    inches = [written_inches(str(written[key])) for key in keys]
    if all(item is None for item in inches):
        return section
    # What is written in inches is kept to the digit; what is not is converted.
    return with_inches(section, *(
        Fraction(getattr(table, key) / INCH) if item is None else item
        for key, item in zip(keys, inches, strict=True)
    ))  # fmt: skip


def _is_taken(name: str, curated: SectionTables) -> bool:
    try:
        read_section(name, curated)
    except OpenQuestion:
        return True
    except CuttableError:
        return False
    return True
