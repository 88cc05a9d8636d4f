"""What a revision must be before it is submitted or approved: readable, whole, consistent."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from ..catalogue.book import lifecycle
from ..catalogue.book.connect import Book, Writing
from ..catalogue.book.contents import kept
from ..catalogue.book.held import Held
from ..catalogue.book.records import CATALOGUE, GRADES, RULES, SECTIONS, Revision, kind_of
from ..catalogue.errors import FileError
from ..catalogue.overlay import MARK, check_overlay
from ..catalogue.reading import KeptFiles
from ..catalogue.store import Catalogue, ModelFile, Own
from .book_desk import catalogue_files

if TYPE_CHECKING:
    from sqlalchemy import Connection

NOTHING: Final[Mapping[str, tuple[str, bytes]]] = MappingProxyType({})


def check_files(held: Held, document: str, files: Mapping[str, bytes], where: str) -> None:
    """Read the files of a revision as if it were in force, strictly.

    Args:
        held: what is in force otherwise.
        document: whose revision it is.
        files: its files.
        where: how to call it in messages.

    Raises:
        FileError: ``file-damaged`` or ``file-problems``, with every problem.
    """
    kind = kind_of(document)
    if kind == RULES:
        _check_rules(files, where)
        return
    if kind == CATALOGUE:
        catalogue = Catalogue(KeptFiles(files, where), models=held, own=held.own)
        _read_all(catalogue)
        return
    content = next(iter(files.values()), b"")
    kept = ModelFile(content, where)
    if kind in (SECTIONS, GRADES):
        own = held.own._replace(**{kind: kept})
        _read_all(Catalogue(catalogue_files(held), models=held, own=Own(*own)))
        return
    catalogue = Catalogue(catalogue_files(held), models=held, own=held.own)
    if kind == "overlay":
        model, _, name = document.partition(MARK)
        said = check_overlay(content, where, name)
        if said != model:
            raise FileError(
                "file-problems", "overlay is wrong", where=where,
                problems=[f"model: is {said!r}, but the overlay is kept for {model!r}."],
            )  # fmt: skip
        catalogue.overlaid(document, held.model(model), kept)
        return
    machine = catalogue.machine_content(content, where)
    if machine.code != document:
        raise FileError(
            "file-problems", "machine file is of another model", where=where,
            problems=[f"model: is {machine.code!r}, but the revision is of {document!r}."],
        )  # fmt: skip
    for overlay in held.overlays():
        if overlay.startswith(f"{document}{MARK}"):
            catalogue.overlaid(overlay, kept, held.overlay(overlay))


def check_schedule(
    held: Held, coming: Sequence[Revision], packed: Mapping[str, tuple[str, bytes]] = NOTHING
) -> None:
    """Read everything as it will be in force at each moment at which something takes effect.

    A site that fits its model today may not fit the one that is scheduled.

    Args:
        held: what is in force now.
        coming: approved revisions that the book does not count yet.
        packed: contents that the book does not have yet, by digest.

    Raises:
        FileError: ``file-problems`` and the like, for the first moment with a problem.
    """
    steps = [*held.scheduled(), *(
        (max(item.effective, held.mark.at), item.document, item.number, item.content)
        for item in coming
    )]  # fmt: skip
    first = min((item.effective for item in coming), default="")
    numbers: dict[str, tuple[int, str]] = {}
    for at, group in groupby(sorted(steps), key=lambda step: step[0]):
        for _, document, number, content in group:
            if number >= numbers.get(document, (0, ""))[0]:
                numbers[document] = (number, content)
        if at >= first:
            _check_moment(held.with_numbers(numbers, packed), at, numbers)


def check_revision(book: Book, connection: "Connection", revision: Revision) -> None:
    """Read a revision strictly, as if it were in force.

    Raises:
        FileError: with every problem of it.
    """
    held = Held(book.place, now=book.clock())
    try:
        files = kept(connection, revision.content, revision.document)
        check_files(held, revision.document, files, revision.ref)
    finally:
        held.close()


def submit(book: Book, writing: Writing, document: str, number: int, *, effective: str) -> Revision:
    """Read a draft strictly and freeze it; ``effective`` is a date as typed, or empty.

    Raises:
        FileError: see :func:`check_revision`.
        InputError: see :func:`cuttable.catalogue.book.lifecycle.submit`.
    """
    wanted = lifecycle.wanted_stamp(effective, book.clock())
    check_revision(book, writing.connection, _found(writing, document, number))
    return lifecycle.submit(writing, document, number, effective=wanted)


def approve(
    book: Book,
    writing: Writing,
    document: str,
    number: int,
    *,
    effective: str,
    without_impact: str,
) -> Revision:
    """Approve what can be read now, and with all else at each moment to come.

    Raises:
        FileError: see :func:`check_revision` and :func:`check_schedule`.
        InputError: see :func:`cuttable.catalogue.book.lifecycle.approve`.
    """
    wanted = lifecycle.wanted_stamp(effective, book.clock())
    old = _found(writing, document, number)
    if old.state == "submitted":
        check_revision(book, writing.connection, old)
    new = lifecycle.approve(
        writing, document, number, effective=wanted, without_impact=without_impact
    )
    check_approved(book, new)
    return new


def _found(writing: Writing, document: str, number: int) -> Revision:
    return lifecycle.revision(writing.connection, document, number)


def check_approved(book: Book, approved: Revision) -> None:
    """Read everything as it will be in force with a revision that is being approved.

    Raises:
        FileError: see :func:`check_schedule`.
    """
    held = Held(book.place, now=book.clock())
    try:
        check_schedule(held, [approved])
    finally:
        held.close()


def _check_moment(then: Held, at: str, changed: Mapping[str, tuple[int, str]]) -> None:
    try:
        if RULES in changed:
            number = changed[RULES][0]
            _check_rules(then.files(RULES), f"{RULES}/{number}")
        _read_all(Catalogue(catalogue_files(then), models=then, own=then.own))
    except FileError as fault:
        raise FileError(
            fault.code, f"from {at[:16].replace('T', ' ')} UTC on, {fault.what}",
            where=fault.where, problems=fault.problems,
            remedy=fault.remedy or "Change first what no longer fits: a site, a section, a grade.",
        ) from None  # fmt: skip


def _read_all(catalogue: Catalogue) -> None:
    """Read sections, grades and every machine that refers to them."""
    for _ in catalogue.tables.every_section():
        pass
    _ = catalogue.grades
    for code in (*catalogue.model_codes, *catalogue.overlays):
        catalogue.machine(code)


def _check_rules(files: Mapping[str, bytes], where: str) -> None:
    from ..rules.cases import load_cases
    from .inputs.contract import load_rules
    from .rulecheck import check_rules

    rule_set = load_rules(KeptFiles(files, where))
    cases = {
        name.removeprefix("cases/"): content
        for name, content in files.items()
        if name.startswith("cases/")
    }
    found = check_rules(rule_set, load_cases(rule_set, KeptFiles(cases, f"{where}, cases")))
    if found:
        raise FileError(
            "file-problems", "rule set has problems", where=where,
            problems=[problem.text for problem in found],
        )  # fmt: skip
