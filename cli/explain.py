"""``cuttable explain``: what a measure is and how it comes about; what a code means."""

import json
import shlex
from typing import Annotated, Any

import typer

from ..catalogue.errors import ERROR_CODES, InputError
from ..catalogue.nearest import did_you_mean
from ..engine.jobs.fields import FIELDS, Field
from ..rules.model import RuleSet
from .apps import new_app
from .context import open_assessor
from .options import Json, command

WORDS = {
    "rated": "Up to the rated limit a machine works as delivered.",
    "absolute": "Never beyond the absolute limit; between rated and absolute only on conditions.",
    "heavy-end": "The heaviest and largest piece that the mill tolerance of its product allows.",
    "utilisation": "What a job asks, over the rated limit; the largest one governs.",
    "in-range": "Every limit is met as rated. What is to be set or checked is listed.",
    "oversize-allowed-with-conditions": "Beyond rated, within absolute: only if all is done that "
    "is listed.",
    "refused": "Beyond absolute, unsafe, or not assessable: no setting of this machine lifts it.",
    "setting": "Something to set or check; it does not make a job oversize.",
    "condition": "Something without which the job is refused.",
    "unknown": "A number that is not stated. It never passes a limit.",
    "kerf": "Width of a cut.",
    "trim": "Length cut off the free end so that parts begin square and clean.",
    "stub": "Length at the chuck that the head does not reach.",
    "override": "Share of the rapid speed that the machine is set to.",
}
QUESTIONS = {
    "which-grade": "A name fits several grades, or the section is sold in several families.",
    "which-wall": "A pipe size without a schedule or a wall.",
    "pipe-or-tube": "Pipe is named by its nominal size, tube by its outside diameter.",
    "nominal-or-outside": "The number may be a nominal size or an outside diameter.",
    "size-unit": "The numbers may be inches or millimetres.",
    "length-unit": "A length without a unit.",
    "decimal-or-thousands": "A comma or point may part decimals or thousands.",
    "which-gauge": "A gauge number is another wall in each gauge table.",
    "which-dn": "A DN size is another outside diameter in ASME and in EN pipe.",
    "random-length": "Stock of random lengths: each piece has its own answer.",
    "schedule-or-wall": "Schedule and wall that were given do not agree.",
    "question-open": "Some question must be answered before there is an answer.",
}


app = new_app()


@command(app, "explain", epilog="Example: cuttable explain rotary_inertia")
def explain(
    name: Annotated[
        str,
        typer.Argument(
            metavar="[NAME]", show_default=False,
            help="A measure (its formula, inputs, source), the code of a rule, a mitigation, an "
            "accessory or an error, something said of a job, or a word such as 'rated' or "
            "'heavy end'. Without it: all measures.",
        ),
    ] = "",
    *,
    is_json: Json = False,
) -> int:  # fmt: skip
    """Explain a measure, a code or a word of an answer."""
    from ..engine.measures import GIVEN, REGISTRY

    rule_set = open_assessor().rule_set
    vocabulary = rule_set.vocabulary
    wanted = name.strip().casefold().replace(" ", "_")
    titles = {title.replace(" ", "_"): key for key, title in vocabulary.titles.items()}
    wanted = titles.get(wanted, wanted)
    if not wanted:
        from .terminal.layout import print_rows

        print_rows(
            ("measure", "unit", "what it is"),
            ((key, item.declared.unit, item.about) for key, item in REGISTRY.items()),
        )
        return 0
    if wanted in REGISTRY:
        item = REGISTRY[wanted]
        measure = item.declared
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
                else {"unit": REGISTRY[given].declared.unit, "about": REGISTRY[given].about}
                for given in item.inputs
            },
            "rules": readers,
        }
        if is_json:
            typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        else:
            _print(content)
        return 0
    plain = name.strip().casefold()
    meanings = _meanings(rule_set)
    for word in (plain, plain.replace(" ", "-"), plain.upper()):
        if word in meanings:
            content = {"schema": "cuttable.meaning/1", "name": word, "meaning": meanings[word]}
            typer.echo(
                json.dumps(content, ensure_ascii=False, indent=2)
                if is_json
                else f"{word}: {meanings[word]}"
            )
            return 0
    known = [*REGISTRY, *meanings]
    raise InputError(
        "measure-unknown",
        f"{name.strip()[:60]!r} is no measure, no code and no word of an answer",
        remedy=did_you_mean(wanted, known, otherwise="List them with: cuttable explain"),
    )


def _meanings(rule_set: RuleSet) -> dict[str, str]:
    """Return what codes and words mean, besides measures."""
    found = {field.name.replace("_", "-"): _field_meaning(field) for field in FIELDS} | WORDS
    for rule in rule_set.rules:
        found[rule.code] = f"{rule.title}. {rule.because} (cuttable rules show {rule.code})"
    for item in rule_set.mitigations.values():
        found[item.code] = f"Something to do: {item.title.lower()}. Basis: {item.basis}."
    for code, title in rule_set.vocabulary.accessories.items():
        found[code] = f"An accessory: {title}."
    for code, meaning in ERROR_CODES.items():
        found[code] = f"An error. {meaning}"
    for code, meaning in QUESTIONS.items():
        found[code] = f"A question. {meaning}"
    return found


def _field_meaning(field: Field) -> str:
    typed = f"{field.option} " if field.option else ""
    several = "; may be repeated" if field.is_list else ""
    return f"Said of a job. {field.help} For example: {typed}{shlex.quote(field.example)}{several}."


def _reads(source: str, name: str) -> bool:
    import re

    return re.search(rf"(?<![\w.]){name}(?!\w)", source) is not None


def _print(content: dict[str, Any]) -> None:
    from .terminal.layout import print_rows

    typer.echo(f"{content['name']} [{content['unit']}], {content['title']}: {content['about']}\n")
    rows = [("formula", content["formula"]), ("source", content["source"])]
    if content["heavy"]:
        rows.append(
            ("heavy end", "the same with the inputs at the heavy end of the mill tolerance")
        )
    rows.append(("read by rules", ", ".join(content["rules"]) or "none"))
    print_rows(("", ""), rows)
    typer.echo("")
    print_rows(
        ("input", "unit", "what it is"),
        ((name, item["unit"], item["about"]) for name, item in content["inputs"].items()),
    )
