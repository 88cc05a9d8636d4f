"""Limits as a page tells them: a model's limits in words and units, a document's history."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from ...catalogue.ledger.records import CATALOGUE, GRADES, RULES, SECTIONS, Entry, kind_of
from ...catalogue.machines.model import Limit, MachineModel
from ...engine.answer.wording import System, show
from ...engine.assessor import AssessorCore
from ...engine.impact.model import KINDS
from ...engine.impact.text import TITLES

GROUPS: Final = (
    ("machine", "Models"), ("overlay", "Sites"), (RULES, "Rules"), (SECTIONS, "Own sections"),
    (GRADES, "Own grades"), (CATALOGUE, "Catalogue"),
)  # fmt: skip
MANY: Final = frozenset({RULES, CATALOGUE})
"""Documents of many files, which are edited with the command line."""
STEPS: Final = {
    "draft": "drafted", "edit": "edited", "submit": "submitted", "return": "gave back",
    "withdraw": "withdrew", "impact": "attached a report to", "approve": "approved",
    "revoke": "revoked", "release": "released", "import": "brought in", "renew": "renewed",
}  # fmt: skip
"""What a person did, in words; what is not here is told as the ledger names it."""


class LimitLine(NamedTuple):
    """One limit of a model."""

    title: str
    minimum: str
    rated: str
    absolute: str
    basis: str


def limit_lines(assessor: AssessorCore, machine: MachineModel, system: System) -> list[LimitLine]:
    """Return every limit a model states."""
    vocabulary = assessor.rule_set.vocabulary
    lines: list[LimitLine] = []
    for name, limit in machine.limits.items():
        unit, _ = vocabulary.limits[name]
        lines.append(_line(vocabulary.titles.get(name, name), limit, unit, system))
    for family, limit in machine.wall.items():
        lines.append(_line(f"wall, {family.replace('-', ' ')}", limit, "mm", system))
    for support in machine.supports:
        title = f"load of a support: {support.title}"
        lines.append(_line(title, support.reaction, "N", system))
    return lines


def _line(title: str, limit: Limit, unit: str, system: System) -> LimitLine:
    def told(value: float) -> str:
        return show(value, unit, system, digits=4) if math.isfinite(value) else ""

    return LimitLine(title, told(limit.minimum), told(limit.rated), told(limit.absolute),
                     limit.basis)  # fmt: skip


def grouped(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """Return documents by kind, in the order in which they are looked for."""
    found: list[tuple[str, list[Mapping[str, Any]]]] = []
    for kind, title in GROUPS:
        items = [row for row in rows if kind_of(row["document"]) == kind]
        if items:
            found.append((title, items))
    return found


def step_words(entry: Entry) -> str:
    """Return what an entry of the journal tells: who did what."""
    return f"{entry.who} {STEPS.get(entry.action, entry.action)} revision {entry.number}"


class ImpactLine(NamedTuple):
    """A group of answers that change."""

    title: str
    jobs: int
    before: str
    after: str
    causes: tuple[tuple[int, str, str], ...]


def impact_lines(report: Mapping[str, Any], titles: Mapping[str, str]) -> list[ImpactLine]:
    """Return the groups of an attached report, what is newly refused first."""

    def told(code: str) -> str:
        if not code:
            return "nothing against it"
        return f"{titles[code]} ({code})" if code in titles else code

    return [
        ImpactLine(
            str(TITLES.get(group["kind"], group["kind"])), group["jobs"], group["before"],
            group["after"],
            tuple(
                (cause["jobs"], told(cause["decided_by"]["before"]),
                 told(cause["decided_by"]["after"]))
                for cause in group["causes"][:8]
            ),
        )
        for group in sorted(report["groups"], key=lambda item: KINDS.index(item["kind"]))
    ]  # fmt: skip
