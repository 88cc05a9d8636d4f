"""Load the rule set: strict, complete, with every problem told at once."""

import datetime as dt
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from ..catalogue.errors import FileError, InputError
from ..catalogue.nearest import did_you_mean
from ..catalogue.quantities import quantity
from ..catalogue.reading import Files, Reader, digest_of, files_of, parse_toml
from ..catalogue.units import Dimension, unit
from .contract import check_measures, check_served
from .expression import FactIs, Logical, Names, Numeric, parse_condition, parse_number
from .lookup import read_lookups
from .model import (
    HEAVY_ENDS,
    OUTCOMES,
    UNKNOWNS,
    Caution,
    Fact,
    Gauge,
    Measure,
    Mitigation,
    Parameter,
    Rule,
    RuleSet,
    Served,
    Template,
    Vocabulary,
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
    tops: dict[str, Reader] = {}
    for name in files.names("*.toml"):
        stem, where = name.removesuffix(".toml"), files.where(name)
        contents[stem] = files.read(name)
        tops[stem] = Reader(parse_toml(contents[stem], where), where)
    for needed in sorted(_NOT_TOPICS):
        if needed not in tops:
            raise FileError(
                "file-missing", f"{needed}.toml is missing", where=files.where(""),
                remedy="A rule set has vocabulary.toml, mitigations.toml and cautions.toml.",
            )  # fmt: skip
    schema = tops["vocabulary"].integer("schema", 1, SCHEMA, default=1)
    vocabulary = _read_vocabulary(tops["vocabulary"], served, schema)
    topics = {name: top for name, top in tops.items() if name not in _NOT_TOPICS}
    parameters, lookups = _read_parameters(topics), read_lookups(topics, vocabulary)
    if schema < SCHEMA:
        before = _earlier(schema)
        parameters = _read_parameters(before) | parameters
        lookups = read_lookups(before, vocabulary) | lookups
    loader = _Loader(vocabulary, parameters)
    every = [rule for name, top in topics.items() for rule in loader.rules(top, f"{name}.toml")]
    mitigations = loader.mitigations(tops["mitigations"])
    cautions = loader.cautions(tops["cautions"])
    gauges = loader.gauges(tops["vocabulary"].table("gauges"))
    _check_links(every, mitigations, tops["mitigations"], topics)
    if every:  # where there is no rule at all, that is what is wrong
        check_served(tops, vocabulary, parameters, lookups, served)
    # The vocabulary first: what is wrong there makes other files seem wrong.
    for top in (tops["vocabulary"], *tops.values()):
        top.finish("rule file")
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
        gauges,
        digest_of(*parts, in_force),
        lookups,
    )


def _earlier(schema: int) -> dict[str, Reader]:
    """Return what a rule set of this schema was released with, before files stated it."""
    path = EARLIER / f"schema_{schema}.toml"
    return {path.stem: Reader(parse_toml(path.read_bytes(), str(path)), str(path))}


def _read_vocabulary(top: Reader, served: Served, schema: int) -> Vocabulary:
    measures = dict(served.measures)
    if schema == 1:
        measures = _stated_measures(top.table("measures"), served)
    numbers: dict[str, str] = {}
    titles: dict[str, str] = {}
    for name, measure in measures.items():
        numbers[name] = measure.unit
        titles[name] = measure.title
        if measure.has_heavy:
            numbers[f"{name}.heavy"] = measure.unit
            titles[f"{name}.heavy"] = f"{measure.title}, heavy end"
    limits: dict[str, tuple[str, tuple[str, ...]]] = {}
    for name, table in top.table("limits").named_tables().items():
        bounds = tuple(table.texts("bounds"))
        limits[name] = (_unit(table), bounds)
        for bound in bounds:
            numbers[f"limit.{name}.{bound}"] = limits[name][0]
            titles[f"limit.{name}.{bound}"] = f"{bound} {titles.get(name, name)}"
        table.done()
    for group in ("machine", "material"):
        for name, table in top.table(group).named_tables().items():
            numbers[f"{group}.{name}"] = _unit(table)
            titles[f"{group}.{name}"] = table.text("title")
            table.done()
    facts: dict[str, Fact] = {}
    for name, table in top.table("facts").named_tables().items():
        facts[name] = Fact(name, tuple(table.texts("values")), tuple(table.texts("harmless")))
        table.done()
    not_assessed = top.table("not_assessed")
    accessories = top.table("accessories")
    vocabulary = Vocabulary(
        measures=measures,
        not_assessed={name: not_assessed.text(name) for name in not_assessed.data},
        limits=limits,
        numbers=numbers,
        titles=titles,
        facts=facts,
        accessories={name: accessories.text(name) for name in accessories.data},
    )
    top.table("gauges")  # read later: its expressions need the parameters
    top.done()
    return vocabulary


def _stated_measures(top: Reader, served: Served) -> dict[str, Measure]:
    """Read the measures that a vocabulary of the first schema states by itself."""
    measures: dict[str, Measure] = {}
    for name, table in top.named_tables().items():
        heavy = table.choice("heavy", HEAVY_ENDS)
        measures[name] = Measure(name, _unit(table), table.text("title"), heavy)
        table.done()
    check_measures(top, measures, served)
    return measures


def _unit(table: Reader) -> str:
    name = table.text("unit")
    try:
        return unit(name).name
    except InputError as fault:
        table.problem("unit", fault.what)
        return "1"


def _read_parameters(topics: dict[str, Reader]) -> dict[str, Parameter]:
    parameters: dict[str, Parameter] = {}
    for file, top in topics.items():
        for name, table in top.table("parameters", optional=True).named_tables().items():
            text, basis = table.text("value"), table.text("basis")
            unit_name = _unit(table)
            value = float("nan")
            try:
                value = quantity(text, unit(unit_name).dimension) if text else value
            except InputError as fault:
                table.problem("value", f"{fault.what}. {fault.remedy}")
            if name in parameters:
                table.problem("", f"the parameter is already in {parameters[name].file}.toml.")
            parameters[name] = Parameter(name, value, unit_name, basis, file)
            table.done()
    return parameters


_FIELD = re.compile(r"\{([^{}]*)\}")


class _Loader:
    def __init__(self, vocabulary: Vocabulary, parameters: dict[str, Parameter]) -> None:
        self.vocabulary = vocabulary
        self.parameters = parameters
        self.names = Names(self.number, self.fact)

    def number(self, name: str) -> Dimension:
        if name.startswith("param."):
            parameter = self.parameters.get(name[6:])
            if parameter is None:
                raise _unknown_name(name, (f"param.{known}" for known in self.parameters))
            return unit(parameter.unit).dimension
        if name not in self.vocabulary.numbers:
            raise _unknown_name(name, (*self.vocabulary.numbers, *self.vocabulary.facts))
        return unit(self.vocabulary.numbers[name]).dimension

    def fact(self, name: str) -> tuple[str, ...] | None:
        fact = self.vocabulary.facts.get(name)
        return fact.values if fact else None

    def condition(self, table: Reader, key: str) -> Logical:
        text = table.text(key)
        try:
            return parse_condition(text, self.names)
        except InputError as fault:
            table.problem(key, f"{fault.what}. {fault.remedy}".strip())
            return FactIs("", ())

    def expression(self, table: Reader, key: str, text: str) -> Numeric | None:
        try:
            return parse_number(text, self.names)
        except InputError as fault:
            table.problem(key, f"{fault.what}. {fault.remedy}".strip())
            return None

    def template(self, table: Reader, key: str) -> Template:
        text = table.text(key)
        pieces = _FIELD.split(text)
        fields: list[Numeric | str] = []
        styles: list[str] = []
        for piece in pieces[1::2]:
            source, _, style = piece.partition(":")
            styles.append(style)
            if style not in ("", "%"):
                table.problem(key, f"{style!r} is no style; % is the only one.")
            if source in self.vocabulary.facts:
                fields.append(source)
            elif (node := self.expression(table, key, source)) is not None:
                fields.append(node)
        if len(fields) != len(pieces) // 2:
            return Template((text,), (), ())
        return Template(tuple(pieces[::2]), tuple(fields), tuple(styles))

    def rules(self, top: Reader, file: str) -> list[Rule]:
        rules: list[Rule] = []
        for code, table in top.table("rules").named_tables().items():
            outcome = table.choice("outcome", OUTCOMES)
            unknown = table.choice("unknown", UNKNOWNS)
            is_asking = "question" in (outcome, unknown)
            rules.append(
                Rule(
                    code=code,
                    title=table.text("title"),
                    source=table.text("when"),
                    when=self.condition(table, "when"),
                    given=tuple(table.texts("given", [])),
                    outcome=outcome,
                    unknown=unknown,
                    says=self.template(table, "says"),
                    tags=tuple(table.texts("tags", [])),
                    mitigations=tuple(table.texts("mitigations", [])),
                    ask_text=table.text("ask") if is_asking else "",
                    ask_choices=tuple(table.texts("choices")) if is_asking else (),
                    because=table.text("because"),
                    basis=table.text("basis"),
                    may_be_wrong_when=table.text("may_be_wrong_when"),
                    since=_date(table, "since"),
                    until=_date(table, "until") if table.has("until") else None,
                    file=file,
                )
            )
            if outcome == "conditions" and not rules[-1].mitigations:
                table.problem("mitigations", "must name what lifts the condition.")
            table.done()
        top.done()
        return rules

    def mitigations(self, top: Reader) -> dict[str, Mitigation]:
        found: dict[str, Mitigation] = {}
        for code, table in top.table("mitigations").named_tables().items():
            values = table.table("values", optional=True)
            named = [(name, self.expression(values, name, values.text(name)))
                     for name in values.data]  # fmt: skip
            provided_by = table.text("provided_by", "")
            if provided_by and provided_by not in self.vocabulary.accessories:
                hint = did_you_mean(provided_by, self.vocabulary.accessories)
                table.problem("provided_by", f"{provided_by!r} is no accessory. {hint}")
            found[code] = Mitigation(
                code=code,
                title=table.text("title"),
                text=self.template(table, "text"),
                values=tuple((name, node) for name, node in named if node is not None),
                provided_by=provided_by,
                needs=tuple(table.texts("needs", [])),
                replaces=tuple(table.texts("replaces", [])),
                conflicts=tuple(table.texts("conflicts", [])),
                basis=table.text("basis"),
            )
            table.done()
        top.done()
        return found

    def gauges(self, top: Reader) -> tuple[Gauge, ...]:
        found: list[Gauge] = []
        for name, table in top.named_tables().items():
            if name not in self.vocabulary.measures:
                table.problem("", "is no measure of the vocabulary.")

            def read(key: str, table: Reader = table) -> Numeric | None:
                return self.expression(table, key, table.text(key)) if table.has(key) else None

            demand, rated = read("demand"), read("rated")
            if demand is None or rated is None:
                table.problem("", "needs demand and rated.")
                continue
            found.append(
                Gauge(
                    name, demand, rated, read("absolute"), read("minimum"),
                    self.condition(table, "when") if table.has("when") else None,
                    table.text("style", ""),
                    table.boolean("chosen") if table.has("chosen") else False,
                )
            )  # fmt: skip
            table.done()
        return tuple(found)

    def cautions(self, top: Reader) -> tuple[Caution, ...]:
        found: list[Caution] = []
        for code, table in top.table("cautions").named_tables().items():
            when = self.condition(table, "when") if table.has("when") else None
            found.append(Caution(code, table.text("text"), when, table.text("source")))
            table.done()
        top.done()
        return tuple(found)


def _date(table: Reader, key: str) -> dt.date:
    text = table.text(key)
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        table.problem(key, f"must be a date like '2026-11-25', not {text!r}.")
        return dt.date.min


def _unknown_name(name: str, known: Iterable[str]) -> InputError:
    return InputError(
        "measure-unknown",
        f"the name {name!r} is not in the vocabulary",
        remedy=did_you_mean(name, known),
    )


def _check_links(
    rules: list[Rule],
    mitigations: dict[str, Mitigation],
    mitigation_top: Reader,
    topics: dict[str, Reader],
) -> None:
    """Check that everything named exists, and that no code stands twice."""
    tags = {tag for rule in rules for tag in rule.tags}
    seen: dict[str, str] = {}
    _check_mitigations(mitigations, mitigation_top)
    for rule in rules:
        top = topics[rule.file.removesuffix(".toml")]
        if rule.code in seen:
            top.problem(f"rules.{rule.code}", f"the code is already in {seen[rule.code]}.")
        seen[rule.code] = rule.file
        for code in rule.mitigations:
            if code not in mitigations:
                hint = did_you_mean(code, mitigations)
                top.problem(f"rules.{rule.code}.mitigations", f"{code!r} does not exist. {hint}")
        for tag in rule.given:
            if tag not in tags:
                hint = did_you_mean(tag, tags)
                top.problem(f"rules.{rule.code}.given", f"no rule has the tag {tag!r}. {hint}")


def _check_mitigations(mitigations: dict[str, Mitigation], top: Reader) -> None:
    for mitigation in mitigations.values():
        for key in ("needs", "replaces", "conflicts"):
            for code in getattr(mitigation, key):
                if code not in mitigations:
                    hint = did_you_mean(code, mitigations)
                    top.problem(
                        f"mitigations.{mitigation.code}.{key}", f"{code!r} does not exist. {hint}"
                    )
