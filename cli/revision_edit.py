"""Editing a draft: in a person's editor, or through files."""

import sys
from collections.abc import Generator, Mapping
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import FileError, InputError
from .context import open_ledger, person
from .editor import edited
from .options import Who, command
from .revision_files import read_files, write_files
from .revision_kind import Kind, Reason, Ref, example
from .revision_words import tell_problems

if TYPE_CHECKING:
    from ..catalogue.ledger.records import Revision


def add_edit(app: typer.Typer, kind: Kind) -> None:
    """Add the command that edits a draft."""
    place = "draft" if kind.patterns else "draft.toml"

    @command(app, "edit", epilog=example(kind, f"edit {kind.example}/2 --to {place}"))
    def edit(
        ref: Ref,
        *,
        target: Annotated[
            Path | None,
            typer.Option("--to", metavar=kind.place, help="Write the draft there, to be edited."),
        ] = None,
        source: Annotated[
            Path | None, typer.Option("--from", metavar=kind.place, help="Take it from here.")
        ] = None,
        reason: Reason = None,
        evidence: Annotated[
            str | None, typer.Option("--evidence", metavar="TEXT", help="What it rests on.")
        ] = None,
        who: Who = None,
    ) -> int:
        """Edit a draft: in your editor, or through a file: first --to FILE, then --from FILE."""
        from ..catalogue.ledger import blobs, lifecycle

        document, number = kind.ref(ref, "edit")
        _check_edit(target, source, reason, evidence)
        ledger = open_ledger()
        with ledger.reading() as connection:
            old = lifecycle.revision(connection, document, number)
            files = blobs.kept(connection, old.content, document)
        if target is not None:
            write_files(kind, files, target)
            typer.echo(f"{old.ref} is in {target}. {_after_writing(kind, old, target)}")
            return 0
        editor = _Editor(kind, old)
        editor.check_state(old)
        changed = None if source is None else read_files(kind, source)
        if source is None and reason is None and evidence is None:
            changed = editor.edited(files)
            if changed is None:
                typer.echo(f"{old.ref}: nothing was changed.")
                return 0
        with editor.saving(), ledger.writing(person(who)) as writing:
            editor.check_same(lifecycle.revision(writing.connection, document, number))
            new = lifecycle.edit(
                writing, document, number, files=changed, reason=reason, evidence=evidence
            )
        typer.echo(f"{new.ref}: changed by {writing.who}.")
        tell_problems(ledger, new)
        return 0


def _check_edit(
    target: Path | None, source: Path | None, reason: str | None, evidence: str | None
) -> None:
    """Refuse options that do not go together, and a reason of no words."""
    from ..catalogue.ledger.records import words

    if target is not None and not (source is reason is evidence is None):
        raise InputError(
            "option-needs", "--to writes the draft out, and changes nothing of it",
            where="--to", remedy="Leave the other options for the edit that puts it back.",
        )  # fmt: skip
    if reason is not None and not words(reason):
        raise InputError("reason-missing", "the reason has no words", where="--reason",
                         remedy="Say why, or leave --reason out.")  # fmt: skip


def _after_writing(kind: Kind, old: "Revision", target: Path) -> str:
    if old.state == "draft":
        return f"Put it back: cuttable {kind.group} edit {old.ref} --from {target}"
    name = "" if kind.document else f" {old.document}"
    return (
        f"It is {old.state}, and stays as it is; to change something: "
        f"cuttable {kind.group} draft{name} --from {target}"
    )


class _Editor:
    """One edit of a draft: what was handed out, and what a person made of it."""

    def __init__(self, kind: Kind, old: "Revision") -> None:
        self.kind, self.old = kind, old
        self.text = ""

    def check_state(self, now: "Revision") -> None:
        """Refuse to edit what is no draft.

        Raises:
            InputError: ``revision-state``.
        """
        if now.state == "draft":
            return
        ways = "Another person approves it, or gives it back."
        if now.state != "submitted":
            name = "" if self.kind.document else f" {now.document}"
            ways = f"Draft a new revision: cuttable {self.kind.group} draft{name}"
        raise InputError(
            "revision-state", f"{now.ref} cannot be edited: it is {now.state}", remedy=ways
        )

    def edited(self, files: Mapping[str, bytes]) -> dict[str, bytes] | None:
        """Return files as edited in a person's editor, None where nothing was saved.

        Raises:
            InputError: ``option-needs`` where no editor can be opened.
        """
        place = self.kind.place
        ways = f"Write it out with --to {place}, edit it, and put it back with --from {place}."
        if self.kind.patterns:
            raise InputError(
                "option-needs", "a draft of many files is edited through a folder", remedy=ways
            )
        if not sys.stdin.isatty():
            raise InputError(
                "option-needs", "an editor needs a terminal, and there is none", remedy=ways
            )
        ((name, content),) = files.items()
        text = edited(content.decode("utf-8", "replace"), ".toml")
        self.text = text or ""
        return None if text is None else {name: text.encode()}

    def check_same(self, now: "Revision") -> None:
        """Refuse to lay an edited text over what somebody else made of the draft meanwhile.

        Raises:
            InputError: ``revision-state``.
        """
        self.check_state(now)
        if self.text and now.content != self.old.content:
            raise InputError(
                "revision-state", f"{now.ref} was changed by somebody else meanwhile",
                remedy="See what they changed, and bring yours into it: "
                f"cuttable {self.kind.group} diff {now.ref}",
            )  # fmt: skip

    @contextmanager
    def saving(self) -> Generator[None]:
        """Save the edited text to a file where the ledger does not take it: it was work."""
        try:
            yield
        except (FileError, InputError):
            if self.text:
                typer.echo(f"What you wrote is in {self._saved()}.", err=True)
            raise

    def _saved(self) -> Path:
        from .files import write_whole

        name = f"{self.old.document}-{self.old.number}"
        paths = (Path(f"{name}.edited{number or ''}.toml") for number in count())
        path = next(path for path in paths if not path.exists())
        write_whole(path, self.text.encode(), "the edited text")
        return path
