"""``cuttable sections``: find and show sections."""

import json
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from ..catalogue.grades.tolerances import mill_range
from ..catalogue.ledger.records import SECTIONS
from ..catalogue.tables.sections import Section as Stock
from ..catalogue.tables.sections import inches_of
from ..engine.answer.wording import System, show
from ..engine.jobs.parse import grade_of
from .apps import new_app
from .context import open_catalogue
from .options import GRADE, Json, Section, Units, command
from .revision_kind import Kind
from .revisions import add_revision_commands

MOST = 60


app = new_app("Find and show pipe and tube sections; add the site's own.")


@command(
    app,
    "find",
    epilog='Example: cuttable sections find "NPS 6"   or   cuttable sections find hss 6x4',
)
def find(
    words: Annotated[
        list[str], typer.Argument(metavar="TEXT...", help="Words of a section's name or sizes.")
    ],
    *,
    is_json: Json = False,
    most: Annotated[
        int, typer.Option("--most", metavar="N", min=1, help="How many to list at the most.")
    ] = MOST,
) -> int:
    """List sections of which every word of TEXT is part."""
    from ..catalogue.tables.search import find_sections

    catalogue = open_catalogue()
    found = find_sections(" ".join(words), catalogue.tables)
    if is_json:
        sections = [describe(section) for section in found[:most]]
        content = {"schema": "cuttable.sections/1", "count": len(found), "sections": sections}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
    elif found:
        from .terminal.layout import print_rows

        print_rows(
            ("section", "outside x wall", "inches", "kg/m", "lb/ft", "standard"),
            (
                (
                    section.designation + (f" ({section.note})" if section.note else ""),
                    section.printed("si"),
                    section.printed("us"),
                    f"{_mass(section):.4g}",
                    show(_mass(section), "kg/m", "us", digits=4).split()[0],
                    section.standard,
                )
                for section in found[:most]
            ),
        )
        if len(found) > most:
            typer.echo(f"{len(found) - most} more; add a word, or --most {len(found)}.")
    else:
        typer.echo(
            "No section has all of these words. Try fewer, like: cuttable sections find 168.3"
        )
    return 0 if found else 1


def _mass(section: Stock) -> float:
    return 7850 * section.area / 1e6


@command(
    app,
    "show",
    fields=GRADE,
    epilog='Example: cuttable sections show "6 in XS pipe" --grade "A106 B"',
)
def show_one(
    section: Section, *, said: Mapping[str, Any], units: Units = "si", is_json: Json = False
) -> int:
    """Show one section: sizes, mass, second moments, mill tolerance."""
    catalogue = open_catalogue()
    item = catalogue.section(section)
    material, assumption = grade_of(said["grade"], item, catalogue)
    mill = mill_range(item, material.product)
    mass = material.density * item.area / 1e6
    second = item.second_moments
    if is_json:
        content = {
            "schema": "cuttable.section/1",
            **describe(item),
            "grade": material.name,
            "linear_mass": mass,
            "mill_range": {
                "size_ratio": mill.size_ratio,
                "mass_ratio": mill.mass_ratio,
                "thin_wall": mill.thin_wall,
                "thick_wall": mill.thick_wall,
            },
        }
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    rows: list[tuple[str, str]] = [
        ("section", item.designation),
        ("standard", item.standard),
        ("outside x wall", f"{item.printed('si')}  =  {item.printed('us')}"),
        ("swept diameter", show(item.swept_diameter, "mm", units)),
        ("area", _area(item.area, units)),
        ("second moments", " and ".join(
            dict.fromkeys(_second_moment(value, units) for value in second))),
        ("polar moment", _second_moment(item.polar_moment, units)),
        ("grade", f"{material.name}: {material.density:g} kg/m³, yield at least "
                  f"{show(material.yield_strength, 'MPa', units)}"),
        ("mass per length", f"{show(mass, 'kg/m', 'si', digits=4)}  =  "
                            f"{show(mass, 'kg/m', 'us', digits=4)}"),
        ("inertia of a metre", show(
            material.density * item.polar_moment / 1e12, "kg*m^2", units, digits=4)),
        ("mill tolerance", f"outside up to {show(item.height * mill.size_ratio, 'mm', units)}, "
                           f"wall {show(mill.thin_wall, 'mm', units)} to "
                           f"{show(mill.thick_wall, 'mm', units)}, "
                           f"mass up to {(mill.mass_ratio - 1) * 100:+.1f} %"),
        ("tolerance from", f"{material.product.name}: {material.product.source} "
                           f"({material.product.status})".replace(" (seen)", "")),
    ]  # fmt: skip
    notes = [text for text in (item.note, assumption) if text]
    rows[1:1] = [("note", text) for text in notes]
    print_rows(("", ""), rows)
    return 0


def _area(value: float, units: System) -> str:
    return f"{value:.5g} mm²" if units == "si" else f"{value / 25.4**2:.5g} in²"


def _second_moment(value: float, units: System) -> str:
    return f"{value / 1e4:.5g} cm⁴" if units == "si" else f"{value / 25.4**4:.5g} in⁴"


def describe(section: Stock) -> dict[str, Any]:
    """Return a section as plain data, mm."""
    return {
        "designation": section.designation,
        "shape": section.shape,
        "height": section.height,
        "width": section.width,
        "wall": section.wall,
        "standard": section.standard,
        **inches_of(section),
        "area": section.area,
        "second_moments": list(section.second_moments),
        "polar_moment": section.polar_moment,
        "swept_diameter": section.swept_diameter,
    }


BEGIN = """\
# The site's own sections, beside the curated tables. Each is asked for by its name.
schema = 1

[sections]
# [sections."RING 210x8"]
# shape            = "round"
# outside_diameter = "210 mm"
# wall             = "8 mm"
# standard         = "drawing R-17"
# basis            = "measured on ten pieces"
#
# [sections."FRAME 110x70x5"]
# shape    = "rectangular"
# height   = "110 mm"
# width    = "70 mm"
# wall     = "5 mm"
# corners  = "EN 10219-2"
# standard = "drawing F-3"
# basis    = "mill certificate"
"""

add_revision_commands(app, Kind("sections", SECTIONS, SECTIONS, begin=BEGIN))
