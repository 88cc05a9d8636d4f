"""``cuttable sites``: what differs at one site or serial number from the model as released."""

import json

import typer

from ..catalogue.machines.site_overlay import MARK
from .apps import new_app
from .context import open_catalogue
from .options import Json, command
from .revision_kind import Kind
from .revisions import add_revision_commands

BEGIN = """\
# What differs at one site from the model as released. Everything else stays the model's.
schema  = 1
model   = "{model}"
overlay = "{site}"
title   = "{site}"

# What is fitted or taken off, by the codes of the model's supports and accessories.
fitted  = []
removed = []

# Limits and parts of the machine that differ: a bigger chuck, worn rollers. Each limit with its
# basis. Uncomment and change.
# [limits.stock_mass]
# rated = "250 kg"
# basis = "rollers worn, service report"

# What stock is loaded with.
# [handling]
# lifting_gear = "1000 kg"
# persons      = 2
"""


app = new_app(
    """What differs at one site or serial number; release it.

    Accessories, limits, lifting gear, persons. A site is named MODEL@NAME, and asked as a machine:
    check … --machine rowan-150@hall-2.
    """
)


@command(app, "list", epilog="Example: cuttable sites list")
def list_all(*, is_json: Json = False) -> int:
    """List the sites in force."""
    catalogue = open_catalogue()
    found = [catalogue.machine(code) for code in catalogue.overlays]
    if is_json:
        sites = [{"site": item.code, "title": item.title, "model_revision": item.revision,
                  "revision": item.overlay_revision, "digest": item.digest}
                 for item in found]  # fmt: skip
        content = {"schema": "cuttable.sites/1", "sites": sites}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    if not found:
        typer.echo(f"No site is kept. Begin one: cuttable sites draft MODEL{MARK}NAME")
        return 0
    from .terminal.layout import print_rows

    print_rows(
        ("site", "revision", "over", "title"),
        (
            (item.code, str(item.overlay_revision),
             f"{item.code.split(MARK)[0]}/{item.revision}", item.title)
            for item in found
        ),
    )  # fmt: skip
    return 0


add_revision_commands(app, Kind("sites", "", "rowan-150@hall-2", begin=BEGIN))
