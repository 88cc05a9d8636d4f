"""Cases beside the rules: what holds, and what does not, told in the words of the vocabulary.

A case starts from the base case, in which everything is in range, and changes a few names.
Setting a measure sets its heavy end too, unless that is given.
"""

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple, cast

from ..catalogue.errors import FileError, InputError, OpenQuestion
from ..catalogue.files.file_source import Files, files_of, parse_toml
from ..catalogue.files.problems import Problems
from ..catalogue.files.toml_lines import Path as Keys
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.quantities import quantity
from ..catalogue.units.units import unit
from .loader import FOLDER
from .model import RuleSet
from .schema import BaseCaseFile, CaseFile, CaseTable

CASES: Final = FOLDER / "cases"
UNKNOWN: Final = "unknown"


class Case(NamedTuple):
    """One case.

    Attributes:
        numbers: value by name, canonical units, NaN for unknown.
        facts: value by fact.
        holds: exactly the rules that hold; ``cannot_judge`` exactly those that cannot be.
        mitigations: exactly what must be done, or None where the case does not say.
    """

    name: str
    file: str
    numbers: dict[str, float]
    facts: dict[str, str]
    fitted: frozenset[str]
    holds: tuple[str, ...]
    cannot_judge: tuple[str, ...]
    verdict: str
    mitigations: tuple[str, ...] | None


def load_cases(rule_set: RuleSet, folder: Path | Files = CASES) -> list[Case]:
    """Load every case of a folder.

    Raises:
        FileError: a file is missing, damaged or wrong; a case with an unknown name, without
            expectation or with a name used twice is an error, not a pass.
    """
    files = files_of(folder)
    data, problems = _parsed(files, "base.toml")
    given = problems.read(BaseCaseFile, data).given
    base_numbers, base_facts = _values(given, rule_set, ("given",), problems)
    base = (base_numbers | _heavy_ends(base_numbers, rule_set), base_facts)
    problems.finish("base case")
    cases: list[Case] = []
    for name in files.names("*.toml"):
        if name == "base.toml":
            continue
        data, problems = _parsed(files, name)
        tables = problems.read(CaseFile, data).cases
        cases += [
            _case(table, name, rule_set, base, ("cases", index), problems)
            for index, table in enumerate(tables)
        ]
        problems.finish("case file")
    if not cases:
        raise FileError(
            "file-missing", "no case was found", where=files.where(""),
            remedy="Each rule needs cases on both sides of each limit.",
        )  # fmt: skip
    names = [case.name for case in cases]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileError(
            "file-problems", "names of cases must differ", where=files.where(""), problems=twice
        )
    return cases


def _parsed(files: Files, name: str) -> tuple[dict[str, Any], Problems]:
    where, content = files.where(name), files.read(name)
    return parse_toml(content, where), Problems(where, content)


def _case(
    table: CaseTable,
    file: str,
    rule_set: RuleSet,
    base: tuple[dict[str, float], dict[str, str]],
    path: Keys,
    problems: Problems,
) -> Case:
    numbers, facts = _values(table.given, rule_set, (*path, "given"), problems)
    codes = {rule.code for rule in rule_set.rules}
    for key, named in (("holds", table.holds), ("cannot_judge", table.cannot_judge)):
        for code in named:
            if code not in codes:
                hint = did_you_mean(code, codes)
                problems.note((*path, key), f"there is no rule {code!r}. {hint}")
    for code in table.fitted:
        if code not in rule_set.vocabulary.accessories:
            hint = did_you_mean(code, rule_set.vocabulary.accessories)
            problems.note((*path, "fitted"), f"there is no accessory {code!r}. {hint}")
    return Case(
        name=table.name,
        file=file,
        numbers={**base[0], **numbers, **_heavy_ends(numbers, rule_set)},
        facts={**base[1], **facts},
        fitted=frozenset(table.fitted),
        holds=table.holds,
        cannot_judge=table.cannot_judge,
        verdict=table.verdict,
        mitigations=table.mitigations,
    )


def _heavy_ends(numbers: dict[str, float], rule_set: RuleSet) -> dict[str, float]:
    """Return heavy ends equal to the nominal values, for measures whose own is not given."""
    known = rule_set.vocabulary.numbers
    return {
        f"{name}.heavy": value
        for name, value in numbers.items()
        if f"{name}.heavy" in known and f"{name}.heavy" not in numbers
    }


def _values(
    given: Mapping[str, Any], rule_set: RuleSet, path: Keys, problems: Problems
) -> tuple[dict[str, float], dict[str, str]]:
    vocabulary = rule_set.vocabulary
    numbers: dict[str, float] = {}
    facts: dict[str, str] = {}
    for name, value in _flat(given):
        if name in vocabulary.facts:
            if value not in vocabulary.facts[name].values:
                problems.note((*path, name), f"{value!r} is not a value of {name}.")
            facts[name] = value
        elif name in vocabulary.numbers:
            try:
                is_unknown = value == UNKNOWN
                dimension = unit(vocabulary.numbers[name]).dimension
                numbers[name] = math.nan if is_unknown else quantity(value, dimension)
            except InputError as fault:
                problems.note((*path, name), f"{fault.what}. {fault.remedy}")
            except OpenQuestion as asked:
                problems.note((*path, name), f"{asked.question.text} Write it without the comma.")
        else:
            hint = did_you_mean(name, [*vocabulary.numbers, *vocabulary.facts])
            problems.note((*path, name), f"is not in the vocabulary. {hint}")
    return numbers, facts


def _flat(given: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Yield nested tables as dotted names: TOML reads ``limit.wall.rated`` as tables."""
    for name, value in given.items():
        if isinstance(value, dict):
            yield from _flat(cast("dict[str, Any]", value), f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", str(value)
