"""``cuttable catalogue``: the curated tables, and the life of their revisions."""

import json
from typing import Any

import typer

from ..catalogue.files.file_source import parse_toml
from ..catalogue.files.problems import Problems
from ..catalogue.ledger.records import CATALOGUE
from ..catalogue.ledger.shipped import CATALOGUE_FILES
from ..catalogue.tables.schema import IndexFile
from .apps import new_app
from .context import open_catalogue
from .options import Json, command
from .revision_kind import Kind
from .revisions import add_revision_commands

NEEDED = ("tables/index.toml", "grades.toml", "tolerances.toml")
"""Files that no revision of the catalogue does without."""

COLUMNS = ("standard", "edition", "title", "file")


app = new_app(
    """List the curated tables; release what a newer tool brings.

    Tables of sections, grades and tolerances. The site's own stand beside them: cuttable sections,
    cuttable grades.
    """
)


@command(app, "list", epilog="Example: cuttable catalogue list")
def list_all(*, is_json: Json = False) -> int:
    """List the section tables with the standard and edition each is from."""
    catalogue = open_catalogue()
    files = catalogue.tables.files
    where = files.where("index.toml")
    content = files.read("index.toml")
    problems = Problems(where, content)
    index = problems.read(IndexFile, parse_toml(content, where))
    problems.finish("index of tables")
    tables = {
        name: {column: getattr(table, column) for column in COLUMNS}
        for name, table in index.tables.items()
    }
    if is_json:
        answer: dict[str, Any] = {
            "schema": "cuttable.catalogue/1", "digest": catalogue.digest,
            "tables": [{"table": name, **table} for name, table in tables.items()],
        }  # fmt: skip
        typer.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    print_rows(
        ("table", "standard", "edition", "what"),
        (
            (name, table["standard"], table["edition"], table["title"])
            for name, table in tables.items()
        ),
    )
    typer.echo(f"Sections, grades and tolerances together: {catalogue.digest}")
    return 0


add_revision_commands(app, Kind("catalogue", CATALOGUE, CATALOGUE, CATALOGUE_FILES, NEEDED))
