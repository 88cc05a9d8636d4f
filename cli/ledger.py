"""``cuttable ledger``: make, verify, back up, restore and exchange the ledger of limits."""

import json
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import FileError, InputError
from ..catalogue.ledger.records import minute
from .apps import new_app
from .context import brought_here, named_place, open_ledger, person
from .ledger_copies import app as copies
from .ledger_exchange import app as exchange
from .options import Json, Who, command
from .revision_kind import group_of
from .terminal.rows import counted

if TYPE_CHECKING:
    from ..catalogue.ledger.location import Location

app = new_app(
    """The ledger of limits: make, verify, back up, exchange.

    Limits, rules and answers with their history, in a database: a SQLite file, or PostgreSQL
    for a team. Which one: --ledger PATH|URL, or the
    environment variable CUTTABLE_LEDGER; else your own, in your data folder.
    """
)


@command(app, "init", epilog="Example: cuttable ledger init --ledger plant.db")
def init(*, who: Who = None) -> int:
    """Make a ledger. Its first release is what the tool brings: sections, grades, models, rules."""
    from ..catalogue.ledger.creation import make_ledger

    place = named_place()
    if place.kind == "sqlite" and place.path.exists() and not _is_ledger(place):
        raise InputError(
            "output-exists", "there is a file of this name, and it is no ledger",
            where=place.label, remedy="Give the ledger another name: --ledger PATH.",
        )  # fmt: skip
    documents = brought_here()
    make_ledger(place, person(who), documents).close()
    typer.echo(f"{place.label}: made, with the first release of {len(documents)} documents.")
    return 0


def _is_ledger(place: "Location") -> bool:
    """Say whether there is a ledger of some form at a place."""
    from ..catalogue.ledger.database import Ledger, read_form

    ledger = Ledger(place)
    try:
        return bool(read_form(ledger))
    except FileError:
        return False
    finally:
        ledger.close()


@command(app, "status", epilog="Example: cuttable ledger status")
def status(*, is_json: Json = False) -> int:
    """What is in force, what is waiting, and whether the tool brings something newer."""
    from ..catalogue.ledger.history import overview
    from ..catalogue.ledger.records import CATALOGUE, RULES, WHOLE, kind_of
    from ..catalogue.ledger.shipped import CATALOGUE_FILES, RULE_FILES, brought_digest
    from ..catalogue.store import FOLDER
    from ..rules.loader import FOLDER as RULES_FOLDER

    ledger = open_ledger()
    stands = overview(ledger)
    brought = {
        RULES: brought_digest(RULES_FOLDER, RULE_FILES),
        CATALOGUE: brought_digest(FOLDER, CATALOGUE_FILES),
    }
    content_of = {item.document: item.content for item in stands.in_force}
    other = [name for name, digest in brought.items() if content_of.get(name) != digest]
    if is_json:
        content = {
            "schema": "cuttable.ledger/1",
            "ledger": ledger.place.label,
            "in_force": [item._asdict() | {"ref": item.ref} for item in stands.in_force],
            "coming": [item.ref for item in stands.coming],
            "waiting": [{"ref": item.ref, "state": item.state, "author": item.author}
                        for item in stands.waiting],
            "other_than_brought": other,
        }  # fmt: skip
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import console, print_rows

    screen = console()
    screen.print(f"Ledger {ledger.place.label}", soft_wrap=True)
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
        screen.print(f"The tool brings other {name} than are in force: cuttable ledger renew",
                     soft_wrap=True)  # fmt: skip
    return 0


@command(app, "verify", epilog="Example: cuttable ledger verify")
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

    Exit status: 0 the ledger is as it was written, 1 something is wrong, 2 it cannot be read.
    """
    from ..catalogue.ledger.verify import has_entry, last_entry
    from ..catalogue.ledger.verify import verify as prove

    ledger = open_ledger()
    report = prove(ledger)
    if head and not has_entry(ledger, head):
        problem = "journal: the head that was noted is not in it: entries were cut off or changed"
        report = report._replace(problems=(*report.problems, problem))
    if is_json:
        content = {"schema": "cuttable.verification/1", **report._asdict(),
                   "head": last_entry(ledger), "problems": list(report.problems)}  # fmt: skip
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if report.problems else 0
    for problem in report.problems:
        typer.echo(problem)
    result = counted(len(report.problems), "problem") if report.problems else "as it was written"
    typer.echo(
        f"{counted(report.revisions, 'revision')}, {counted(report.contents, 'content')}, "
        f"{counted(report.entries, 'journal entry')}, {counted(report.answers, 'answer')}: {result}"
    )
    typer.echo(f"Head of the journal: {last_entry(ledger)[7:31]}")
    if report.problems:
        from ..catalogue.ledger.db_errors import newest_backups

        backups = newest_backups(ledger.place)
        if backups:
            typer.echo(f"The newest backup is {backups[0]}: cuttable ledger restore {backups[0]}")
        else:
            typer.echo(
                "No backup lies beside the ledger. Restore one kept elsewhere: cuttable ledger "
                "restore FILE. Without any, make a new ledger and take bundles from other ledgers: "
                "cuttable ledger init --ledger NEW, cuttable ledger import. Until then rest no job "
                "on "
                "what is named above."
            )
    return 1 if report.problems else 0


@command(app, "migrate", epilog="Example: cuttable ledger migrate --ledger plant.db")
def migrate() -> int:
    """Bring an older ledger to today's form. A copy of it is kept beside it."""
    from ..catalogue.ledger.creation import bring_up
    from ..catalogue.ledger.database import FORMS, Ledger

    ledger = Ledger(named_place())
    before, copy = bring_up(ledger)
    if before == FORMS[-1]:
        typer.echo(f"{ledger.place.label}: of today's form already ({before}).")
        return 0
    kept = f" The copy of it as it was: {copy}" if copy else ""
    typer.echo(f"{ledger.place.label}: brought from form {before} to {FORMS[-1]}.{kept}")
    return 0


@command(app, "renew", epilog="Example: cuttable ledger renew")
def renew(*, who: Who = None) -> int:
    """Submit what this tool brings and the ledger has not, for a person to approve.

    Documents that were changed here since they were brought are left alone.
    """
    from ..catalogue.ledger.releases import renew as take
    from ..engine.version import VERSION

    ledger = open_ledger()
    with ledger.writing(person(who)) as writing:
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
        typer.echo("The ledger has everything this tool brings.")
    return 0


app.add_typer(copies)
app.add_typer(exchange)
