"""``cuttable explain``: what a measure is and how it comes about; what a code means."""

import json
from typing import Any

import click

from ..catalogue.errors import ERROR_CODES, InputError
from ..catalogue.nearest import did_you_mean


@click.command("explain", epilog="Example: cuttable explain rotary_inertia")
@click.argument("name", required=False, default="")
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def command(name: str, *, is_json: bool) -> int:
    """Explain a measure (formula, inputs, source), an error code, or list both."""
    from ..engine.measures import GIVEN, REGISTRY
    from ..rules.loader import load_rules

    rule_set = load_rules()
    vocabulary = rule_set.vocabulary
    wanted = name.strip().casefold().replace(" ", "_")
    titles = {title.replace(" ", "_"): key for key, title in vocabulary.titles.items()}
    wanted = titles.get(wanted, wanted)
    if not wanted:
        from .render import print_rows

        print_rows(
            ("measure", "unit", "what it is"),
            ((key, vocabulary.measures[key].unit, item.about) for key, item in REGISTRY.items()),
        )
        return 0
    if wanted in REGISTRY:
        item = REGISTRY[wanted]
        measure = vocabulary.measures[wanted]
        readers = [rule.code for rule in rule_set.rules if _reads(rule.source, wanted)]
        content: dict[str, Any] = {
            "schema": "cuttable.measure/1",
            "name": wanted,
            "title": measure.title,
            "unit": measure.unit,
            "about": item.about,
            "formula": item.formula,
            "source": item.source,
            "heavy": measure.has_heavy,
            "inputs": {
                given: {"unit": GIVEN[given][0], "about": GIVEN[given][1]}
                if given in GIVEN
                else {"unit": vocabulary.measures[given].unit, "about": REGISTRY[given].about}
                for given in item.inputs
            },
            "rules": readers,
        }
        if is_json:
            click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        else:
            _print(content)
        return 0
    code = name.strip().casefold()
    if code in ERROR_CODES:
        click.echo(f"{code}: {ERROR_CODES[code]}")
        return 0
    known = [*REGISTRY, *ERROR_CODES]
    raise InputError(
        "measure-unknown",
        f"{name.strip()[:60]!r} is no measure and no error code",
        remedy=did_you_mean(wanted, known, otherwise="List them with: cuttable explain"),
    )


def _reads(source: str, name: str) -> bool:
    import re

    return re.search(rf"(?<![\w.]){name}(?!\w)", source) is not None


def _print(content: dict[str, Any]) -> None:
    from .render import print_rows

    click.echo(f"{content['name']} [{content['unit']}], {content['title']}: {content['about']}\n")
    rows = [("formula", content["formula"]), ("source", content["source"])]
    if content["heavy"]:
        rows.append(
            ("heavy end", "the same with the inputs at the heavy end of the mill tolerance")
        )
    rows.append(("read by rules", ", ".join(content["rules"]) or "none"))
    print_rows(("", ""), rows)
    click.echo("")
    print_rows(
        ("input", "unit", "what it is"),
        ((name, item["unit"], item["about"]) for name, item in content["inputs"].items()),
    )
