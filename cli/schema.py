"""``cuttable schema``: the forms of files as JSON Schema, for editors."""

import json
from collections.abc import Callable
from typing import Annotated, Any, Final, NamedTuple

import typer

from ..catalogue.errors import InputError
from ..catalogue.nearest import did_you_mean
from .apps import new_app
from .options import command


class Kind(NamedTuple):
    """A kind of file: what it is, where its schema is shipped, and how that is made."""

    title: str
    shipped: str
    make: Callable[[str], dict[str, Any]]


def _machine(title: str) -> dict[str, Any]:
    from ..catalogue.files.json_schema import json_schema
    from ..catalogue.machines.schema import MachineFile

    return json_schema(MachineFile, title)


def _site(title: str) -> dict[str, Any]:
    from ..catalogue.files.json_schema import json_schema
    from ..catalogue.machines.schema import site_file

    return json_schema(site_file(), title)


def _sections(title: str) -> dict[str, Any]:
    from ..catalogue.files.json_schema import json_schema
    from ..catalogue.tables.schema import OwnSectionFile

    return json_schema(OwnSectionFile, title)


def _grades(name: str) -> Callable[[str], dict[str, Any]]:
    def make(title: str) -> dict[str, Any]:
        from ..catalogue.files.json_schema import json_schema
        from ..catalogue.grades import schema

        return json_schema(getattr(schema, name), title)

    return make


def _rules(name: str) -> Callable[[str], dict[str, Any]]:
    def make(title: str) -> dict[str, Any]:
        from ..catalogue.files.json_schema import json_schema
        from ..rules import schema

        return json_schema(getattr(schema, name), title)

    return make


def _answer(_: str) -> dict[str, Any]:
    from ..engine.answer.document import answer_schema

    return answer_schema()


KINDS: Final[dict[str, Kind]] = {
    "machine": Kind("Machine file", "catalogue/schemas", _machine),
    "site": Kind("What differs at one site", "catalogue/schemas", _site),
    "sections": Kind("The site's own sections", "catalogue/schemas", _sections),
    "grades": Kind("Grades", "catalogue/schemas", _grades("OwnGradeFile")),
    "tolerances": Kind("Mill tolerances", "catalogue/schemas", _grades("ToleranceFile")),
    "rules": Kind("Rules of one topic", "rules/schemas", _rules("TopicFile")),
    "mitigations": Kind("Mitigations", "rules/schemas", _rules("MitigationFile")),
    "cautions": Kind("Cautions", "rules/schemas", _rules("CautionFile")),
    "vocabulary": Kind("Names that rules may use", "rules/schemas", _rules("VocabularyFile")),
    "cases": Kind("Cases beside the rules", "rules/schemas", _rules("CaseFile")),
    "answer": Kind("The answer of check --json", "engine/schemas", _answer),
    "base-case": Kind("The case all others start from", "rules/schemas", _rules("BaseCaseFile")),
}


def schema_text(kind: str) -> str:
    """Return a JSON Schema as it is printed and shipped.

    Raises:
        InputError: ``choice-unknown`` with the nearest kinds.
    """
    found = KINDS.get(kind.strip().casefold())
    if found is None:
        known = ", ".join(KINDS)
        raise InputError(
            "choice-unknown", f"no kind of file {kind.strip()[:40]!r} has a schema",
            remedy=f"{did_you_mean(kind[:40], KINDS)} There are: {known}.".strip(),
        )  # fmt: skip
    return json.dumps(found.make(found.title), ensure_ascii=False, indent=2)


app = new_app()


@command(app, "schema", epilog="Example: cuttable schema machine > machine.schema.json")
def schema(
    kind: Annotated[str, typer.Argument(metavar="[KIND]", help="Kind of file; a list if left out.")]
    = "",
) -> int:  # fmt: skip
    """Print the form of a kind of file as JSON Schema, for editors.

    An editor that knows TOML completes and checks a file whose first line names the schema,
    like #:schema ./machine.schema.json
    """
    if kind:
        typer.echo(schema_text(kind))
        return 0
    from .terminal.layout import print_rows

    print_rows(("kind", "what"), [(name, item.title) for name, item in KINDS.items()])
    return 0
