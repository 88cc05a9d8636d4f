"""``cuttable book``: make, verify, back up, restore and exchange the book of limits."""

import json
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.book.records import minute
from ..catalogue.errors import FileError, InputError
from .apps import new_app
from .book_copies import app as copies
from .book_exchange import app as exchange
from .desk import brought_here, named_place, open_book, person
from .options import Json, Who, command
from .revision_kind import group_of
from .rows import counted

if TYPE_CHECKING:
    from ..catalogue.book.place import Place

app = new_app(
    """The book of limits: make, verify, back up, exchange.

    Limits, rules and answers with their history, in a database: a SQLite file, or PostgreSQL
    for a team. Which one: --book PATH|URL, or the
    environment variable CUTTABLE_BOOK; else your own, in your data folder.
    """
)


@command(app, "init", epilog="Example: cuttable book init --book plant.db")
def init(*, who: Who = None) -> int:
    """Make a book. Its first release is what the tool brings: sections, grades, models, rules."""
    from ..catalogue.book.making import make_book

    place = named_place()
    if place.kind == "sqlite" and place.path.exists() and not _is_book(place):
        raise InputError(
            "output-exists", "there is a file of this name, and it is no book",
            where=place.label, remedy="Give the book another name: --book PATH.",
        )  # fmt: skip
    documents = brought_here()
    make_book(place, person(who), documents).close()
    typer.echo(f"{place.label}: made, with the first release of {len(documents)} documents.")
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


@command(app, "status", epilog="Example: cuttable book status")
def status(*, is_json: Json = False) -> int:
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
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
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


@command(app, "verify", epilog="Example: cuttable book verify")
def verify(
    *,
    head: Annotated[
        str,
        typer.Option("--head", metavar="DIGEST",
                     help="Head of the journal noted earlier: it must still be in it."),
    ] = "",
    is_json: Json = False,
) -> int:  # fmt: skip
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
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if report.problems else 0
    for problem in report.problems:
        typer.echo(problem)
    result = counted(len(report.problems), "problem") if report.problems else "as it was written"
    typer.echo(
        f"{counted(report.revisions, 'revision')}, {counted(report.contents, 'content')}, "
        f"{counted(report.entries, 'journal entry')}, {counted(report.answers, 'answer')}: {result}"
    )
    typer.echo(f"Head of the journal: {last_entry(book)[7:31]}")
    if report.problems:
        from ..catalogue.book.faults import newest_backups

        backups = newest_backups(book.place)
        if backups:
            typer.echo(f"The newest backup is {backups[0]}: cuttable book restore {backups[0]}")
        else:
            typer.echo(
                "No backup lies beside the book. Restore one kept elsewhere: cuttable book "
                "restore FILE. Without any, make a new book and take bundles from other books: "
                "cuttable book init --book NEW, cuttable book import. Until then rest no job on "
                "what is named above."
            )
    return 1 if report.problems else 0


@command(app, "migrate", epilog="Example: cuttable book migrate --book plant.db")
def migrate() -> int:
    """Bring an older book to today's form. A copy of it is kept beside it."""
    from ..catalogue.book.connect import FORMS, Book
    from ..catalogue.book.making import bring_up

    book = Book(named_place())
    before, copy = bring_up(book)
    if before == FORMS[-1]:
        typer.echo(f"{book.place.label}: of today's form already ({before}).")
        return 0
    kept = f" The copy of it as it was: {copy}" if copy else ""
    typer.echo(f"{book.place.label}: brought from form {before} to {FORMS[-1]}.{kept}")
    return 0


@command(app, "renew", epilog="Example: cuttable book renew")
def renew(*, who: Who = None) -> int:
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
        typer.echo(f"{item.ref}: submitted. Next, another person: {step}")
    for document in left:
        typer.echo(f"{document}: changed here, left alone.")
    if not made and not left:
        typer.echo("The book has everything this tool brings.")
    return 0


app.add_typer(copies)
app.add_typer(exchange)
