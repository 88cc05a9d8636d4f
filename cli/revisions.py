"""The steps of a revision as commands, the same for models, sites, rules, sections, grades."""

from pathlib import Path
from typing import Annotated

import typer

from ..catalogue.errors import InputError
from .context import open_ledger, person
from .options import Json, Who, command
from .revision_edit import add_edit
from .revision_files import read_files
from .revision_kind import Kind, Reason, Ref, example
from .revision_words import (
    print_differences,
    print_history,
    print_json,
    report_told,
    tell_coming,
    tell_problems,
)


def add_revision_commands(app: typer.Typer, kind: Kind) -> None:
    """Add draft, edit, submit, return, withdraw, approve, revoke, history and diff to a group."""
    for add in (
        _draft, add_edit, _submit, _return, _withdraw, _approve, _revoke, _history, _diff,
    ):  # fmt: skip
        add(app, kind)


def _draft(app: typer.Typer, kind: Kind) -> None:
    @command(
        app,
        "draft",
        fixed=kind.fixed,
        epilog=example(
            kind, f'draft {"" if kind.document else kind.example + " "}--reason "new bearings"'
        ),
    )
    def draft(
        name: Annotated[
            str, typer.Argument(metavar=kind.named, help=f"Its name, like {kind.example}.")
        ],
        *,
        source: Annotated[
            Path | None, typer.Option("--from", metavar=kind.place, help="Take it from here.")
        ] = None,
        reason: Reason = None,
        evidence: Annotated[
            str, typer.Option("--evidence", metavar="TEXT", help="What it rests on.")
        ] = "",
        who: Who = None,
    ) -> int:
        """Begin a revision: a copy of the one approved last, to be edited, or of files given."""
        from ..catalogue.ledger import lifecycle

        document = kind.name(name, "draft")
        files = None if source is None else read_files(kind, source)
        ledger = open_ledger(is_made=True)
        with ledger.reading() as connection:
            is_new = lifecycle.latest_approved(connection, document) is None
        if is_new and files is None and kind.begin:
            model, _, site = document.partition("@")
            files = {f"{document}.toml": kind.begin.format(model=model, site=site).encode()}
        with ledger.writing(person(who)) as writing:
            made = lifecycle.draft(writing, document, files, reason=reason or "", evidence=evidence)
        source_words = f"from revision {made.base}" if made.base else "as the first revision"
        typer.echo(f"{made.ref}: drafted {source_words} by {made.author}.")
        tell_coming(ledger, made)
        tell_problems(ledger, made)
        typer.echo(f"Edit it: cuttable {kind.group} edit {made.ref}")
        return 0


def _submit(app: typer.Typer, kind: Kind) -> None:
    @command(app, "submit", epilog=example(kind, f"submit {kind.example}/2"))
    def submit(
        ref: Ref,
        *,
        effective: Annotated[
            str,
            typer.Option(
                "--effective",
                metavar="DATE",
                help="When it should take effect (UTC); else on approval.",
            ),
        ] = "",
        who: Who = None,
    ) -> int:
        """Freeze a draft for another person to approve. It is read strictly first."""
        from ..engine.review import revision_check

        document, number = kind.ref(ref, "submit")
        ledger = open_ledger()
        with ledger.writing(person(who)) as writing:
            new = revision_check.submit(ledger, writing, document, number, effective=effective)
        step = f"cuttable {kind.group} approve {new.ref}"
        if new.base and not new.impact:
            step = f"cuttable impact {new.ref} --backlog FILE, then {step}"
        typer.echo(f"{new.ref}: submitted. Next, another person: {step}")
        return 0


def _return(app: typer.Typer, kind: Kind) -> None:
    @command(app, "return", epilog=example(kind, f'return {kind.example}/2 --reason "no test"'))
    def give_back(ref: Ref, *, reason: Reason = None, who: Who = None) -> int:
        """Give a submitted revision back to its author: it is a draft again."""
        from ..catalogue.ledger import lifecycle

        document, number = kind.ref(ref, "return")
        if not (reason or "").strip():
            raise InputError(
                "reason-missing", "a revision is not given back without a reason",
                where="--reason", remedy="Tell its author what to put right: --reason TEXT.",
            )  # fmt: skip
        with open_ledger().writing(person(who)) as writing:
            new = lifecycle.give_back(writing, document, number, reason=reason or "")
        typer.echo(f"{new.ref}: given back to {new.author}.")
        return 0


def _withdraw(app: typer.Typer, kind: Kind) -> None:
    @command(app, "withdraw", epilog=example(kind, f"withdraw {kind.example}/2"))
    def withdraw(ref: Ref, *, reason: Reason = None, who: Who = None) -> int:
        """Give up a revision that is not approved. It stays in the ledger."""
        from ..catalogue.ledger import lifecycle

        document, number = kind.ref(ref, "withdraw")
        with open_ledger().writing(person(who)) as writing:
            new = lifecycle.withdraw(writing, document, number, reason=reason or "")
        typer.echo(f"{new.ref}: withdrawn.")
        return 0


def _approve(app: typer.Typer, kind: Kind) -> None:
    @command(app, "approve", epilog=example(kind, f"approve {kind.example}/2"))
    def approve(
        ref: Ref,
        *,
        effective: Annotated[
            str,
            typer.Option("--effective", metavar="DATE",
                         help="When it takes effect (UTC); else as its author wants."),
        ] = "",
        without_impact: Annotated[
            str,
            typer.Option("--without-impact", metavar="REASON",
                         help="Why no report of its impact is needed."),
        ] = "",
        who: Who = None,
    ) -> int:  # fmt: skip
        """Approve a submitted revision, as a person who had no hand in it."""
        from ..catalogue.ledger import lifecycle
        from ..engine.review import revision_check

        document, number = kind.ref(ref, "approve")
        ledger = open_ledger()
        with ledger.writing(person(who)) as writing:
            new = revision_check.approve(
                ledger, writing, document, number,
                effective=effective, without_impact=without_impact,
            )  # fmt: skip
        if new.impact and not new.without_impact:
            typer.echo(f"Its report: {report_told(ledger, new)}.")
        begins = lifecycle.effective_date(new)
        when = "now" if new.effective == new.approved else f"from {begins:%Y-%m-%d %H:%M} UTC"
        typer.echo(f"{new.ref}: approved by {new.approver}, in force {when}.")
        return 0


def _revoke(app: typer.Typer, kind: Kind) -> None:
    @command(app, "revoke", epilog=example(kind, f'revoke {kind.example}/2 --reason "too early"'))
    def revoke(ref: Ref, *, reason: Reason = None, who: Who = None) -> int:
        """Take back an approval that is not yet in force, as a person who did not write it."""
        from ..catalogue.ledger import lifecycle

        document, number = kind.ref(ref, "revoke")
        with open_ledger().writing(person(who)) as writing:
            new = lifecycle.revoke(writing, document, number, reason=reason or "")
        typer.echo(f"{new.ref}: revoked. What is in force stays so.")
        return 0


def _history(app: typer.Typer, kind: Kind) -> None:
    @command(
        app,
        "history",
        fixed=kind.fixed,
        epilog=example(kind, f"history{'' if kind.document else ' ' + kind.example}"),
    )
    def history(
        name: Annotated[
            str, typer.Argument(metavar=kind.named, help=f"Its name, like {kind.example}.")
        ],
        *,
        is_json: Json = False,
    ) -> int:
        """Who changed what, when, why, and who approved it."""
        from ..catalogue.ledger import history as told
        from ..catalogue.ledger.lifecycle import revisions
        from ..catalogue.ledger.records import stamp

        document = kind.name(name, "history")
        ledger = open_ledger()
        with ledger.reading() as connection:
            is_none = bool(kind.begin and kind.document) and not revisions(connection, document)
            found = told.History([], {}, []) if is_none else told.history(connection, document)
        now = stamp(ledger.clock())
        if is_json:
            print_json("cuttable.history/1", document=document, revisions=[
                item._asdict() | {"ref": item.ref, "standing": told.standing(item, found, now)}
                for item in found.revisions
            ], journal=[entry._asdict() for entry in found.entries])  # fmt: skip
            return 0
        if is_none:
            typer.echo(f"There are none of your own yet: cuttable {kind.group} draft")
            return 0
        print_history(found, now)
        return 0


def _diff(app: typer.Typer, kind: Kind) -> None:
    @command(app, "diff", epilog=example(kind, f"diff {kind.example}/1 {kind.example}/2"))
    def diff(
        first: Annotated[str, typer.Argument(metavar="REVISION", help="The one revision.")],
        second: Annotated[
            str,
            typer.Argument(metavar="[REVISION]", show_default=False,
                           help="The other; else the one that the first was drafted from."),
        ] = "",
        *,
        is_json: Json = False,
    ) -> int:  # fmt: skip
        """What differs between two revisions; of one, against the one it was drafted from."""
        from ..catalogue.ledger import history as told
        from ..catalogue.ledger import lifecycle

        with open_ledger().reading() as connection:
            new = lifecycle.revision(connection, *kind.ref(second or first, "diff"))
            if second:
                old = lifecycle.revision(connection, *kind.ref(first, "diff"))
            elif new.base:
                old = lifecycle.revision(connection, new.document, new.base)
            else:
                raise InputError(
                    "revision-unknown", f"{new.ref} is the first revision",
                    remedy="Name two revisions.",
                )  # fmt: skip
            changed = told.changes(connection, old, new)
        if is_json:
            print_json("cuttable.difference/1", before=old.ref, after=new.ref,
                        differences=[item._asdict() for item in changed])  # fmt: skip
            return 0
        print_differences(old.ref, new.ref, changed, is_same=old.content == new.content)
        return 0
