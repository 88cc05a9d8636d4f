"""Load the rule set: strict, complete, with every problem told at once."""

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from ..catalogue.errors import FileError, InputError, OpenQuestion
from ..catalogue.files.file_source import Files, digest_of, files_of, parse_toml
from ..catalogue.files.problems import Problems
from ..catalogue.files.schema import Hole
from ..catalogue.files.toml_lines import Path as Keys
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.quantities import quantity
from ..catalogue.units.units import unit
from .contract import check_measures, check_served
from .lookup import read_lookups
from .model import (
    Fact,
    Measure,
    Mitigation,
    Parameter,
    Rule,
    RuleSet,
    Served,
    Vocabulary,
)
from .rule_reader import RuleReader
from .schema import (
    CautionFile,
    MitigationFile,
    NumbersFile,
    TopicFile,
    VocabularyFile,
)

FOLDER: Final = Path(__file__).parent
EARLIER: Final = FOLDER / "earlier"
"""Parameters that rule sets of an earlier schema do not state, by schema."""
SCHEMA: Final = 2
_NOT_TOPICS: Final = frozenset({"vocabulary", "mitigations", "cautions"})


def load_rules(served: Served, folder: Path | Files = FOLDER, on: dt.date | None = None) -> RuleSet:
    """Load the rules in force on a day (today by default).

    Args:
        served: what the engine computes and reads, which the rules must fit.
        folder: holds the topic files, ``vocabulary.toml``, ``mitigations.toml`` and
            ``cautions.toml``.
        on: the day.

    Raises:
        FileError: ``file-missing``, ``file-damaged``, ``file-problems`` or
            ``rule-set-empty``.
    """
    today = on or dt.datetime.now(dt.UTC).date()
    files = files_of(folder)
    contents: dict[str, bytes] = {}
    data: dict[str, dict[str, Any]] = {}
    problems: dict[str, Problems] = {}
    for name in files.names("*.toml"):
        stem, where = name.removesuffix(".toml"), files.where(name)
        contents[stem] = files.read(name)
        data[stem] = parse_toml(contents[stem], where)
        problems[stem] = Problems(where, contents[stem])
    for needed in sorted(_NOT_TOPICS):
        if needed not in data:
            raise FileError(
                "file-missing", f"{needed}.toml is missing", where=files.where(""),
                remedy="A rule set has vocabulary.toml, mitigations.toml and cautions.toml.",
            )  # fmt: skip
    words = problems["vocabulary"].read(VocabularyFile, data["vocabulary"])
    schema = SCHEMA if isinstance(words.schema_version, Hole) else words.schema_version
    vocabulary = _vocabulary(words, problems["vocabulary"], served, schema)
    topics = {
        name: problems[name].read(TopicFile, data[name]) for name in data if name not in _NOT_TOPICS
    }
    parameters, lookups = (
        _parameters(topics, problems), read_lookups(topics, vocabulary, problems)
    )  # fmt: skip
    if schema < SCHEMA:
        before, noted = _earlier(schema)
        parameters = _parameters(before, noted) | parameters
        lookups = read_lookups(before, vocabulary, noted) | lookups
    reader = RuleReader(vocabulary, parameters)
    every = [
        reader.rule(code, table, f"{name}.toml", problems[name])
        for name, topic in topics.items()
        for code, table in topic.rules.items()
    ]
    mitigations = reader.mitigations(
        problems["mitigations"].read(MitigationFile, data["mitigations"]), problems["mitigations"]
    )
    cautions = reader.cautions(
        problems["cautions"].read(CautionFile, data["cautions"]), problems["cautions"]
    )
    limit_checks = reader.limit_checks(words.gauges.items(), problems["vocabulary"])
    _check_links(every, mitigations, problems)
    if every:  # where there is no rule at all, that is what is wrong
        check_served(problems, vocabulary, parameters, lookups, served)
    # The vocabulary first: what is wrong there makes other files seem wrong.
    for each in (problems["vocabulary"], *problems.values()):
        each.finish("rule file")
    rules = [
        rule for rule in every if rule.since <= today and (rule.until is None or today < rule.until)
    ]
    if not rules:
        raise FileError(
            "rule-set-empty",
            f"no rule is in force on {today.isoformat()}",
            where=files.where(""),
            remedy="An empty rule set would let everything pass; restore the rule files.",
        )
    in_force = ",".join(rule.code for rule in rules).encode()
    parts = [part for name, data in contents.items() for part in (name.encode(), data)]
    return RuleSet(
        vocabulary,
        parameters,
        tuple(rules),
        mitigations,
        cautions,
        limit_checks,
        digest_of(*parts, in_force),
        lookups,
    )


def _earlier(schema: int) -> tuple[dict[str, NumbersFile], dict[str, Problems]]:
    """Return what a rule set of this schema was released with, before files stated it."""
    path = EARLIER / f"schema_{schema}.toml"
    content = path.read_bytes()
    problems = Problems(str(path), content)
    file = problems.read(NumbersFile, parse_toml(content, str(path)))
    return {path.stem: file}, {path.stem: problems}


def _vocabulary(
    words: VocabularyFile, problems: Problems, served: Served, schema: int
) -> Vocabulary:
    measures = dict(served.measures)
    if schema == 1:
        measures = _stated_measures(words, problems, served)
    elif words.measures is not None:
        what = "is not a known key: measures are declared where they are computed."
        problems.note(("measures",), what)
    numbers: dict[str, str] = {}
    titles: dict[str, str] = {}
    for name, measure in measures.items():
        numbers[name] = measure.unit
        titles[name] = measure.title
        if measure.has_heavy:
            numbers[f"{name}.heavy"] = measure.unit
            titles[f"{name}.heavy"] = f"{measure.title}, heavy end"
    limits: dict[str, tuple[str, tuple[str, ...]]] = {}
    for name, table in words.limits.items():
        bounds = table.bounds
        limits[name] = (_unit(table.unit, ("limits", name), problems), bounds)
        for bound in bounds:
            numbers[f"limit.{name}.{bound}"] = limits[name][0]
            titles[f"limit.{name}.{bound}"] = f"{bound} {titles.get(name, name)}"
    for group, tables in (("machine", words.machine), ("material", words.material)):
        for name, table in tables.items():
            numbers[f"{group}.{name}"] = _unit(table.unit, (group, name), problems)
            titles[f"{group}.{name}"] = table.title
    return Vocabulary(
        measures=measures,
        not_assessed=dict(words.not_assessed.items()),
        limits=limits,
        numbers=numbers,
        titles=titles,
        facts={
            name: Fact(name, table.values, table.harmless) for name, table in words.facts.items()
        },
        accessories=dict(words.accessories.items()),
    )


def _stated_measures(
    words: VocabularyFile, problems: Problems, served: Served
) -> dict[str, Measure]:
    """Read the measures that a vocabulary of the first schema states by itself."""
    if words.measures is None:
        problems.note(("measures",), "is missing; a table is required.")
        return {}
    measures: dict[str, Measure] = {}
    for name, table in words.measures.items():
        unit_name = _unit(table.unit, ("measures", name), problems)
        measures[name] = Measure(name, unit_name, table.title, table.heavy)
    check_measures(problems, measures, served)
    return measures


def _unit(name: str, path: Keys, problems: Problems) -> str:
    if isinstance(name, Hole):
        return "1"
    try:
        return unit(name).name
    except InputError as fault:
        problems.note((*path, "unit"), fault.what)
        return "1"


def _parameters(
    topics: Mapping[str, NumbersFile], problems: dict[str, Problems]
) -> dict[str, Parameter]:
    parameters: dict[str, Parameter] = {}
    for file, topic in topics.items():
        for name, table in topic.parameters.items():
            path = ("parameters", name)
            unit_name = _unit(table.unit, path, problems[file])
            value = math.nan
            try:
                if not isinstance(table.value, Hole):
                    value = quantity(table.value, unit(unit_name).dimension)
            except InputError as fault:
                problems[file].note((*path, "value"), f"{fault.what}. {fault.remedy}")
            except OpenQuestion as asked:
                problems[file].note(
                    (*path, "value"), f"{asked.question.text} Write it without the comma."
                )
            if name in parameters:
                what = f"the parameter is already in {parameters[name].file}.toml."
                problems[file].note(path, what)
            parameters[name] = Parameter(name, value, unit_name, table.basis, file)
    return parameters


def _check_links(
    rules: list[Rule], mitigations: dict[str, Mitigation], problems: dict[str, Problems]
) -> None:
    """Check that everything named exists, and that no code stands twice."""
    tags = {tag for rule in rules for tag in rule.tags}
    seen: dict[str, str] = {}
    for mitigation in mitigations.values():
        for key in ("needs", "replaces", "conflicts"):
            path = ("mitigations", mitigation.code, key)
            _check_codes(getattr(mitigation, key), mitigations, path, problems["mitigations"])
    for rule in rules:
        noted, path = problems[rule.file.removesuffix(".toml")], ("rules", rule.code)
        if rule.code in seen:
            noted.note(path, f"the code is already in {seen[rule.code]}.")
        seen[rule.code] = rule.file
        _check_codes(rule.mitigations, mitigations, (*path, "mitigations"), noted)
        for tag in rule.given:
            if tag not in tags:
                hint = did_you_mean(tag, tags)
                noted.note((*path, "given"), f"no rule has the tag {tag!r}. {hint}")


def _check_codes(
    codes: Iterable[str], mitigations: dict[str, Mitigation], path: Keys, problems: Problems
) -> None:
    for code in codes:
        if code not in mitigations:
            hint = did_you_mean(code, mitigations)
            problems.note(path, f"{code!r} does not exist. {hint}")
