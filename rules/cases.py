"""Cases beside the rules: what holds, and what does not, told in the words of the vocabulary.

A case starts from the base case, in which everything is in range, and changes a few names.
Setting a measure sets its heavy end too, unless that is given.
"""

import math
from pathlib import Path
from typing import Final, NamedTuple

from ..catalogue.errors import FileError, InputError
from ..catalogue.nearest import did_you_mean
from ..catalogue.quantities import quantity
from ..catalogue.reading import Files, Reader, files_of, parse_toml
from ..catalogue.units import unit
from .loader import FOLDER
from .model import RuleSet

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


VERDICTS: Final = ("in-range", "oversize-allowed-with-conditions", "question", "refused")


def load_cases(rule_set: RuleSet, folder: Path | Files = CASES) -> list[Case]:
    """Load every case of a folder.

    Raises:
        FileError: a file is missing, damaged or wrong; a case with an unknown name, without
            expectation or with a name used twice is an error, not a pass.
    """
    files = files_of(folder)
    base_top = _top(files, "base.toml")
    base_numbers, base_facts = _values(base_top.table("given"), rule_set)
    base = (base_numbers | _heavy_ends(base_numbers, rule_set), base_facts)
    base_top.done()
    base_top.finish("base case")
    cases: list[Case] = []
    for name in files.names("*.toml"):
        if name == "base.toml":
            continue
        top = _top(files, name)
        cases += [_case(table, name, rule_set, base) for table in top.tables("cases")]
        top.done()
        top.finish("case file")
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


def _top(files: Files, name: str) -> Reader:
    where = files.where(name)
    return Reader(parse_toml(files.read(name), where), where)


def _case(
    table: Reader, file: str, rule_set: RuleSet, base: tuple[dict[str, float], dict[str, str]]
) -> Case:
    numbers, facts = _values(table.table("given"), rule_set)
    codes = {rule.code for rule in rule_set.rules}
    holds, cannot_judge = table.texts("holds"), table.texts("cannot_judge", [])
    for code in (*holds, *cannot_judge):
        if code not in codes:
            table.problem("holds", f"there is no rule {code!r}. {did_you_mean(code, codes)}")
    fitted = table.texts("fitted", [])
    for code in fitted:
        if code not in rule_set.vocabulary.accessories:
            hint = did_you_mean(code, rule_set.vocabulary.accessories)
            table.problem("fitted", f"there is no accessory {code!r}. {hint}")
    mitigations = table.texts("mitigations") if table.has("mitigations") else None
    case = Case(
        name=table.text("name"),
        file=file,
        numbers={**base[0], **numbers, **_heavy_ends(numbers, rule_set)},
        facts={**base[1], **facts},
        fitted=frozenset(fitted),
        holds=tuple(holds),
        cannot_judge=tuple(cannot_judge),
        verdict=table.choice("verdict", VERDICTS),
        mitigations=None if mitigations is None else tuple(mitigations),
    )
    table.done()
    return case


def _heavy_ends(numbers: dict[str, float], rule_set: RuleSet) -> dict[str, float]:
    """Return heavy ends equal to the nominal values, for measures whose own is not given."""
    known = rule_set.vocabulary.numbers
    return {
        f"{name}.heavy": value
        for name, value in numbers.items()
        if f"{name}.heavy" in known and f"{name}.heavy" not in numbers
    }


def _values(table: Reader, rule_set: RuleSet) -> tuple[dict[str, float], dict[str, str]]:
    vocabulary = rule_set.vocabulary
    numbers: dict[str, float] = {}
    facts: dict[str, str] = {}
    for name, value in _flat(table.data).items():
        table.read.add(name.partition(".")[0])
        if name in vocabulary.facts:
            if value not in vocabulary.facts[name].values:
                table.problem(name, f"{value!r} is not a value of {name}.")
            facts[name] = value
        elif name in vocabulary.numbers:
            try:
                is_unknown = value == UNKNOWN
                dimension = unit(vocabulary.numbers[name]).dimension
                numbers[name] = math.nan if is_unknown else quantity(value, dimension)
            except InputError as fault:
                table.problem(name, f"{fault.what}. {fault.remedy}")
        else:
            hint = did_you_mean(name, [*vocabulary.numbers, *vocabulary.facts])
            table.problem(name, f"is not in the vocabulary. {hint}")
    return numbers, facts


def _flat(data: dict[str, object], prefix: str = "") -> dict[str, str]:
    """Return nested tables as dotted names: TOML reads ``limit.wall.rated`` as tables."""
    flat: dict[str, str] = {}
    for name, value in data.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{prefix}{name}.")  # pyright: ignore[reportUnknownArgumentType]
        else:
            flat[f"{prefix}{name}"] = str(value)
    return flat
