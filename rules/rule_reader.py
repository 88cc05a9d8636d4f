"""Reading rules, mitigations, cautions and limit checks: texts become conditions and sentences."""

import re
from collections.abc import Iterable
from typing import Final

from ..catalogue.errors import InputError
from ..catalogue.files.problems import Problems
from ..catalogue.files.schema import Hole
from ..catalogue.files.toml_lines import Path as Keys
from ..catalogue.nearest import did_you_mean
from ..catalogue.units.units import Dimension, unit
from .expression import FactIs, Logical, Names, Numeric, parse_condition, parse_number
from .model import (
    Caution,
    LimitCheck,
    Mitigation,
    Parameter,
    Rule,
    Template,
    Vocabulary,
)
from .schema import (
    CautionFile,
    GaugeTable,
    MitigationFile,
    MitigationTable,
    RuleTable,
)

NEVER: Final = FactIs("", ())
"""Stands for a condition that cannot be read."""

_FIELD = re.compile(r"\{([^{}]*)\}")


class RuleReader:
    """Reads rules and what goes with them against one vocabulary and its parameters.

    What is wrong is noted, and something harmless stands in its place until all is told.
    """

    def __init__(self, vocabulary: Vocabulary, parameters: dict[str, Parameter]) -> None:
        self.vocabulary = vocabulary
        self.parameters = parameters
        self.names = Names(self.number, self.fact)

    def number(self, name: str) -> Dimension:
        """Return the dimension of a number that an expression names.

        Raises:
            InputError: ``measure-unknown``.
        """
        if name.startswith("param."):
            parameter = self.parameters.get(name[6:])
            if parameter is None:
                raise _unknown_name(name, (f"param.{known}" for known in self.parameters))
            return unit(parameter.unit).dimension
        if name not in self.vocabulary.numbers:
            raise _unknown_name(name, (*self.vocabulary.numbers, *self.vocabulary.facts))
        return unit(self.vocabulary.numbers[name]).dimension

    def fact(self, name: str) -> tuple[str, ...] | None:
        """Return the values of a fact; None for what is none."""
        fact = self.vocabulary.facts.get(name)
        return fact.values if fact else None

    def condition(self, text: str, path: Keys, problems: Problems) -> Logical:
        """Parse a condition; one that never holds where it cannot be read."""
        try:
            return NEVER if isinstance(text, Hole) else parse_condition(text, self.names)
        except InputError as fault:
            problems.note(path, f"{fault.what}. {fault.remedy}".strip())
            return NEVER

    def expression(self, text: str | None, path: Keys, problems: Problems) -> Numeric | None:
        """Parse a number; None where there is none or it cannot be read."""
        if text is None or isinstance(text, Hole):
            return None
        try:
            return parse_number(text, self.names)
        except InputError as fault:
            problems.note(path, f"{fault.what}. {fault.remedy}".strip())
            return None

    def template(self, text: str, path: Keys, problems: Problems) -> Template:
        """Take a sentence apart at its braces."""
        if isinstance(text, Hole):
            return Template(("",), (), ())
        pieces = _FIELD.split(text)
        fields: list[Numeric | str] = []
        styles: list[str] = []
        for piece in pieces[1::2]:
            source, _, style = piece.partition(":")
            styles.append(style)
            if style not in ("", "%"):
                problems.note(path, f"{style!r} is no style; % is the only one.")
            if source in self.vocabulary.facts:
                fields.append(source)
            elif (node := self.expression(source, path, problems)) is not None:
                fields.append(node)
        if len(fields) != len(pieces) // 2:
            return Template((text,), (), ())
        return Template(tuple(pieces[::2]), tuple(fields), tuple(styles))

    def rule(self, code: str, table: RuleTable, file: str, problems: Problems) -> Rule:
        """Read one rule."""
        path = ("rules", code)
        if table.outcome == "conditions" and table.mitigations == ():
            problems.note((*path, "mitigations"), "must name what lifts the condition.")
        _check_question(table, path, problems)
        return Rule(
            code=code,
            title=table.title,
            source=table.when,
            when=self.condition(table.when, (*path, "when"), problems),
            given=table.given,
            outcome=table.outcome,
            unknown=table.unknown,
            says=self.template(table.says, (*path, "says"), problems),
            tags=table.tags,
            mitigations=table.mitigations,
            ask_text=table.ask or "",
            ask_choices=table.choices or (),
            because=table.because,
            basis=table.basis,
            may_be_wrong_when=table.may_be_wrong_when,
            since=table.since,
            until=table.until,
            file=file,
        )

    def mitigations(self, file: MitigationFile, problems: Problems) -> dict[str, Mitigation]:
        """Read all mitigations."""
        return {
            code: self.mitigation(code, table, problems) for code, table in file.mitigations.items()
        }

    def mitigation(self, code: str, table: MitigationTable, problems: Problems) -> Mitigation:
        """Read one mitigation."""
        path = ("mitigations", code)
        named = [
            (name, self.expression(text, (*path, "values", name), problems))
            for name, text in table.values.items()
        ]
        provided_by = table.provided_by or ""
        if provided_by and provided_by not in self.vocabulary.accessories:
            hint = did_you_mean(provided_by, self.vocabulary.accessories)
            problems.note((*path, "provided_by"), f"{provided_by!r} is no accessory. {hint}")
        return Mitigation(
            code=code,
            title=table.title,
            text=self.template(table.text, (*path, "text"), problems),
            values=tuple((name, node) for name, node in named if node is not None),
            provided_by=provided_by,
            needs=table.needs,
            replaces=table.replaces,
            conflicts=table.conflicts,
            basis=table.basis,
        )

    def limit_checks(
        self, tables: Iterable[tuple[str, GaugeTable]], problems: Problems
    ) -> tuple[LimitCheck, ...]:
        """Read what says how full each limit is."""
        found: list[LimitCheck] = []
        for name, table in tables:
            path = ("gauges", name)
            if name not in self.vocabulary.measures:
                problems.note(path, "is no measure of the vocabulary.")
            demand, rated, absolute, minimum = (
                self.expression(getattr(table, key), (*path, key), problems)
                for key in ("demand", "rated", "absolute", "minimum")
            )
            when = (
                None
                if table.when is None
                else self.condition(table.when, (*path, "when"), problems)
            )
            if demand is not None and rated is not None:
                found.append(
                    LimitCheck(
                        name, demand, rated, absolute, minimum, when, table.style, table.chosen
                    )
                )
        return tuple(found)

    def cautions(self, file: CautionFile, problems: Problems) -> tuple[Caution, ...]:
        """Read the standing safety lines."""
        return tuple(
            Caution(
                code,
                table.text,
                None
                if table.when is None
                else self.condition(table.when, ("cautions", code, "when"), problems),
                table.source,
            )
            for code, table in file.cautions.items()
        )


def _check_question(table: RuleTable, path: Keys, problems: Problems) -> None:
    """Check that a rule which asks says what, and that no other does."""
    is_asking = "question" in (table.outcome, table.unknown)
    may_ask = is_asking or isinstance(table.outcome, Hole) or isinstance(table.unknown, Hole)
    for key in ("ask", "choices"):
        is_there = getattr(table, key) is not None
        if is_asking and not is_there:
            problems.note((*path, key), "is missing; a rule that asks says what, with choices.")
        if is_there and not may_ask:
            problems.note(
                (*path, key), "is read by nothing: neither outcome nor unknown is a question."
            )


def _unknown_name(name: str, known: Iterable[str]) -> InputError:
    return InputError(
        "measure-unknown",
        f"the name {name!r} is not in the vocabulary",
        remedy=did_you_mean(name, known),
    )
