"""What a revision must be before it is submitted or approved: readable, whole, consistent."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from ...catalogue.errors import FileError
from ...catalogue.files.file_source import KeptFiles
from ...catalogue.ledger import lifecycle
from ...catalogue.ledger.blobs import kept
from ...catalogue.ledger.database import Ledger, Writing
from ...catalogue.ledger.records import CATALOGUE, GRADES, RULES, SECTIONS, Revision, kind_of
from ...catalogue.ledger.snapshot import Snapshot
from ...catalogue.machines.site_overlay import MARK, check_overlay
from ...catalogue.store import Catalogue, ModelFile, Own
from .ledger_assessor import catalogue_files

if TYPE_CHECKING:
    from sqlalchemy import Connection

NOTHING: Final[Mapping[str, tuple[str, bytes]]] = MappingProxyType({})


def check_files(snapshot: Snapshot, document: str, files: Mapping[str, bytes], where: str) -> None:
    """Read the files of a revision as if it were in force, strictly.

    Args:
        snapshot: what is in force otherwise.
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
        catalogue = Catalogue(KeptFiles(files, where), models=snapshot, own=snapshot.own)
        _read_all(catalogue)
        return
    content = next(iter(files.values()), b"")
    kept = ModelFile(content, where)
    if kind in (SECTIONS, GRADES):
        own = snapshot.own._replace(**{kind: kept})
        _read_all(Catalogue(catalogue_files(snapshot), models=snapshot, own=Own(*own)))
        return
    catalogue = Catalogue(catalogue_files(snapshot), models=snapshot, own=snapshot.own)
    if kind == "overlay":
        model, _, name = document.partition(MARK)
        said = check_overlay(content, where, name)
        if said != model:
            raise FileError(
                "file-problems", "overlay is wrong", where=where,
                problems=[f"model: is {said!r}, but the overlay is kept for {model!r}."],
            )  # fmt: skip
        catalogue.overlaid(document, snapshot.model(model), kept)
        return
    machine = catalogue.machine_content(content, where)
    if machine.code != document:
        raise FileError(
            "file-problems", "machine file is of another model", where=where,
            problems=[f"model: is {machine.code!r}, but the revision is of {document!r}."],
        )  # fmt: skip
    for overlay in snapshot.overlays():
        if overlay.startswith(f"{document}{MARK}"):
            catalogue.overlaid(overlay, kept, snapshot.overlay(overlay))


def check_schedule(
    snapshot: Snapshot,
    coming: Sequence[Revision],
    packed: Mapping[str, tuple[str, bytes]] = NOTHING,
) -> None:
    """Read everything as it will be in force at each moment at which something takes effect.

    A site that fits its model today may not fit the one that is scheduled.

    Args:
        snapshot: what is in force now.
        coming: approved revisions that the ledger does not count yet.
        packed: contents that the ledger does not have yet, by digest.

    Raises:
        FileError: ``file-problems`` and the like, for the first moment with a problem.
    """
    steps = [*snapshot.scheduled(), *(
        (max(item.effective, snapshot.mark.at), item.document, item.number, item.content)
        for item in coming
    )]  # fmt: skip
    first = min((item.effective for item in coming), default="")
    numbers: dict[str, tuple[int, str]] = {}
    for at, group in groupby(sorted(steps), key=lambda step: step[0]):
        for _, document, number, content in group:
            if number >= numbers.get(document, (0, ""))[0]:
                numbers[document] = (number, content)
        if at >= first:
            _check_moment(snapshot.with_numbers(numbers, packed), at, numbers)


def check_revision(ledger: Ledger, connection: "Connection", revision: Revision) -> None:
    """Read a revision strictly, as if it were in force.

    Raises:
        FileError: with every problem of it.
    """
    snapshot = Snapshot(ledger.place, now=ledger.clock())
    try:
        files = kept(connection, revision.content, revision.document)
        check_files(snapshot, revision.document, files, revision.ref)
    finally:
        snapshot.close()


def submit(
    ledger: Ledger, writing: Writing, document: str, number: int, *, effective: str
) -> Revision:
    """Read a draft strictly and freeze it; ``effective`` is a date as typed, or empty.

    Raises:
        FileError: see :func:`check_revision`.
        InputError: see :func:`cuttable.catalogue.ledger.lifecycle.submit`.
    """
    wanted = lifecycle.wanted_stamp(effective, ledger.clock())
    check_revision(ledger, writing.connection, _found(writing, document, number))
    return lifecycle.submit(writing, document, number, effective=wanted)


def approve(
    ledger: Ledger,
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
        InputError: see :func:`cuttable.catalogue.ledger.lifecycle.approve`.
    """
    wanted = lifecycle.wanted_stamp(effective, ledger.clock())
    old = _found(writing, document, number)
    if old.state == "submitted":
        check_revision(ledger, writing.connection, old)
    new = lifecycle.approve(
        writing, document, number, effective=wanted, without_impact=without_impact
    )
    check_approved(ledger, new)
    return new


def _found(writing: Writing, document: str, number: int) -> Revision:
    return lifecycle.revision(writing.connection, document, number)


def check_approved(ledger: Ledger, approved: Revision) -> None:
    """Read everything as it will be in force with a revision that is being approved.

    Raises:
        FileError: see :func:`check_schedule`.
    """
    snapshot = Snapshot(ledger.place, now=ledger.clock())
    try:
        check_schedule(snapshot, [approved])
    finally:
        snapshot.close()


def _check_moment(then: Snapshot, at: str, changed: Mapping[str, tuple[int, str]]) -> None:
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
    from ...rules.cases import load_cases
    from ..decision.rule_check import check_rules
    from ..inputs.contract import load_rules

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
