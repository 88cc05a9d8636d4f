"""Exchange between books: signed bundles, and whose are taken."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.book.records import minute
from ..catalogue.errors import FileError, InputError
from .apps import new_app
from .book_copies import check_there
from .desk import open_book, person
from .options import Who, command
from .rows import counted

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from ..catalogue.book.bundle import Bundle
    from ..catalogue.book.connect import Book
    from ..catalogue.book.records import Revision

Key = Annotated[
    Path | None,
    typer.Option(
        "--key", metavar="FILE",
        help="Key to sign with, which must be there; else your own, made on first use.",
    ),
]  # fmt: skip


app = new_app()


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
        typer.echo(f"Your signing key was made: {path}", err=True)
    return signer


@command(app, "key", epilog="Example: cuttable book key")
def key(*, key_file: Key = None) -> int:
    """Print the fingerprint of your signing key, for those who are to trust your bundles."""
    from ..catalogue.book.bundle import fingerprint, public_bytes

    path = _key_file(key_file)
    typer.echo(fingerprint(public_bytes(_signer(key_file))))
    typer.echo(f"The key is in {path}. Who has that file can sign as you.", err=True)
    return 0


@command(app, "trust", epilog="Example: cuttable book trust sha256:… --name 'North works'")
def trust(
    fingerprint: Annotated[
        str,
        typer.Argument(metavar="[FINGERPRINT]", show_default=False,
                       help="Of the key. Without it: list the keys that are trusted."),
    ] = "",
    *,
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Whose key it is.")] = "",
    who: Who = None,
) -> int:  # fmt: skip
    """Take bundles signed with a key. Without FINGERPRINT: list the keys that are trusted."""
    from ..catalogue.book import bundle

    book = open_book()
    if not fingerprint:
        with book.reading() as connection:
            known = bundle.trusted_keys(connection)
        for digest, owner, since, by in known:
            typer.echo(f"{digest}  {owner}, since {since[:10]}, by {by}")
        if not known:
            typer.echo("No key is trusted yet.")
        return 0
    if not name.strip():
        raise InputError("option-needs", "whose key is it", remedy="Say so with --name NAME.")
    with book.writing(person(who)) as writing:
        bundle.trust(writing, fingerprint, name)
    typer.echo(f"Bundles of {name} are taken from now on.")
    return 0


@command(app, "export", epilog="Example: cuttable book export limits.zip rowan-150 alder-320")
def export(
    target: Annotated[
        Path, typer.Argument(metavar="FILE.zip|FOLDER", help="What to write; it must be new.")
    ],
    documents: Annotated[
        list[str],
        typer.Argument(
            metavar="[DOCUMENT]...", default_factory=list, show_default=False,
            help="A model, MODEL@NAME, rules, sections, grades or catalogue; without any: all.",
        ),
    ],
    *,
    key_file: Key = None,
    who: Who = None,
) -> int:  # fmt: skip
    """Write a signed bundle of documents with their whole history."""
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
    typer.echo(f"{target}: {counted(len(names), 'document')}, signed with {print_key}")
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


@command(app, "import", epilog="Example: cuttable book import limits.zip")
def take(
    source: Annotated[Path, typer.Argument(metavar="FILE.zip|FOLDER", help="The bundle.")],
    *,
    who: Who = None,
) -> int:
    """Take what a signed bundle has and the book has not: all of it, or nothing."""
    from ..catalogue.book import bundle

    book = open_book()
    check_there(source, "bundle")
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
        typer.echo(f"{item.ref}: taken, in force from {minute(item.effective)}")
    if taken.known:
        typer.echo(f"Known already: {', '.join(taken.known)}")
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
