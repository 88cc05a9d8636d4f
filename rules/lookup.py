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

from ..catalogue.errors import InputError
from ..catalogue.nearest import did_you_mean
from ..catalogue.quantities import quantity
from ..catalogue.reading import Reader
from ..catalogue.units import NUMBER, Dimension, unit
from .model import Lookup, Vocabulary


def read_lookups(topics: Mapping[str, Reader], vocabulary: Vocabulary) -> dict[str, Lookup]:
    """Read the lookups of every topic file; problems are noted at the tables themselves."""
    found: dict[str, Lookup] = {}
    for file, top in topics.items():
        for name, table in top.table("lookups", optional=True).named_tables().items():
            if name in found:
                table.problem("", f"the lookup is already in {found[name].file}.toml.")
            found[name] = _read(name, table, file, vocabulary)
            table.done()
    return found


def _read(name: str, table: Reader, file: str, vocabulary: Vocabulary) -> Lookup:
    by, unit_name, basis = table.text("by"), table.text("unit"), table.text("basis")
    dimension: Dimension = NUMBER
    try:
        dimension = unit(unit_name).dimension if unit_name else NUMBER
    except InputError as fault:
        table.problem("unit", fault.what)
    values = table.table("values")
    texts = {key: values.text(key) for key in values.data}
    numbers = {key: values.as_quantity(key, text, dimension) for key, text in texts.items() if text}
    beyond = math.nan
    steps: list[tuple[float, float]] = []
    if by in vocabulary.facts:
        allowed = vocabulary.facts[by].values
        for key in numbers.keys() - set(allowed):
            hint = did_you_mean(key, allowed)
            values.problem(key, f"is not a value of the fact {by}. {hint}".strip())
    elif by in vocabulary.numbers:
        beyond = table.quantity("beyond", dimension)
        for key, number in numbers.items():
            try:
                steps.append((quantity(key, unit(vocabulary.numbers[by]).dimension), number))
            except InputError as fault:
                values.problem(key, f"{fault.what}. {fault.remedy}".strip())
        if steps != sorted(steps):
            table.problem("values", "must go from the smallest size to the largest.")
    elif by:
        hint = did_you_mean(by, [*vocabulary.facts, *vocabulary.numbers])
        table.problem("by", f"{by!r} is neither a fact nor a number of the vocabulary. {hint}")
    of_fact = () if steps else tuple(numbers.items())
    return Lookup(name, unit_name, by, of_fact, tuple(steps), beyond, basis, file)
