"""Rules in force, and each rule's page."""

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Request
from fastapi import Path as InPath
from fastapi.responses import Response

from ...catalogue.errors import InputError
from ...catalogue.files.file_source import KeptFiles
from ...catalogue.nearest import did_you_mean
from ...engine.review.ledger_assessor import rule_files
from ...rules.cases import load_cases
from ...rules.model import Outcome, Rule, Unknown
from ..auth.authenticator import CanAsk
from ..content import Content, lists, sends
from ..engine_worker import Standing
from ..paging import Page, paged
from ..settings import API
from ..state import state_of

router = APIRouter(prefix=API, tags=["limits"])

Code = Annotated[str, InPath(max_length=40, examples=["MASS-01"])]


class RuleLine(Content):
    """A rule: a declared condition and what follows when it holds."""

    code: str
    """Permanent."""
    title: str
    when: str
    """The condition, of measures and names of the vocabulary."""
    outcome: Outcome
    unknown: Unknown
    """What follows when the condition cannot be judged."""
    mitigations: list[str]
    """What must be done where it holds, by code."""
    because: str
    basis: str
    """How it is known."""
    may_be_wrong_when: str
    since: str
    """The day it begins, YYYY-MM-DD."""
    until: str | None
    """The day it ends; null where it does not."""
    file: str


class RuleCase(Content):
    """A case that proves the rule."""

    name: str
    verdict: str
    holds: bool
    cannot_judge: bool


class LiftedBy(Content):
    """What must be done where the rule holds."""

    code: str
    title: str
    basis: str
    provided_by: str | None
    """The accessory that does it."""


class RulePage(RuleLine):
    """A rule with the cases that prove it and what lifts it."""

    cases: list[RuleCase]
    lifted_by: list[LiftedBy]


@router.get("/rules", responses=lists(RuleLine))
async def rules(request: Request, asker: CanAsk, page: Page) -> Response:
    """List the rules in force, by topic."""
    _ = asker

    def work(standing: Standing) -> tuple[str, list[RuleLine]]:
        return standing.key, [plain_rule(rule) for rule in standing.assessor.rule_set.rules]

    key, rows = await state_of(request).engine.quick.run(work)
    return paged(request, rows, page, key)


@router.get("/rules/{code}", response_model=None, responses=sends(RulePage))
async def rule(request: Request, asker: CanAsk, code: Code) -> RulePage:
    """Return a rule's page: condition, outcome, why, what lifts it, the cases that prove it."""
    _ = asker

    def work(standing: Standing) -> RulePage:
        return rule_page(standing, code)

    return await state_of(request).engine.quick.run(work)


def rule_page(standing: Standing, code: str) -> RulePage:
    """Return a rule with its cases and mitigations.

    Raises:
        InputError: ``rule-unknown``.
    """
    rule_set = standing.assessor.rule_set
    known = {item.code: item for item in rule_set.rules}
    found = known.get(code.strip().upper())
    if found is None:
        raise InputError("rule-unknown", f"there is no rule {code.strip()[:40]!r}",
                         remedy=did_you_mean(code, known))  # fmt: skip
    place = rule_files(standing.snapshot)
    where = (
        place / "cases"
        if isinstance(place, Path)
        else KeptFiles(
            {name.removeprefix("cases/"): place.read(name) for name in place.names("cases/*")},
            place.where("cases"),
        )
    )
    cases: list[RuleCase] = [
        {"name": case.name, "verdict": case.verdict,
         "holds": found.code in case.holds, "cannot_judge": found.code in case.cannot_judge}
        for case in load_cases(rule_set, where)
        if found.code in (*case.holds, *case.cannot_judge)
    ]  # fmt: skip
    mitigations: list[LiftedBy] = [
        {"code": item.code, "title": item.title, "basis": item.basis,
         "provided_by": item.provided_by or None}
        for name in found.mitigations
        if (item := rule_set.mitigations.get(name)) is not None
    ]  # fmt: skip
    return {**plain_rule(found), "cases": cases, "lifted_by": mitigations}


def plain_rule(item: Rule) -> RuleLine:
    """Return a rule as data."""
    return {
        "code": item.code, "title": item.title, "when": item.source, "outcome": item.outcome,
        "unknown": item.unknown, "mitigations": list(item.mitigations), "because": item.because,
        "basis": item.basis, "may_be_wrong_when": item.may_be_wrong_when,
        "since": item.since.isoformat(), "until": item.until.isoformat() if item.until else None,
        "file": item.file,
    }  # fmt: skip
