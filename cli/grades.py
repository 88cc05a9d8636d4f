"""``cuttable grades``: list grades; a site's own grades and their revisions."""

import json

import typer

from ..catalogue.ledger.records import GRADES
from ..engine.answer.wording import show
from .apps import new_app
from .context import open_catalogue
from .options import Json, Units, command
from .revision_kind import Kind
from .revisions import add_revision_commands

BEGIN = """\
# The site's own grades, beside the curated ones. The form is that of the curated file.
schema = 1

[grades]
# [grades."Mill 35"]
# family    = "carbon-steel"
# product   = "ASTM A53"
# density   = "7850 kg/m^3"
# elasticity = "200 GPa"
# yield     = "240 MPa"
# source    = "mill certificate"
# status    = "seen"
# aliases   = []
"""


app = new_app("List grades; add the site's own.")


@command(app, "list", epilog="Example: cuttable grades list")
def list_all(*, units: Units = "si", is_json: Json = False) -> int:
    """List all grades with density, yield strength and where they are from."""
    grades = open_catalogue().grades
    if is_json:
        content = {
            "schema": "cuttable.grades/1",
            "grades": [
                {"grade": item.name, "family": item.family, "product": item.product.name,
                 "density": item.density, "yield_strength": item.yield_strength,
                 "source": item.source, "status": item.status}
                for item in grades.values()
            ],
        }  # fmt: skip
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    print_rows(
        ("grade", "family", "made to", "density", "yield", "source"),
        (
            (item.name, item.family, item.product.name, f"{item.density:.4g} kg/m³",
             show(item.yield_strength, "MPa", units, digits=4), item.source)
            for item in grades.values()
        ),
    )  # fmt: skip
    return 0


add_revision_commands(app, Kind("grades", GRADES, GRADES, begin=BEGIN))
