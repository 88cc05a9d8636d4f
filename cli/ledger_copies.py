"""Copies of a ledger: backups, and putting one back."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import FileError, InputError
from .apps import new_app
from .context import named_place, open_ledger, person
from .options import Who, command
from .terminal.rows import counted

if TYPE_CHECKING:
    from ..catalogue.ledger.verify import Report

app = new_app()


@command(app, "backup", epilog="Example: cuttable ledger backup ledger-2026-11.copy")
def backup(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="File to write.", show_default=False)
    ] = None,
) -> int:
    """Write a verified backup, while others go on working.

    It is a SQLite ledger whichever database the ledger is in. Without FILE it goes beside a SQLite
    ledger, where it is offered should the ledger be damaged.
    """
    from ..catalogue.ledger.backup import back_up
    from ..catalogue.ledger.database import copy_name

    ledger = open_ledger()
    if file is None:
        if ledger.place.kind != "sqlite":
            raise InputError("option-needs", "a backup of a database needs a name",
                             remedy="Name it: cuttable ledger backup FILE.")  # fmt: skip
        file = copy_name(ledger.place, "backup")
    report = back_up(ledger, file)
    typer.echo(f"{file}: {_size(report)}, verified.")
    return 0


@command(app, "restore", epilog="Example: cuttable ledger restore ledger-2026-11.copy")
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The backup.")],
    *,
    is_sure: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    may_lose: Annotated[
        bool, typer.Option("--lose", help="Even where the ledger has what the backup has not.")
    ] = False,
    copy: Annotated[
        Path | None,
        typer.Option("--copy", metavar="FILE",
                     help="Where the ledger that is there is kept; else beside a SQLite ledger."),
    ] = None,
    who: Who = None,
) -> int:  # fmt: skip
    """Put a verified backup in the place of the ledger. The ledger that is there is kept as a copy.

    What was approved or kept since the backup is then not in the ledger any more, and limits of
    that day are in force again.
    """
    from ..catalogue.ledger.restore import check_backup, loss
    from ..catalogue.ledger.restore import restore as put_back

    place = named_place()
    check_there(file, "backup")
    report = check_backup(file)
    typer.echo(f"{file}: {_size(report)}.")
    lost = loss(place, file)
    if lost:
        told = (
            "is of another ledger"
            if lost.is_other
            else f"lacks {counted(lost.entries, 'journal entry')} and "
            f"{counted(lost.answers, 'answer')} of the ledger"
        )
        if not may_lose:
            raise InputError(
                "backup-older", f"the backup {told}", where=str(file),
                remedy="Limits of that day would be in force again. If that is wanted: --lose.",
            )  # fmt: skip
        typer.echo(f"The backup {told}.", err=True)
    if not is_sure and not sys.stdin.isatty():
        raise InputError(
            "option-needs", "nobody can be asked whether the ledger may be replaced",
            where=place.label, remedy="Nothing was changed. If it may: add --yes.",
        )  # fmt: skip
    if not is_sure and not typer.confirm(f"Put it in the place of {place.label}?", err=True):
        typer.echo("Nothing was changed.")
        return 0
    _, kept = put_back(place, file, person(who), copy=copy)
    typer.echo(
        f"{place.label}: restored." + (f" The ledger that was there: {kept}" if kept else "")
    )
    return 0


def check_there(path: Path, what: str) -> None:
    """Refuse a file that is not there.

    Raises:
        FileError: ``file-missing``.
    """
    try:
        is_there = path.exists()
    except OSError:  # a name longer than any file has
        is_there = False
    if not is_there:
        raise FileError("file-missing", f"there is no such {what}", where=str(path),
                        remedy="See its name, and the folder it is in.")  # fmt: skip


def _size(report: "Report") -> str:
    return f"{counted(report.revisions, 'revision')}, {counted(report.answers, 'answer')}"
