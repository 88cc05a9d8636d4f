"""``cuttable rules``: list, show and check the rules."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from ..catalogue.errors import InputError
from ..catalogue.ledger.records import RULES
from ..catalogue.ledger.shipped import RULE_FILES
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.units import PURE, canonical, convert, unit
from ..rules.cases import Case, load_cases
from ..rules.expression import names_in
from ..rules.loader import FOLDER
from ..rules.model import Parameter, Rule, RuleSet
from .apps import new_app
from .context import open_assessor
from .options import Json, command
from .revision_kind import Kind
from .revisions import add_revision_commands

NEEDED = ("vocabulary.toml", "mitigations.toml", "cautions.toml")
"""Files of a release of rules that hold no rules, and that none does without."""


app = new_app("List, show and check the rules; release them.")


@command(app, "list", epilog="Example: cuttable rules list")
def list_all(*, is_json: Json = False) -> int:
    """List the rules in force, by topic."""
    rule_set = open_assessor().rule_set
    if is_json:
        rules = [_plain(rule) for rule in rule_set.rules]
        content = {"schema": "cuttable.rules/1", "digest": rule_set.digest, "rules": rules}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    print_rows(
        ("rule", "outcome", "if unknown", "title", "file"),
        ((rule.code, rule.outcome, rule.unknown, rule.title, rule.file) for rule in rule_set.rules),
    )
    return 0


@command(app, "show", epilog="Example: cuttable rules show INER-01")
def show_one(
    code: Annotated[str, typer.Argument(metavar="CODE", help="Code of the rule.")],
    *,
    is_json: Json = False,
) -> int:
    """Print a rule's page: condition, outcome, why, what lifts it, the cases that prove it."""
    rule_set = open_assessor().rule_set
    rules = {rule.code: rule for rule in rule_set.rules}
    rule = rules.get(code.strip().upper())
    if rule is None:
        raise InputError(
            "rule-unknown",
            f"there is no rule {code.strip()[:40]!r}",
            remedy=did_you_mean(code, rules, otherwise="List them with: cuttable rules list"),
        )
    cases = [
        case for case in load_cases(rule_set) if rule.code in (*case.holds, *case.cannot_judge)
    ]
    if is_json:
        content = {
            "schema": "cuttable.rule/1", **_plain(rule), "cases": [case.name for case in cases],
        }  # fmt: skip
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    _print_page(rule, rule_set, cases)
    return 0


def _written(parameter: Parameter) -> str:
    """Return a parameter in the unit that its file states it in."""
    kept = canonical(unit(parameter.unit).dimension).name
    value = f"{convert(parameter.value, kept, parameter.unit):g}"
    return value if parameter.unit == PURE else f"{value} {parameter.unit}"


def _print_page(rule: Rule, rule_set: RuleSet, cases: list[Case]) -> None:
    from .terminal.layout import print_rows

    typer.echo(f"{rule.code}: {rule.title}\n")
    mitigations = [rule_set.mitigations[code] for code in rule.mitigations]
    rows = [
        ("holds when", rule.source),
        ("outcome", rule.outcome),
        ("if unknown", rule.unknown),
        ("why", rule.because),
        ("basis", rule.basis),
        ("may be wrong when", rule.may_be_wrong_when),
        ("in force since", rule.since.isoformat()),
        ("file", f"rules/{rule.file}"),
    ]
    if rule.given:
        rows.insert(1, ("and a finding of", ", ".join(rule.given)))
    if rule.tags:
        rows.insert(1, ("marks the job as", ", ".join(rule.tags)))
    if rule.ask_text:
        rows.append(("asks", f"{rule.ask_text} {' or '.join(rule.ask_choices)}"))
    told = [field for field in rule.says.fields if not isinstance(field, str)]
    read = names_in(rule.when).union(*map(names_in, told))
    for name, parameter in rule_set.parameters.items():
        if f"param.{name}" in read:
            rows.append((f"param.{name}", f"{_written(parameter)}: {parameter.basis}"))
    print_rows(("", ""), rows)
    if mitigations:
        typer.echo("\nWhat must be done, and so lifts it:")
        print_rows(
            ("mitigation", "what", "needs"),
            (
                (item.code, item.title, item.provided_by or "nothing to be fitted")
                for item in mitigations
            ),
        )
    typer.echo("\nCases that prove it:")
    for case in cases:
        typer.echo(f"  {case.name} ({case.file})")


@command(app, "check", epilog="Example: cuttable rules check")
def check(
    *,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--folder", metavar="FOLDER",
            help="A folder of rule files, with a folder cases; else the rules the tool brings.",
        ),
    ] = None,
    is_json: Json = False,
) -> int:  # fmt: skip
    """Run all cases and look for gaps, contradictions and dead rules.

    Exit status: 0 clean, 1 something found, 2 the files could not be read.
    """
    from ..engine.decision.rule_check import SAMPLE, check_rules
    from ..engine.inputs.contract import load_rules

    place = folder or FOLDER
    rule_set = load_rules(place)
    cases = load_cases(rule_set, place / "cases")
    problems = check_rules(rule_set, cases)
    if is_json:
        content: dict[str, Any] = {
            "schema": "cuttable.rulecheck/1",
            "rules": len(rule_set.rules),
            "cases": len(cases),
            "problems": [{"kind": item.kind, "text": item.text} for item in problems],
        }
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if problems else 0
    for problem in problems:
        typer.echo(f"{problem.kind}: {problem.text}")
    result = f"{len(problems)} found" if problems else "clean"
    typer.echo(
        f"{len(rule_set.rules)} rules, {len(rule_set.mitigations)} mitigations, "
        f"{len(cases)} cases, {SAMPLE} sampled inputs: {result}"
    )
    return 1 if problems else 0


def _plain(rule: Rule) -> dict[str, Any]:
    return {
        "code": rule.code,
        "title": rule.title,
        "when": rule.source,
        "given": list(rule.given),
        "outcome": rule.outcome,
        "unknown": rule.unknown,
        "tags": list(rule.tags),
        "mitigations": list(rule.mitigations),
        "because": rule.because,
        "basis": rule.basis,
        "may_be_wrong_when": rule.may_be_wrong_when,
        "since": rule.since.isoformat(),
        "until": rule.until.isoformat() if rule.until else None,
        "file": rule.file,
    }


add_revision_commands(app, Kind("rules", RULES, RULES, RULE_FILES, NEEDED))
