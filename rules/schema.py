"""The schemas of rule files: topics, mitigations, cautions, vocabulary and cases.

Conditions and expressions are texts here. That they can be read, and that every name in them is
in the vocabulary, is checked where they are parsed.
"""

from typing import Annotated, Any, Literal

from pydantic import Field

from ..catalogue.files.schema import Date, Entry, Rows, Table, Text, Words
from .model import HeavyEnd, Outcome, Unknown

Verdict = Literal["in-range", "oversize-allowed-with-conditions", "question", "refused"]
_Basis = Annotated[Text, Field(description="Where it is from: a standard, or common practice.")]
_Condition = Annotated[
    Text,
    Field(description="A condition in names of the vocabulary.",
          examples=["stock_mass > limit.stock_mass.rated"]),
]  # fmt: skip
_Sentence = Annotated[
    Text,
    Field(description="A sentence; values stand in braces, with :% as a percentage.",
          examples=["The wall is {wall}, above the rated {limit.wall.rated}."]),
]  # fmt: skip
_Unit = Annotated[Text, Field(description="Its unit; 1 for a pure number.", examples=["mm"])]
_Title = Annotated[Text, Field(description="What it is called.")]


class ParameterTable(Table):
    """A number that rules use and a builder can change."""

    value: Annotated[Text, Field(description="Number and unit.", examples=["50 %", "3 mm"])]
    unit: _Unit
    basis: _Basis


class RuleTable(Table):
    """A condition, and what follows when it holds."""

    title: _Title
    when: _Condition
    given: Annotated[Words, Field(description="Tags of findings that must be there too.")] = ()
    outcome: Annotated[
        Outcome,
        Field(description="What follows. setting: ordinary set-up, the verdict stays."),
    ]
    unknown: Annotated[
        Unknown, Field(description="What follows when the condition cannot be judged.")
    ]
    says: _Sentence
    tags: Annotated[Words, Field(description="Marks that other rules ask for.")] = ()
    mitigations: Annotated[Words, Field(description="Codes of what lifts the condition.")] = ()
    ask: Annotated[
        Text | None, Field(description="The question, where the outcome or unknown is one.")
    ] = None
    choices: Annotated[Words | None, Field(description="Answers that can be typed.")] = None
    because: Annotated[Text, Field(description="Why, for the reader of the rule's page.")]
    basis: _Basis
    may_be_wrong_when: Annotated[Text, Field(description="When the rule does not fit.")]
    since: Annotated[Date, Field(description="Day from which it is in force.")]
    until: Annotated[
        Date | None, Field(description="Day from which it is not. A rule is never deleted.")
    ] = None


class LookupTable(Table):
    """A table from which the engine takes a number: by a fact, or by a size."""

    by: Annotated[Text, Field(description="A fact or number of the vocabulary.", examples=["wall"])]
    unit: _Unit
    values: Annotated[
        dict[str, Text],
        Field(description="By a fact: its values. By a size: each holds up to and with it."),
    ]
    beyond: Annotated[Text | None, Field(description="By a size: the number above the last.")] = (
        None
    )
    basis: _Basis


class NumbersFile(Table):
    """Numbers that rules and the engine use."""

    parameters: dict[str, Entry[ParameterTable]] = Field(default_factory=dict)
    lookups: dict[str, Entry[LookupTable]] = Field(default_factory=dict)


class TopicFile(NumbersFile):
    """The rules of one topic, and the numbers they use."""

    rules: dict[str, Entry[RuleTable]]


class MitigationTable(Table):
    """What must be done."""

    title: _Title
    text: _Sentence
    values: Annotated[
        dict[str, Text], Field(description="Numbers for programs, as expressions by name.")
    ] = Field(default_factory=dict)
    provided_by: Annotated[Text | None, Field(description="Accessory that must be fitted.")] = None
    needs: Annotated[Words, Field(description="Others that come with it.")] = ()
    replaces: Annotated[Words, Field(description="What it makes superfluous.")] = ()
    conflicts: Annotated[Words, Field(description="What it cannot stand beside.")] = ()
    basis: _Basis


class MitigationFile(Table):
    """Mitigations, by code."""

    mitigations: dict[str, Entry[MitigationTable]]


class CautionTable(Table):
    """A standing safety line."""

    text: Annotated[Text, Field(description="The line.")]
    when: Annotated[Text | None, Field(description="Printed only where this is not false.")] = None
    source: _Basis


class CautionFile(Table):
    """Cautions, by code."""

    cautions: dict[str, Entry[CautionTable]]


# --- vocabulary ---------------------------------------------------------------------------


class MeasureTable(Table):
    """A measure."""

    unit: _Unit
    title: _Title
    heavy: Annotated[HeavyEnd, Field(description="Which way its heavy end lies.")]


class LimitTable(Table):
    """A limit of a machine file, and which bounds it has."""

    unit: _Unit
    bounds: Words


class NumberTable(Table):
    """A number of the machine or the material."""

    unit: _Unit
    title: _Title


class FactTable(Table):
    """A fact with fixed values; harmless ones need no rule."""

    values: Words
    harmless: Words


_Expression = Annotated[Text, Field(description="An expression in names of the vocabulary.")]


class GaugeTable(Table):
    """How full a limit is: demand over rated."""

    demand: _Expression
    rated: _Expression
    absolute: _Expression | None = None
    minimum: _Expression | None = None
    when: Annotated[Text | None, Field(description="Rows it applies to; all if left out.")] = None
    style: Annotated[Literal["", "%"], Field(description="% shows its numbers as percentages.")] = (
        ""
    )
    chosen: Annotated[
        bool, Field(description="The demand is chosen to fill the limit; decides when over.")
    ] = False


class VocabularyFile(Table):
    """The closed set of names that rules may use."""

    schema_version: Annotated[
        int, Field(alias="schema", ge=1, le=2, description="Version of the form of a rule set: 2.")
    ] = 1
    measures: Annotated[
        dict[str, Entry[MeasureTable]] | None,
        Field(description="In version 1 only: the program declares its measures itself."),
    ] = None
    not_assessed: dict[str, Text]
    limits: dict[str, Entry[LimitTable]]
    machine: dict[str, Entry[NumberTable]]
    material: dict[str, Entry[NumberTable]]
    facts: dict[str, Entry[FactTable]]
    accessories: dict[str, Text]
    gauges: dict[str, Entry[GaugeTable]]


# --- cases --------------------------------------------------------------------------------

_Given = Annotated[
    dict[str, Any], Field(description="Values by dotted name; 'unknown' for what is not known.")
]


class BaseCaseFile(Table):
    """The case in which everything is in range; every other case changes a few names of it."""

    given: _Given


class CaseTable(Table):
    """What is given, and exactly what must follow."""

    name: Annotated[Text, Field(description="What it shows, as a sentence.")]
    given: _Given
    fitted: Annotated[Words, Field(description="Codes of accessories fitted.")] = ()
    holds: Annotated[Words, Field(description="Codes of exactly the rules that hold.")]
    cannot_judge: Annotated[
        Words, Field(description="Codes of exactly the rules that cannot be judged.")
    ] = ()
    mitigations: Annotated[
        Words | None, Field(description="Exactly what must be done, where it is said.")
    ] = None
    verdict: Annotated[Verdict, Field(description="What comes of it.")]


class CaseFile(Table):
    """Cases of one topic."""

    cases: Rows[CaseTable]
