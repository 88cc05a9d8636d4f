"""Tables of a rule file from which the engine takes a number: by a fact, or by a size.

    [lookups.zinc_mass]
    by     = "wall"
    unit   = "kg/m^2"
    values = { "3 mm" = "0.395 kg/m^2", "6 mm" = "0.505 kg/m^2" }
    beyond = "0.610 kg/m^2"
    basis  = "..."

By a number of the vocabulary: each value holds up to and with the size before it, and ``beyond``
above the last. By a fact: values of that fact; for what is not listed there is no number.
"""

import math
from collections.abc import Mapping

from pydantic_core import PydanticCustomError

from ..catalogue.errors import InputError
from ..catalogue.files.problems import Problems
from ..catalogue.files.schema import Hole, read_quantity
from ..catalogue.files.toml_lines import Path
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.units import NUMBER, Dimension, unit
from .model import Lookup, Vocabulary
from .schema import LookupTable, NumbersFile


def read_lookups(
    topics: Mapping[str, NumbersFile], vocabulary: Vocabulary, problems: Mapping[str, Problems]
) -> dict[str, Lookup]:
    """Read the lookups of every topic file; problems are noted at the tables themselves."""
    found: dict[str, Lookup] = {}
    for file, topic in topics.items():
        for name, table in topic.lookups.items():
            path = ("lookups", name)
            if name in found:
                what = f"the lookup is already in {found[name].file}.toml."
                problems[file].note(path, what)
            if not isinstance(table, Hole):
                found[name] = _Lookup(path, problems[file], vocabulary).read(name, table, file)
    return found


class _Lookup:
    """Reads one table."""

    def __init__(self, path: Path, problems: Problems, vocabulary: Vocabulary) -> None:
        self.path, self.problems, self.vocabulary = path, problems, vocabulary

    def read(self, name: str, table: LookupTable, file: str) -> Lookup:
        dimension: Dimension = NUMBER
        try:
            dimension = NUMBER if isinstance(table.unit, Hole) else unit(table.unit).dimension
        except InputError as fault:
            self.note(fault.what, "unit")
        numbers = {
            key: self.quantity(text, dimension, "values", key) for key, text in table.values.items()
        }
        beyond = math.nan
        steps: list[tuple[float, float]] = []
        by = "" if isinstance(table.by, Hole) else table.by
        if by in self.vocabulary.facts:
            self.check_fact(by, numbers)
            if table.beyond is not None:
                self.note(f"is read by nothing: {by} is a fact, not a size.", "beyond")
        elif by in self.vocabulary.numbers:
            if table.beyond is None:
                self.note("is missing; a text with number and unit is required.", "beyond")
            else:
                beyond = self.quantity(table.beyond, dimension, "beyond")
            steps = self.steps(numbers, unit(self.vocabulary.numbers[by]).dimension)
        elif by:
            hint = did_you_mean(by, [*self.vocabulary.facts, *self.vocabulary.numbers])
            what = f"{by!r} is neither a fact nor a number of the vocabulary. {hint}"
            self.note(what, "by")
        of_fact = () if steps else tuple(numbers.items())
        return Lookup(name, table.unit, by, of_fact, tuple(steps), beyond, table.basis, file)

    def note(self, what: str, *keys: str) -> None:
        self.problems.note((*self.path, *keys), what)

    def quantity(self, text: str, dimension: Dimension, *keys: str) -> float:
        """Return a number above zero; NaN where it is none, which is noted."""
        try:
            return math.nan if isinstance(text, Hole) else read_quantity(text, dimension)
        except PydanticCustomError as fault:
            self.note(fault.message(), *keys)
            return math.nan

    def check_fact(self, by: str, numbers: Mapping[str, float]) -> None:
        allowed = self.vocabulary.facts[by].values
        for key in numbers:
            if key not in allowed:
                hint = did_you_mean(key, allowed)
                self.note(f"is not a value of the fact {by}. {hint}".strip(), "values", key)

    def steps(self, numbers: Mapping[str, float], size: Dimension) -> list[tuple[float, float]]:
        steps: list[tuple[float, float]] = []
        for key, number in numbers.items():
            try:
                steps.append((read_quantity(key, size), number))
            except PydanticCustomError as fault:
                self.note(fault.message(), "values", key)
        if steps != sorted(steps, key=lambda step: step[0]):
            self.note("must go from the smallest size to the largest.", "values")
        return steps
