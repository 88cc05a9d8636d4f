"""Sections of the site's own, beside the curated tables.

One TOML file: ``[sections."RING 210x8"]`` with shape, sizes, standard and basis. Such a section
is asked for by its name, which no curated section may have.
"""

from fractions import Fraction
from typing import Any

from .designations import read_section
from .errors import CuttableError, OpenQuestion
from .quantities import written_inches
from .reading import Reader, parse_toml
from .sections import INCH, Section, hollow_section, round_section, with_inches
from .table_form import CORNERS, SHAPES
from .tables import SectionTables, own_name
from .units import LENGTH


def read_own_sections(content: bytes, where: str, curated: SectionTables) -> dict[str, Section]:
    """Read the file of own sections.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``: wrong keys, sizes or names taken.
    """
    top = Reader(parse_toml(content, where), where)
    top.integer("schema", 1, 1)
    found: dict[str, Section] = {}
    for name, table in top.table("sections").named_tables().items():
        section = _section(name, table)
        if section is None:
            continue
        if _is_taken(name, curated):
            table.problem("", "can be read as a section already; give it another name.")
        if own_name(name) in found:
            table.problem("", "differs from another name in nothing but letters and spaces.")
        found[own_name(name)] = section
    top.done()
    top.finish("file of own sections")
    return found


def _section(name: str, table: Reader) -> Section | None:
    shape = table.choice("shape", SHAPES)
    wall = table.quantity("wall", LENGTH)
    standard, basis = table.text("standard"), table.text("basis")
    sizes: dict[str, Any] = {}
    if shape == "round":
        sizes["diameter"] = table.quantity("outside_diameter", LENGTH)
    else:
        sizes["height"] = table.quantity("height", LENGTH)
        sizes["width"] = table.quantity("width", LENGTH)
        sizes["corners"] = CORNERS[table.choice("corners", CORNERS)]
        if (shape == "square") != (sizes["height"] == sizes["width"]):
            table.problem("shape", "goes not with height and width.")
    table.done()
    if table.problems:
        return None
    try:
        section = (
            round_section(name, sizes["diameter"], wall, standard)
            if shape == "round"
            else hollow_section(name, standard=standard, wall=wall, **sizes)
        )
    except CuttableError as fault:
        table.problem("wall", f"{fault.what}. {fault.remedy}")
        return None
    keys = ("outside_diameter", "wall") if shape == "round" else ("height", "width", "wall")
    inches = [written_inches(str(table.data[key])) for key in keys]
    if any(item is not None for item in inches):
        # What is written in inches is kept to the digit; what is not is converted.
        section = with_inches(section, *(
            Fraction(table.quantity(key, LENGTH) / INCH) if item is None else item
            for key, item in zip(keys, inches, strict=True)
        ))  # fmt: skip
    return section._replace(note=f"the site's own section: {basis}")


def _is_taken(name: str, curated: SectionTables) -> bool:
    try:
        read_section(name, curated)
    except OpenQuestion:
        return True
    except CuttableError:
        return False
    return True
