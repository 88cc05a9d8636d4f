"""Exchange between ledgers: signed bundles, and whose are taken."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import FileError, InputError
from ..catalogue.ledger.records import minute
from .apps import new_app
from .context import open_ledger, person
from .ledger_copies import check_there
from .options import Who, command
from .terminal.rows import counted

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from ..catalogue.ledger.bundle import Bundle
    from ..catalogue.ledger.database import Ledger
    from ..catalogue.ledger.records import Revision

Key = Annotated[
    Path | None,
    typer.Option(
        "--key", metavar="FILE",
        help="Key to sign with, which must be there; else your own, made on first use.",
    ),
]  # fmt: skip


app = new_app()


def _key_file(named: Path | None) -> Path:
    from ..catalogue.ledger.location import default_path
    from ..catalogue.ledger.signing import key_path

    if named is not None and not named.is_file():
        raise FileError(
            "file-missing", "there is no such key", where=str(named),
            remedy="Leave --key out to sign with your own, which is made on first use.",
        )  # fmt: skip
    return named or key_path(default_path().parent)


def _signer(named: Path | None) -> "Ed25519PrivateKey":
    """Return the key to sign with, and say so where it was made for it."""
    from ..catalogue.ledger.signing import signing_key

    path = _key_file(named)
    is_new = not path.exists()
    signer = signing_key(path)
    if is_new:
        typer.echo(f"Your signing key was made: {path}", err=True)
    return signer


@command(app, "key", epilog="Example: cuttable ledger key")
def key(*, key_file: Key = None) -> int:
    """Print the fingerprint of your signing key, for those who are to trust your bundles."""
    from ..catalogue.ledger.signing import fingerprint, public_bytes

    path = _key_file(key_file)
    typer.echo(fingerprint(public_bytes(_signer(key_file))))
    typer.echo(f"The key is in {path}. Who has that file can sign as you.", err=True)
    return 0


@command(app, "trust", epilog="Example: cuttable ledger trust sha256:… --name 'North works'")
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
    from ..catalogue.ledger.signing import trust, trusted_keys

    ledger = open_ledger()
    if not fingerprint:
        with ledger.reading() as connection:
            known = trusted_keys(connection)
        for digest, owner, since, by in known:
            typer.echo(f"{digest}  {owner}, since {since[:10]}, by {by}")
        if not known:
            typer.echo("No key is trusted yet.")
        return 0
    if not name.strip():
        raise InputError("option-needs", "whose key is it", remedy="Say so with --name NAME.")
    with ledger.writing(person(who)) as writing:
        trust(writing, fingerprint, name)
    typer.echo(f"Bundles of {name} are taken from now on.")
    return 0


@command(app, "export", epilog="Example: cuttable ledger export limits.zip rowan-150 alder-320")
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
    from ..catalogue.ledger import lifecycle
    from ..catalogue.ledger.bundle_writing import bundle_files, write_bundle
    from ..catalogue.ledger.records import check_document, stamp
    from ..catalogue.ledger.signing import fingerprint, public_bytes

    ledger = open_ledger()
    with ledger.reading() as connection:
        _check_target(target, lifecycle.approved_documents(connection))
    signer = _signer(key_file)
    with ledger.reading() as connection:
        names = [check_document(name) for name in dict.fromkeys(documents)]
        names = names or lifecycle.approved_documents(connection)
        files = bundle_files(connection, names, signer, by=person(who), made=stamp(ledger.clock()))
    write_bundle(files, target)
    print_key = fingerprint(public_bytes(signer))
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
            remedy=f"Name it first: cuttable ledger export {name}.zip {name}",
        )  # fmt: skip


@command(app, "import", epilog="Example: cuttable ledger import limits.zip")
def take(
    source: Annotated[Path, typer.Argument(metavar="FILE.zip|FOLDER", help="The bundle.")],
    *,
    who: Who = None,
) -> int:
    """Take what a signed bundle has and the ledger has not: all of it, or nothing."""
    from ..catalogue.ledger import bundle
    from ..catalogue.ledger.bundle_reading import read_bundle

    ledger = open_ledger()
    check_there(source, "bundle")
    read, taker = read_bundle(source), person(who)
    with ledger.reading() as connection:
        plan = bundle.plan_bundle(connection, read, taker)
    # Read as it will be in force before the transaction: it may be larger than a transaction
    # keeps to itself, and nobody could look at the ledger then.
    check_taken(ledger, plan.added, read)
    with ledger.writing(taker) as writing:
        taken = bundle.take_bundle(writing, read)
        if [item.ref for item in taken.added] != [item.ref for item in plan.added]:
            raise InputError("revision-state", "the ledger was changed meanwhile",
                             remedy="Import the bundle again.")  # fmt: skip
    for item in taken.added:
        typer.echo(f"{item.ref}: taken, in force from {minute(item.effective)}")
    if taken.known:
        typer.echo(f"Known already: {', '.join(taken.known)}")
    return 0


def check_taken(ledger: "Ledger", added: "Sequence[Revision]", read: "Bundle") -> None:
    """Read everything as it will be in force with what is taken, at each moment of it.

    Raises:
        FileError: ``bundle-damaged`` with every problem of it.
    """
    from ..catalogue.ledger.snapshot import Snapshot
    from ..engine.review.revision_check import check_schedule

    snapshot = Snapshot(ledger.place, now=ledger.clock())
    try:
        check_schedule(snapshot, added, read.packed)
    except (FileError, InputError) as fault:
        problems = fault.problems if isinstance(fault, FileError) else ()
        raise FileError(
            "bundle-damaged", f"what the bundle brings cannot be used here: {fault.what}",
            where=fault.where, remedy="Nothing was changed.", problems=problems,
        ) from None  # fmt: skip
    finally:
        snapshot.close()
