"""``cuttable rules``: list, show and check the rules."""

import json
from pathlib import Path
from typing import Any

import click

from ..catalogue.book.brought import RULE_FILES
from ..catalogue.book.records import RULES
from ..catalogue.errors import InputError
from ..catalogue.nearest import did_you_mean
from ..rules.cases import Case, load_cases
from ..rules.loader import FOLDER
from ..rules.model import Rule, RuleSet
from .desk import open_desk
from .revisions import Kind, add_revision_commands

NEEDED = ("vocabulary.toml", "mitigations.toml", "cautions.toml")
"""Files of a release of rules that hold no rules, and that none does without."""


@click.group("rules")
def command() -> None:
    """List, show and check the rules; draft and approve releases of them."""


@command.command("list", epilog="Example: cuttable rules list")
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def list_all(*, is_json: bool) -> int:
    """List the rules in force, by topic."""
    rule_set = open_desk().rule_set
    if is_json:
        rules = [_plain(rule) for rule in rule_set.rules]
        content = {"schema": "cuttable.rules/1", "digest": rule_set.digest, "rules": rules}
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .render import print_rows

    print_rows(
        ("rule", "outcome", "if unknown", "title", "file"),
        ((rule.code, rule.outcome, rule.unknown, rule.title, rule.file) for rule in rule_set.rules),
    )
    return 0


@command.command("show", epilog="Example: cuttable rules show INER-01")
@click.argument("code")
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def show_one(code: str, *, is_json: bool) -> int:
    """Print a rule's page: condition, outcome, why, what lifts it, the cases that prove it."""
    rule_set = open_desk().rule_set
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
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    _print_page(rule, rule_set, cases)
    return 0


def _print_page(rule: Rule, rule_set: RuleSet, cases: list[Case]) -> None:
    from .render import print_rows

    click.echo(f"{rule.code}: {rule.title}\n")
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
    for name, parameter in rule_set.parameters.items():
        if f"param.{name}" in rule.source:
            shown = f"{parameter.value:g} {'' if parameter.unit == '1' else parameter.unit}".strip()
            rows.append((f"param.{name}", f"{shown}: {parameter.basis}"))
    print_rows(("", ""), rows)
    if mitigations:
        click.echo("\nWhat must be done, and so lifts it:")
        print_rows(
            ("mitigation", "what", "needs"),
            (
                (item.code, item.title, item.provided_by or "nothing to be fitted")
                for item in mitigations
            ),
        )
    click.echo("\nCases that prove it:")
    for case in cases:
        click.echo(f"  {case.name} ({case.file})")


@command.command("check", epilog="Example: cuttable rules check")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    default=None,
    help="A folder of rule files, with a folder cases; the built-in one by default.",
)
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def check(folder: Path | None, *, is_json: bool) -> int:
    """Run all cases and look for gaps, contradictions and dead rules.

    Exit status: 0 clean, 1 something found, 2 the files could not be read.
    """
    from ..engine.inputs.contract import load_rules
    from ..engine.rulecheck import SAMPLE, check_rules

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
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 1 if problems else 0
    for problem in problems:
        click.echo(f"{problem.kind}: {problem.text}")
    result = f"{len(problems)} found" if problems else "clean"
    click.echo(
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


add_revision_commands(command, Kind("rules", RULES, RULES, RULE_FILES, NEEDED))
