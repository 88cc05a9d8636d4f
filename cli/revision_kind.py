"""What a group of commands is about, and how its documents and revisions are named."""

from typing import Annotated, NamedTuple

import typer

from ..catalogue.errors import InputError

Ref = Annotated[
    str, typer.Argument(metavar="REVISION", help="Its name and number, as history lists it.")
]
Reason = Annotated[str | None, typer.Option("--reason", metavar="TEXT", help="Why.")]


class Kind(NamedTuple):
    """What a group of commands is about.

    Attributes:
        group: the word typed after ``cuttable``.
        document: the one document of this kind; empty where each has its own name.
        example: a document, for help.
        patterns: files of a folder that make up a revision; empty for one file.
        needed: files without which such a folder is none.
        begin: text a first draft of a new document begins with, where no file is given.
    """

    group: str
    document: str
    example: str
    patterns: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()
    begin: str = ""

    @property
    def place(self) -> str:
        """What a revision is written to and taken from, as help names it."""
        return "FOLDER" if self.patterns else "FILE.toml"

    @property
    def fixed(self) -> dict[str, str]:
        """What is not asked for: the name, where there is one document."""
        return {"name": self.document} if self.document else {}

    @property
    def named(self) -> str:
        """What stands for the name of a document in help."""
        return "MODEL@NAME" if self.group == "sites" else "MODEL"

    def name(self, text: str, step: str) -> str:
        """Return the document a person names for a step.

        Raises:
            InputError: ``name-unusable``.
        """
        from ..catalogue.ledger.records import check_document

        if self.document:
            return self.document
        name = check_document(text)
        self._check_group(name, step)
        return name

    def _check_group(self, document: str, step: str, number: str = "") -> None:
        """Refuse a document of another group, and say how to type it there."""
        group = group_of(document)
        if group == self.group:
            return
        typed = f"{document}/{number}" if number else document
        # Of a document that there is one of, the number will do.
        there = (number if group == document else typed) or ""
        form = {"sites": "MODEL@NAME", "machines": "the code of a model"}.get(self.group, "")
        hint = f"; here {form} is wanted, like {self.example}" if form else ""
        raise InputError(
            "name-unusable", f"{typed[:60]!r} is of the {group}, not of the {self.group}",
            remedy=f"Type: cuttable {group} {step} {there[:60]}".rstrip() + hint,
        )  # fmt: skip

    def ref(self, text: str, step: str) -> tuple[str, int]:
        """Read ``rowan-150/3`` for a step; where there is one document, ``3`` will do.

        Raises:
            InputError: ``revision-unknown`` or ``name-unusable``.
        """
        from ..catalogue.ledger.records import parse_ref

        if self.document and text.strip().isdecimal():
            text = f"{self.document}/{text.strip()}"
        document, number = parse_ref(text)
        self._check_group(document, step, str(number))
        return document, number


def group_of(document: str) -> str:
    """Return the group of commands that a document belongs to."""
    from ..catalogue.ledger.records import kind_of

    kind = kind_of(document)
    return {"machine": "machines", "overlay": "sites"}.get(kind, kind)


def example(kind: Kind, rest: str) -> str:
    """Return the line of an example in help."""
    return f"Example: cuttable {kind.group} {rest}"
