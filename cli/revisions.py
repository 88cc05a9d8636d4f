"""The steps of a revision as commands, the same for models, sites, rules, sections, grades."""

import json
import sys
from collections.abc import Callable, Generator, Mapping
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from ..catalogue.book.records import minute
from ..catalogue.errors import FileError, InputError
from ..catalogue.reading import Folder, read_bytes
from .desk import AS, open_book, person
from .rows import counted

if TYPE_CHECKING:
    from ..catalogue.book.connect import Book
    from ..catalogue.book.difference import Difference
    from ..catalogue.book.records import Entry, Revision

REASON = click.option("--reason", default=None, metavar="TEXT", help="Why.")
JSON = click.option("--json", "is_json", is_flag=True,
                    help="Print one JSON object and nothing else.")  # fmt: skip


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

    def name(self, text: str) -> str:
        """Return the document a person names.

        Raises:
            InputError: ``name-unusable``.
        """
        from ..catalogue.book.records import check_document

        if self.document:
            return self.document
        name = check_document(text)
        self._check_group(name)
        return name

    def _check_group(self, document: str, number: str = "") -> None:
        """Refuse a document of another group, and say how to type it there."""
        group = group_of(document)
        if group == self.group:
            return
        ctx = click.get_current_context(silent=True)
        step = ctx.info_name if ctx is not None else "history"
        typed = f"{document}/{number}" if number else document
        # Of a document that there is one of, the number will do.
        there = (number if group == document else typed) or ""
        form = {"sites": "MODEL@NAME", "machines": "the code of a model"}.get(self.group, "")
        hint = f"; here {form} is wanted, like {self.example}" if form else ""
        raise InputError(
            "name-unusable", f"{typed[:60]!r} is of the {group}, not of the {self.group}",
            remedy=f"Type: cuttable {group} {step} {there[:60]}".rstrip() + hint,
        )  # fmt: skip

    def ref(self, text: str) -> tuple[str, int]:
        """Read ``rowan-150/3``; where there is one document, ``3`` will do.

        Raises:
            InputError: ``revision-unknown`` or ``name-unusable``.
        """
        from ..catalogue.book.records import parse_ref

        if self.document and text.strip().isdecimal():
            text = f"{self.document}/{text.strip()}"
        document, number = parse_ref(text)
        self._check_group(document, str(number))
        return document, number


def group_of(document: str) -> str:
    """Return the group of commands that a document belongs to."""
    from ..catalogue.book.records import kind_of

    kind = kind_of(document)
    return {"machine": "machines", "overlay": "sites"}.get(kind, kind)


def add_revision_commands(group: click.Group, kind: Kind) -> None:
    """Add draft, edit, submit, return, withdraw, approve, history and diff to a group."""
    for make in (
        _draft, _edit, _submit, _return, _withdraw, _approve, _revoke, _history, _diff,
    ):  # fmt: skip
        group.add_command(make(kind))


def _with_name(kind: Kind) -> Callable[[Any], Any]:
    """Return the argument that names a document, or none where there is only one."""
    if kind.document:
        return lambda function: function
    return click.argument("name", metavar="MODEL@NAME" if kind.group == "sites" else "MODEL")


def _example(kind: Kind, rest: str) -> str:
    return f"Example: cuttable {kind.group} {rest}"


def _from(kind: Kind) -> Callable[[Any], Any]:
    return click.option(
        "--from", "source", type=click.Path(path_type=Path), default=None,
        metavar="FOLDER" if kind.patterns else "FILE.toml", help="Take it from here.",
    )  # fmt: skip


def _draft(kind: Kind) -> click.Command:
    @click.command(
        "draft",
        epilog=_example(
            kind, f'draft {"" if kind.document else kind.example + " "}--reason "new bearings"'
        ),
    )
    @_with_name(kind)
    @_from(kind)
    @REASON
    @click.option("--evidence", default="", metavar="TEXT", help="What it rests on.")
    @AS
    def draft(
        *, source: Path | None, reason: str | None, evidence: str, who: str | None, name: str = ""
    ) -> int:
        """Begin a revision: a copy of the one approved last, to be edited, or of files given."""
        from ..catalogue.book import lifecycle

        document = kind.name(name)
        files = None if source is None else read_files(kind, source)
        book = open_book(is_made=True)
        with book.reading() as connection:
            is_new = lifecycle.latest_approved(connection, document) is None
        if is_new and files is None and kind.begin:
            model, _, site = document.partition("@")
            files = {f"{document}.toml": kind.begin.format(model=model, site=site).encode()}
        with book.writing(person(who)) as writing:
            made = lifecycle.draft(writing, document, files, reason=reason or "", evidence=evidence)
        source_words = f"from revision {made.base}" if made.base else "as the first revision"
        click.echo(f"{made.ref}: drafted {source_words} by {made.author}.")
        _tell_coming(book, made)
        _tell_problems(book, made)
        click.echo(f"Edit it: cuttable {kind.group} edit {made.ref}")
        return 0

    return draft


def _edit(kind: Kind) -> click.Command:
    @click.command("edit", epilog=_example(kind, f"edit {kind.example}/2 --to draft.toml"))
    @click.argument("ref", metavar="REVISION")
    @click.option("--to", "target", type=click.Path(path_type=Path), default=None,
                  metavar="FOLDER" if kind.patterns else "FILE.toml",
                  help="Write the draft there, to be edited.")  # fmt: skip
    @_from(kind)
    @REASON
    @click.option("--evidence", default=None, metavar="TEXT", help="What it rests on.")
    @AS
    def edit(
        *, ref: str, target: Path | None, source: Path | None, reason: str | None,
        evidence: str | None, who: str | None,
    ) -> int:  # fmt: skip
        """Edit a draft: in your editor, or through a file: first --to FILE, then --from FILE."""
        from ..catalogue.book import contents, lifecycle

        document, number = kind.ref(ref)
        _check_edit(target, source, reason, evidence)
        book = open_book()
        with book.reading() as connection:
            old = lifecycle.revision(connection, document, number)
            files = contents.kept(connection, old.content, document)
        if target is not None:
            write_files(kind, files, target)
            click.echo(f"{old.ref} is in {target}. {_after_writing(kind, old, target)}")
            return 0
        editor = _Editor(kind, old)
        editor.check_state(old)
        changed = None if source is None else read_files(kind, source)
        if source is None and reason is None and evidence is None:
            changed = editor.edited(files)
            if changed is None:
                click.echo(f"{old.ref}: nothing was changed.")
                return 0
        with editor.saving(), book.writing(person(who)) as writing:
            editor.check_same(lifecycle.revision(writing.connection, document, number))
            new = lifecycle.edit(
                writing, document, number, files=changed, reason=reason, evidence=evidence
            )
        click.echo(f"{new.ref}: changed by {writing.who}.")
        _tell_problems(book, new)
        return 0

    return edit


def _check_edit(
    target: Path | None, source: Path | None, reason: str | None, evidence: str | None
) -> None:
    """Refuse options that do not go together, and a reason of no words."""
    from ..catalogue.book.records import words

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
        place = "FOLDER" if self.kind.patterns else "FILE.toml"
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
        text = click.edit(content.decode("utf-8", "replace"), extension=".toml")
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
        """Save the edited text to a file where the book does not take it: it was work."""
        try:
            yield
        except (FileError, InputError):
            if self.text:
                click.echo(f"What you wrote is in {self._saved()}.", err=True)
            raise

    def _saved(self) -> Path:
        from .files import write_whole

        name = f"{self.old.document}-{self.old.number}"
        paths = (Path(f"{name}.edited{number or ''}.toml") for number in count())
        path = next(path for path in paths if not path.exists())
        write_whole(path, self.text.encode(), "the edited text")
        return path


def _submit(kind: Kind) -> click.Command:
    @click.command("submit", epilog=_example(kind, f"submit {kind.example}/2"))
    @click.argument("ref", metavar="REVISION")
    @click.option("--effective", default="", metavar="DATE",
                  help="When it should take effect (UTC); else on approval.")  # fmt: skip
    @AS
    def submit(*, ref: str, effective: str, who: str | None) -> int:
        """Freeze a draft for another person to approve. It is read strictly first."""
        from ..engine import revision_check

        document, number = kind.ref(ref)
        book = open_book()
        with book.writing(person(who)) as writing:
            new = revision_check.submit(book, writing, document, number, effective=effective)
        step = f"cuttable {kind.group} approve {new.ref}"
        if new.base and not new.impact:
            step = f"cuttable impact {new.ref} --backlog FILE, then {step}"
        click.echo(f"{new.ref}: submitted. Next, another person: {step}")
        return 0

    return submit


def _return(kind: Kind) -> click.Command:
    @click.command("return", epilog=_example(kind, f'return {kind.example}/2 --reason "no test"'))
    @click.argument("ref", metavar="REVISION")
    @REASON
    @AS
    def give_back(*, ref: str, reason: str | None, who: str | None) -> int:
        """Give a submitted revision back to its author: it is a draft again."""
        from ..catalogue.book import lifecycle

        document, number = kind.ref(ref)
        if not (reason or "").strip():
            raise InputError(
                "reason-missing", "a revision is not given back without a reason",
                where="--reason", remedy="Tell its author what to put right: --reason TEXT.",
            )  # fmt: skip
        with open_book().writing(person(who)) as writing:
            new = lifecycle.give_back(writing, document, number, reason=reason or "")
        click.echo(f"{new.ref}: given back to {new.author}.")
        return 0

    return give_back


def _withdraw(kind: Kind) -> click.Command:
    @click.command("withdraw", epilog=_example(kind, f"withdraw {kind.example}/2"))
    @click.argument("ref", metavar="REVISION")
    @REASON
    @AS
    def withdraw(*, ref: str, reason: str | None, who: str | None) -> int:
        """Give up a revision that is not approved. It stays in the book."""
        from ..catalogue.book import lifecycle

        document, number = kind.ref(ref)
        with open_book().writing(person(who)) as writing:
            new = lifecycle.withdraw(writing, document, number, reason=reason or "")
        click.echo(f"{new.ref}: withdrawn.")
        return 0

    return withdraw


def _approve(kind: Kind) -> click.Command:
    @click.command("approve", epilog=_example(kind, f"approve {kind.example}/2"))
    @click.argument("ref", metavar="REVISION")
    @click.option("--effective", default="", metavar="DATE",
                  help="When it takes effect (UTC); else as its author wants.")  # fmt: skip
    @click.option("--without-impact", default="", metavar="REASON",
                  help="Why no report of its impact is needed.")  # fmt: skip
    @AS
    def approve(*, ref: str, effective: str, without_impact: str, who: str | None) -> int:
        """Approve a submitted revision, as a person who had no hand in it."""
        from ..catalogue.book import lifecycle
        from ..engine import revision_check

        document, number = kind.ref(ref)
        book = open_book()
        with book.writing(person(who)) as writing:
            new = revision_check.approve(
                book, writing, document, number,
                effective=effective, without_impact=without_impact,
            )  # fmt: skip
        if new.impact and not new.without_impact:
            click.echo(f"Its report: {report_told(book, new)}.")
        begins = lifecycle.effective_date(new)
        when = "now" if new.effective == new.approved else f"from {begins:%Y-%m-%d %H:%M} UTC"
        click.echo(f"{new.ref}: approved by {new.approver}, in force {when}.")
        return 0

    return approve


def report_told(book: "Book", item: "Revision") -> str:
    """Return what a report has looked at, in words."""
    from ..catalogue.book import contents, lifecycle

    with book.reading() as connection:
        (report,) = contents.kept(connection, item.impact, item.ref).values()
    answers, changed = lifecycle.jobs_of(report)
    return f"{counted(answers, 'answer')} looked at, {changed} of them changed"


def _revoke(kind: Kind) -> click.Command:
    @click.command("revoke", epilog=_example(kind, f'revoke {kind.example}/2 --reason "too early"'))
    @click.argument("ref", metavar="REVISION")
    @REASON
    @AS
    def revoke(*, ref: str, reason: str | None, who: str | None) -> int:
        """Take back an approval that is not yet in force, as a person who did not write it."""
        from ..catalogue.book import lifecycle

        document, number = kind.ref(ref)
        with open_book().writing(person(who)) as writing:
            new = lifecycle.revoke(writing, document, number, reason=reason or "")
        click.echo(f"{new.ref}: revoked. What is in force stays so.")
        return 0

    return revoke


def _history(kind: Kind) -> click.Command:
    @click.command(
        "history", epilog=_example(kind, f"history{'' if kind.document else ' ' + kind.example}")
    )
    @_with_name(kind)
    @JSON
    def history(*, is_json: bool, name: str = "") -> int:
        """Who changed what, when, why, and who approved it."""
        from ..catalogue.book import history as told
        from ..catalogue.book.lifecycle import revisions
        from ..catalogue.book.records import stamp

        document = kind.name(name)
        book = open_book()
        with book.reading() as connection:
            is_none = bool(kind.begin and kind.document) and not revisions(connection, document)
            found = told.History([], {}, []) if is_none else told.history(connection, document)
        now = stamp(book.clock())
        if is_json:
            _print_json("cuttable.history/1", document=document, revisions=[
                item._asdict() | {"ref": item.ref, "standing": told.standing(item, found, now)}
                for item in found.revisions
            ], journal=[entry._asdict() for entry in found.entries])  # fmt: skip
            return 0
        if is_none:
            click.echo(f"There are none of your own yet: cuttable {kind.group} draft")
            return 0
        _print_history(found, now)
        return 0

    return history


def _print_history(found: Any, now: str) -> None:
    from ..catalogue.book import history as told
    from .render import console, print_rows
    from .rows import paragraph

    screen = console()
    print_rows(
        ("revision", "standing", "in force from", "author", "approver", "why"),
        (
            (item.ref, told.standing(item, found, now), item.effective[:10], item.author,
             item.approver, item.reason.replace("\n", " "))
            for item in found.revisions
        ),
    )  # fmt: skip
    for item in found.revisions:
        changed = found.changes.get(item.number, [])
        if not item.base or not changed:
            continue
        screen.print(f"\n{item.ref} against {item.document}/{item.base}")
        for change in changed[:12]:
            screen.print(paragraph(change.text(), screen.width, indent=2, mark="- "))
        if len(changed) > 12:
            group = group_of(item.document)
            screen.print(f"  and {len(changed) - 12} more: cuttable {group} diff {item.ref}")
        if item.evidence:
            screen.print(paragraph(f"Evidence: {item.evidence}", screen.width, indent=2))
        if item.without_impact:
            text = f"Approved without a report of its impact: {item.without_impact}"
            screen.print(paragraph(text, screen.width, indent=2))
    screen.print("")
    print_rows(("when (UTC)", "who", "did", "revision"), (_entry_row(e) for e in found.entries))


def _entry_row(entry: "Entry") -> tuple[str, ...]:
    return (minute(entry.at).removesuffix(" UTC"), entry.who, entry.action,
            f"{entry.document}/{entry.number}")  # fmt: skip


def _diff(kind: Kind) -> click.Command:
    @click.command("diff", epilog=_example(kind, f"diff {kind.example}/1 {kind.example}/2"))
    @click.argument("first", metavar="REVISION")
    @click.argument("second", metavar="[REVISION]", required=False, default="")
    @JSON
    def diff(*, first: str, second: str, is_json: bool) -> int:
        """What differs between two revisions; of one, against the one it was drafted from."""
        from ..catalogue.book import history as told
        from ..catalogue.book import lifecycle

        with open_book().reading() as connection:
            new = lifecycle.revision(connection, *kind.ref(second or first))
            if second:
                old = lifecycle.revision(connection, *kind.ref(first))
            elif new.base:
                old = lifecycle.revision(connection, new.document, new.base)
            else:
                raise InputError(
                    "revision-unknown", f"{new.ref} is the first revision",
                    remedy="Name two revisions.",
                )  # fmt: skip
            changed = told.changes(connection, old, new)
        if is_json:
            _print_json("cuttable.difference/1", before=old.ref, after=new.ref,
                        differences=[item._asdict() for item in changed])  # fmt: skip
            return 0
        print_differences(old.ref, new.ref, changed, is_same=old.content == new.content)
        return 0

    return diff


def print_differences(
    before: str, after: str, changed: "list[Difference]", *, is_same: bool
) -> None:
    """Print what differs between two revisions."""
    from .render import console
    from .rows import paragraph

    screen = console()
    if is_same:
        screen.print(f"{before} and {after} are the same.")
        return
    if not changed:
        from ..catalogue.book.difference import NOTHING

        screen.print(f"{before} → {after}: {NOTHING} differs.")
        return
    screen.print(f"{before} → {after}")
    for item in changed:
        screen.print(paragraph(item.text(), screen.width, indent=2, mark="- "))


def _print_json(schema: str, **content: Any) -> None:
    click.echo(json.dumps({"schema": schema, **content}, ensure_ascii=False, indent=2))


# --- files --------------------------------------------------------------------------------


def read_files(kind: Kind, source: Path) -> dict[str, bytes]:
    """Return the files of a revision from a file or folder.

    Raises:
        FileError: ``file-missing`` or ``file-damaged``.
    """
    contents = _read_folder(kind, source) if kind.patterns else {source.name: read_bytes(source)}
    for name, content in contents.items():
        try:
            content.decode("utf-8")
        except UnicodeDecodeError:
            raise FileError("file-damaged", f"{name} is not UTF-8 text", where=str(source),
                            remedy="Save it as UTF-8 in your editor.") from None  # fmt: skip
    return contents


def _read_folder(kind: Kind, source: Path) -> dict[str, bytes]:
    """Return the files of a folder that make up a revision, all that it needs among them.

    Raises:
        FileError: ``file-missing``.
    """
    from ..catalogue.book.brought import gathered

    remedy = f"Name a folder with {', '.join(kind.patterns)}: edit --to FOLDER writes one."
    if not source.is_dir():
        told = "it is a file, and a folder is wanted" if source.exists() else "no such folder"
        raise FileError("file-missing", told, where=str(source), remedy=remedy)
    files = gathered(Folder(source), kind.patterns)
    missing = [name for name in kind.needed if name not in files]
    if missing or not files:
        raise FileError(
            "file-missing", f"the folder lacks {', '.join(missing) or 'such files'}",
            where=str(source), remedy=remedy,
        )  # fmt: skip
    return files


def write_files(kind: Kind, files: Mapping[str, bytes], target: Path) -> None:
    """Write the files of a revision to a new file or folder.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable``.
    """
    from .files import write_whole

    if target.exists():
        raise InputError("output-exists", "there is such a file already", where=str(target),
                         remedy="Choose another name.")  # fmt: skip
    if not kind.patterns:
        write_whole(target, next(iter(files.values())), "the draft")
        return
    for name, content in files.items():
        path = target / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise FileError("output-unwritable", f"the folder cannot be made ({fault.strerror})",
                            where=str(path.parent)) from None  # fmt: skip
        write_whole(path, content, "the draft")


# --- strict reading -----------------------------------------------------------------------


def _tell_problems(book: "Book", revision: "Revision") -> None:
    """Tell what must still be put right in a draft before it can be submitted."""
    from ..catalogue.book import lifecycle
    from ..engine.revision_check import check_revision

    try:
        with book.reading() as connection:
            lifecycle.check_base(connection, revision)
            check_revision(book, connection, revision)
    except (FileError, InputError) as fault:
        click.echo(f"Before it can be submitted: {fault}", err=True)


def _tell_coming(book: "Book", made: "Revision") -> None:
    """Say that a draft was made from a revision that no answer rests on yet."""
    from ..catalogue.book import lifecycle

    if not made.base:
        return
    with book.reading() as connection:
        told = coming(book, lifecycle.revision(connection, made.document, made.base))
    if told:
        click.echo(told, err=True)


def coming(book: "Book", base: "Revision") -> str:
    """Return in a sentence that a revision is approved but not yet in force; else nothing."""
    from ..catalogue.book.records import stamp

    if base.effective <= stamp(book.clock()):
        return ""
    return (
        f"{base.ref}, which it is drafted from, is approved but not in force before "
        f"{minute(base.effective)}."
    )
