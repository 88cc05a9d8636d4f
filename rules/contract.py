"""Does a rule set fit the engine that reads it: names, units, facts, parameters.

A rule set may come from a folder, from a ledger or from a bundle, and may be older or newer than
the program. What does not fit is told when it loads, with file, key and remedy; nothing of it is
found out in the middle of an answer.
"""

from collections.abc import Mapping

from ..catalogue.files.problems import Problems
from ..catalogue.files.toml_lines import Path
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.units import in_words, unit
from .model import Lookup, Measure, Parameter, Served, Vocabulary


def check_measures(problems: Problems, stated: Mapping[str, Measure], served: Served) -> None:
    """Check the measures that a vocabulary states by itself."""
    for name, measure in stated.items():
        declared = served.measures.get(name)
        if declared is None:
            hint = did_you_mean(name, served.measures)
            problems.note(
                ("measures", name), f"this version computes no such measure. {hint}".strip()
            )
            continue
        if measure.unit != declared.unit:
            what = f"is {measure.unit!r}, but it is computed {in_words(declared.unit)}."
            problems.note(("measures", name, "unit"), f"{what} Write {declared.unit!r}.")
        if measure.heavy != declared.heavy:
            what = f"is {measure.heavy!r}, but the heavy end is computed as {declared.heavy!r}."
            problems.note(("measures", name, "heavy"), f"{what} Write {declared.heavy!r}.")


def check_served(
    problems: Mapping[str, Problems],
    vocabulary: Vocabulary,
    parameters: Mapping[str, Parameter],
    lookups: Mapping[str, Lookup],
    served: Served,
) -> None:
    """Check that the engine fills every name of a vocabulary and finds all that it reads.

    ``problems`` are those of the files by name; one is noted in the file where it stands, what
    stands nowhere in the vocabulary.
    """
    top = problems["vocabulary"]
    _check_numbers(top, vocabulary, served)
    _check_facts(top, vocabulary, served)
    _check_parameters(problems, parameters, served)
    for name, (by, wanted) in served.lookups.items():
        lookup = lookups.get(name)
        if lookup is None:
            what = f"is missing; the engine reads it. State it in a topic file, by {by}."
            top.note(("lookups", name), what)
        elif lookup.by != by:
            problems.get(lookup.file, top).note(
                ("lookups", name, "by"), f"is {lookup.by!r}, but the engine asks by {by}."
            )
        elif lookup.unit != wanted:
            problems.get(lookup.file, top).note(
                ("lookups", name, "unit"), f"is {lookup.unit!r}. Write {wanted!r}."
            )


def _check_numbers(top: Problems, vocabulary: Vocabulary, served: Served) -> None:
    for name, used in vocabulary.numbers.items():
        if name.removesuffix(".heavy") in vocabulary.measures:
            continue
        if name not in served.numbers:
            hint = did_you_mean(name, served.numbers)
            top.note(_key(name), f"this version fills no such number. {hint}".strip())
        elif used != served.numbers[name]:
            what = f"is {used!r}, but it is filled {in_words(served.numbers[name])}."
            top.note((*_key(name), "unit"), f"{what} Write {served.numbers[name]!r}.")


def _check_parameters(
    problems: Mapping[str, Problems], parameters: Mapping[str, Parameter], served: Served
) -> None:
    for name, wanted in (*served.parameters.items(), *served.newer_parameters.items()):
        parameter = parameters.get(name)
        if parameter is None and name in served.newer_parameters:
            continue
        top = problems.get(parameter.file if parameter else "", problems["vocabulary"])
        if parameter is None:
            what = f"is missing; the engine reads it. State it in a topic file, {in_words(wanted)}."
            top.note(("parameters", name), what)
        elif unit(parameter.unit).dimension != unit(wanted).dimension:
            what = f"is {parameter.unit!r}, but the engine reads it {in_words(wanted)}."
            top.note(("parameters", name, "unit"), f"{what} Write {wanted!r}.")
        elif parameter.value < 0 or (name in served.not_zero and parameter.value == 0):
            what = "above zero" if name in served.not_zero else "zero or more"
            top.note(("parameters", name, "value"), f"must be {what}.")


def _check_facts(top: Problems, vocabulary: Vocabulary, served: Served) -> None:
    for name in vocabulary.facts:
        if name not in served.facts:
            hint = did_you_mean(name, served.facts)
            top.note(("facts", name), f"this version fills no such fact. {hint}".strip())
    for name, needed in served.facts.items():
        fact = vocabulary.facts.get(name)
        if fact is None:
            if name in served.newer_facts:
                continue
            top.note(("facts", name), f"is missing; it is filled with {', '.join(needed)}.")
            continue
        for value in needed:
            if value not in fact.values:
                top.note(("facts", name, "values"), f"{value!r} is missing; it is filled in.")


def _key(name: str) -> Path:
    """Return the key of a number in the vocabulary: bounds of a limit stand in one list."""
    if name.startswith("limit."):
        return ("limits", name.split(".")[1])
    return tuple(name.split("."))
