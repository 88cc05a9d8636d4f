"""``cuttable book``: make, verify, back up, restore and exchange the book of limits."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..catalogue.book.records import minute
from ..catalogue.errors import FileError, InputError
from .desk import AS, book_place, brought_here, open_book, person
from .revisions import JSON, group_of
from .rows import counted

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from ..catalogue.book.bundle import Bundle
    from ..catalogue.book.connect import Book
    from ..catalogue.book.place import Place
    from ..catalogue.book.records import Revision
    from ..catalogue.book.verify import Report

KEY = click.option(
    "--key", "key_file", type=click.Path(path_type=Path), default=None, metavar="FILE",
    help="Key to sign with, which must be there; else your own, made on first use.",
)  # fmt: skip


@click.group("book")
def command() -> None:
    """The book of limits: limits, rules and answers with their history, in a database.

    A book is a SQLite file, or a PostgreSQL database for a team: --book PATH|URL, or the
    environment variable CUTTABLE_BOOK; else your own, in your data folder.
    """


def _place() -> "Place":
    place = book_place()
    if place is None:
        raise InputError("book-missing", "no book is asked: 'none' is named", where="--book",
                         remedy="Name one: --book PATH.")  # fmt: skip
    return place


@command.command("init", epilog="Example: cuttable book init --book plant.db")
@AS
def init(*, who: str | None) -> int:
    """Make a book. Its first release is what the tool brings: sections, grades, models, rules."""
    from ..catalogue.book.making import make_book

    place = _place()
    if place.kind == "sqlite" and place.path.exists() and not _is_book(place):
        raise InputError(
            "output-exists", "there is a file of this name, and it is no book",
            where=place.label, remedy="Give the book another name: --book PATH.",
        )  # fmt: skip
    documents = brought_here()
    make_book(place, person(who), documents).close()
    click.echo(f"{place.label}: made, with the first release of {len(documents)} documents.")
    return 0


def _is_book(place: "Place") -> bool:
    """Say whether there is a book of some form at a place."""
    from ..catalogue.book.connect import Book, read_form

    book = Book(place)
    try:
        return bool(read_form(book))
    except FileError:
        return False
    finally:
        book.close()


@command.command("status", epilog="Example: cuttable book status")
@JSON
def status(*, is_json: bool) -> int:
    """What is in force, what is waiting, and whether the tool brings something newer."""
    from ..catalogue.book.brought import CATALOGUE_FILES, RULE_FILES, brought_digest
    from ..catalogue.book.history import overview
    from ..catalogue.book.records import CATALOGUE, RULES, WHOLE, kind_of
    from ..catalogue.store import FOLDER
    from ..rules.loader import FOLDER as RULES_FOLDER

    book = open_book()
    stands = overview(book)
    brought = {
        RULES: brought_digest(RULES_FOLDER, RULE_FILES),
        CATALOGUE: brought_digest(FOLDER, CATALOGUE_FILES),
    }
    content_of = {item.document: item.content for item in stands.in_force}
    other = [name for name, digest in brought.items() if content_of.get(name) != digest]
    if is_json:
        content = {
            "schema": "cuttable.book/1",
            "book": book.place.label,
            "in_force": [item._asdict() | {"ref": item.ref} for item in stands.in_force],
            "coming": [item.ref for item in stands.coming],
            "waiting": [{"ref": item.ref, "state": item.state, "author": item.author}
                        for item in stands.waiting],
            "other_than_brought": other,
        }  # fmt: skip
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .render import console, print_rows

    screen = console()
    screen.print(f"Book {book.place.label}", soft_wrap=True)
    order = ("machine", "overlay", *WHOLE)
    print_rows(
        ("in force", "since", "approved by", "why"),
        (
            (item.ref, item.effective[:10], item.approver, item.reason.replace("\n", " "))
            for item in sorted(
                stands.in_force, key=lambda item: (order.index(kind_of(item.document)), item.ref)
            )
        ),
    )
    for item in stands.coming:
        screen.print(f"Coming: {item.ref} from {minute(item.effective)}")
    for item in stands.waiting:
        screen.print(f"Waiting: {item.ref}, {item.state}, by {item.author}")
    for name in other:
        screen.print(f"The tool brings other {name} than are in force: cuttable book renew",
                     soft_wrap=True)  # fmt: skip
    return 0


@command.command("verify", epilog="Example: cuttable book verify")
@click.option("--head", default="", metavar="DIGEST",
              help="Head of the journal noted earlier: it must still be in it.")  # fmt: skip
@JSON
def verify(*, head: str, is_json: bool) -> int:
    """Prove that nothing was changed or taken out: every digest, every chain.

    Chains show what was changed by hand, not what was cut off at their end by someone who knows
    how: note the head elsewhere, and give it with --head another time.

    Exit status: 0 the book is as it was written, 1 something is wrong, 2 it cannot be read.
    """
    from ..catalogue.book.verify import has_entry, last_entry
    from ..catalogue.book.verify import verify as prove

    book = open_book()
    report = prove(book)
    if head and not has_entry(book, head):
        problem = "journal: the head that was noted is not in it: entries were cut off or changed"
        report = report._replace(problems=(*report.problems, problem))
    if is_json:
        content = {"schema": "cuttable.verification/1", **report._asdict(),
                   "head": last_entry(book), "problems": list(report.problems)}  # fmt: skip
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if report.problems else 0
    for problem in report.problems:
        click.echo(problem)
    result = counted(len(report.problems), "problem") if report.problems else "as it was written"
    click.echo(
        f"{counted(report.revisions, 'revision')}, {counted(report.contents, 'content')}, "
        f"{counted(report.entries, 'journal entry')}, {counted(report.answers, 'answer')}: {result}"
    )
    click.echo(f"Head of the journal: {last_entry(book)[7:31]}")
    if report.problems:
        from ..catalogue.book.faults import newest_backups

        backups = newest_backups(book.place)
        if backups:
            click.echo(f"The newest backup is {backups[0]}: cuttable book restore {backups[0]}")
        else:
            click.echo(
                "No backup lies beside the book. Restore one kept elsewhere: cuttable book "
                "restore FILE. Without any, make a new book and take bundles from other books: "
                "cuttable book init --book NEW, cuttable book import. Until then rest no job on "
                "what is named above."
            )
    return 1 if report.problems else 0


@command.command("migrate", epilog="Example: cuttable book migrate --book plant.db")
def migrate() -> int:
    """Bring an older book to today's form. A copy of it is kept beside it."""
    from ..catalogue.book.connect import FORMS, Book
    from ..catalogue.book.making import bring_up

    book = Book(_place())
    before, copy = bring_up(book)
    if before == FORMS[-1]:
        click.echo(f"{book.place.label}: of today's form already ({before}).")
        return 0
    kept = f" The copy of it as it was: {copy}" if copy else ""
    click.echo(f"{book.place.label}: brought from form {before} to {FORMS[-1]}.{kept}")
    return 0


@command.command("backup", epilog="Example: cuttable book backup book-2026-11.copy")
@click.argument("file", type=click.Path(path_type=Path), required=False, default=None)
def backup(file: Path | None) -> int:
    """Write a verified backup, while others go on working.

    It is a SQLite book whichever database the book is in. Without FILE it goes beside a SQLite
    book, where it is offered should the book be damaged.
    """
    from ..catalogue.book.connect import copy_name
    from ..catalogue.book.making import back_up

    book = open_book()
    if file is None:
        if book.place.kind != "sqlite":
            raise InputError("option-needs", "a backup of a database needs a name",
                             remedy="Name it: cuttable book backup FILE.")  # fmt: skip
        file = copy_name(book.place, "backup")
    report = back_up(book, file)
    click.echo(f"{file}: {_size(report)}, verified.")
    return 0


@command.command("restore", epilog="Example: cuttable book restore book-2026-11.copy")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--yes", "is_sure", is_flag=True, help="Do not ask.")
@click.option("--lose", "may_lose", is_flag=True,
              help="Even where the book has what the backup has not.")  # fmt: skip
@click.option("--copy", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Where the book that is there is kept; else beside a SQLite book.")  # fmt: skip
@AS
def restore(
    file: Path, *, is_sure: bool, may_lose: bool, copy: Path | None, who: str | None
) -> int:
    """Put a verified backup in the place of the book. The book that is there is kept as a copy.

    What was approved or kept since the backup is then not in the book any more, and limits of
    that day are in force again.
    """
    from ..catalogue.book.making import check_backup, loss
    from ..catalogue.book.making import restore as put_back

    place = _place()
    _check_there(file, "backup")
    report = check_backup(file)
    click.echo(f"{file}: {_size(report)}.")
    lost = loss(place, file)
    if lost:
        told = (
            "is of another book"
            if lost.is_other
            else f"lacks {counted(lost.entries, 'journal entry')} and "
            f"{counted(lost.answers, 'answer')} of the book"
        )
        if not may_lose:
            raise InputError(
                "backup-older", f"the backup {told}", where=str(file),
                remedy="Limits of that day would be in force again. If that is wanted: --lose.",
            )  # fmt: skip
        click.echo(f"The backup {told}.", err=True)
    if not is_sure and not sys.stdin.isatty():
        raise InputError(
            "option-needs", "nobody can be asked whether the book may be replaced",
            where=place.label, remedy="Nothing was changed. If it may: add --yes.",
        )  # fmt: skip
    if not is_sure and not click.confirm(f"Put it in the place of {place.label}?", err=True):
        click.echo("Nothing was changed.")
        return 0
    _, kept = put_back(place, file, person(who), copy=copy)
    click.echo(f"{place.label}: restored." + (f" The book that was there: {kept}" if kept else ""))
    return 0


@command.command("renew", epilog="Example: cuttable book renew")
@AS
def renew(*, who: str | None) -> int:
    """Submit what this tool brings and the book has not, for a person to approve.

    Documents that were changed here since they were brought are left alone.
    """
    from ..catalogue.book.releases import renew as take
    from ..engine.version import VERSION

    book = open_book()
    with book.writing(person(who)) as writing:
        made, left = take(writing, brought_here(), f"cuttable {VERSION}")
    for item in made:
        group = group_of(item.document)
        step = f"cuttable {group} approve {item.ref}"
        if item.base:
            step = f"cuttable impact {item.ref} --backlog FILE, then {step}"
        click.echo(f"{item.ref}: submitted. Next, another person: {step}")
    for document in left:
        click.echo(f"{document}: changed here, left alone.")
    if not made and not left:
        click.echo("The book has everything this tool brings.")
    return 0


def _check_there(path: Path, what: str) -> None:
    if not path.exists():
        raise FileError("file-missing", f"there is no such {what}", where=str(path),
                        remedy="See its name, and the folder it is in.")  # fmt: skip


def _size(report: "Report") -> str:
    return f"{counted(report.revisions, 'revision')}, {counted(report.answers, 'answer')}"


# --- exchange -----------------------------------------------------------------------------


def _key_file(named: Path | None) -> Path:
    from ..catalogue.book.bundle import key_path
    from ..catalogue.book.place import default_path

    if named is not None and not named.is_file():
        raise FileError(
            "file-missing", "there is no such key", where=str(named),
            remedy="Leave --key out to sign with your own, which is made on first use.",
        )  # fmt: skip
    return named or key_path(default_path().parent)


def _signer(named: Path | None) -> "Ed25519PrivateKey":
    """Return the key to sign with, and say so where it was made for it."""
    from ..catalogue.book.bundle import signing_key

    path = _key_file(named)
    is_new = not path.exists()
    signer = signing_key(path)
    if is_new:
        click.echo(f"Your signing key was made: {path}", err=True)
    return signer


@command.command("key", epilog="Example: cuttable book key")
@KEY
def key(*, key_file: Path | None) -> int:
    """Print the fingerprint of your signing key, for those who are to trust your bundles."""
    from ..catalogue.book.bundle import fingerprint, public_bytes

    path = _key_file(key_file)
    click.echo(fingerprint(public_bytes(_signer(key_file))))
    click.echo(f"The key is in {path}. Who has that file can sign as you.", err=True)
    return 0


@command.command("trust", epilog="Example: cuttable book trust sha256:… --name 'North works'")
@click.argument("fingerprint", required=False, default="")
@click.option("--name", default="", metavar="NAME", help="Whose key it is.")
@AS
def trust(fingerprint: str, name: str, *, who: str | None) -> int:
    """Take bundles signed with a key. Without FINGERPRINT: list the keys that are trusted."""
    from ..catalogue.book import bundle

    book = open_book()
    if not fingerprint:
        with book.reading() as connection:
            known = bundle.trusted_keys(connection)
        for digest, owner, since, by in known:
            click.echo(f"{digest}  {owner}, since {since[:10]}, by {by}")
        if not known:
            click.echo("No key is trusted yet.")
        return 0
    if not name.strip():
        raise InputError("option-needs", "whose key is it", remedy="Say so with --name NAME.")
    with book.writing(person(who)) as writing:
        bundle.trust(writing, fingerprint, name)
    click.echo(f"Bundles of {name} are taken from now on.")
    return 0


@command.command("export", epilog="Example: cuttable book export limits.zip rowan-150 alder-320")
@click.argument("target", type=click.Path(path_type=Path), metavar="FILE.zip|FOLDER")
@click.argument("documents", nargs=-1, metavar="DOCUMENT...")
@KEY
@AS
def export(
    target: Path, documents: Sequence[str], *, key_file: Path | None, who: str | None
) -> int:
    """Write a signed bundle of documents with their whole history.

    DOCUMENT is a model, MODEL@NAME, rules, sections, grades or catalogue; without any: all.
    """
    from ..catalogue.book import bundle, lifecycle
    from ..catalogue.book.records import check_document, stamp

    book = open_book()
    with book.reading() as connection:
        _check_target(target, lifecycle.approved_documents(connection))
    signer = _signer(key_file)
    with book.reading() as connection:
        names = [check_document(name) for name in dict.fromkeys(documents)]
        names = names or lifecycle.approved_documents(connection)
        files = bundle.bundle_files(
            connection, names, signer, by=person(who), made=stamp(book.clock())
        )
    bundle.write_bundle(files, target)
    print_key = bundle.fingerprint(bundle.public_bytes(signer))
    click.echo(f"{target}: {counted(len(names), 'document')}, signed with {print_key}")
    return 0


def _check_target(target: Path, known: Sequence[str]) -> None:
    """Refuse to take the name of a document for that of a folder to be made.

    Raises:
        InputError: ``option-needs``.
    """
    name = str(target).casefold()
    if name in known:
        raise InputError(
            "option-needs", f"{str(target)!r} is a document; the file to write is not named",
            remedy=f"Name it first: cuttable book export {name}.zip {name}",
        )  # fmt: skip


@command.command("import", epilog="Example: cuttable book import limits.zip")
@click.argument("source", type=click.Path(path_type=Path), metavar="FILE.zip|FOLDER")
@AS
def take(source: Path, *, who: str | None) -> int:
    """Take what a signed bundle has and the book has not: all of it, or nothing."""
    from ..catalogue.book import bundle

    book = open_book()
    _check_there(source, "bundle")
    read, taker = bundle.read_bundle(source), person(who)
    with book.reading() as connection:
        plan = bundle.plan_bundle(connection, read, taker)
    # Read as it will be in force before the transaction: it may be larger than a transaction
    # keeps to itself, and nobody could look at the book then.
    check_taken(book, plan.added, read)
    with book.writing(taker) as writing:
        taken = bundle.take_bundle(writing, read)
        if [item.ref for item in taken.added] != [item.ref for item in plan.added]:
            raise InputError("revision-state", "the book was changed meanwhile",
                             remedy="Import the bundle again.")  # fmt: skip
    for item in taken.added:
        click.echo(f"{item.ref}: taken, in force from {minute(item.effective)}")
    if taken.known:
        click.echo(f"Known already: {', '.join(taken.known)}")
    return 0


def check_taken(book: "Book", added: "Sequence[Revision]", read: "Bundle") -> None:
    """Read everything as it will be in force with what is taken, at each moment of it.

    Raises:
        FileError: ``bundle-damaged`` with every problem of it.
    """
    from ..catalogue.book.held import Held
    from ..engine.revision_check import check_schedule

    held = Held(book.place, now=book.clock())
    try:
        check_schedule(held, added, read.packed)
    except (FileError, InputError) as fault:
        problems = fault.problems if isinstance(fault, FileError) else ()
        raise FileError(
            "bundle-damaged", f"what the bundle brings cannot be used here: {fault.what}",
            where=fault.where, remedy="Nothing was changed.", problems=problems,
        ) from None  # fmt: skip
    finally:
        held.close()
