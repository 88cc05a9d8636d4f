"""The answer of one job on one model: a typed document, written as JSON and read back.

It is made once, from a decision (:mod:`.making`); ``check --json``, kept answers, the terminal,
the sheet, pages, the API and replay are views of it. Lengths in mm, masses in kg, forces in N,
moments in N*m, stresses in MPa; positions from the chuck face.

The JSON is a contract: keys are added, never renamed or removed. A key that was added later
names the form it came with, so an answer of an earlier form is read without loss, and one that is
worked out again can be written as it was then. All of the contract stands in this one file, however
long, so that it can be read from top to bottom.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Final, Literal, cast

from ...catalogue.errors import CuttableError
from ...catalogue.machines import naming

if TYPE_CHECKING:
    from pydantic import TypeAdapter

SCHEMA: Final = "cuttable.verdicts/1"
FORM: Final = 2
"""The form written today. 1: the first one. 2: titles, units, and what a sheet needs."""

Plan = Literal["rated", "absolute", "given", "none", "not-planned"]
Behaviour = Literal["stays", "tips-inner-end-up", "tips-inner-end-down", "drops", "caught"]
Role = Literal["carries", "catches"]
Taker = Literal["supports", "bin"]
Action = Literal["move", "raise"]
Outcome = Literal["setting", "conditions", "question", "refused"]
Units = Literal["si", "us"]
CureKind = Literal[
    "stations", "stock", "accessories", "grip", "order", "bow", "off-axis", "behind", "length",
    "parts", "model",
]  # fmt: skip
Ramp = Literal["constant-time", "constant-acceleration"]
ForceSetBy = Literal["pressure", "key-torque"]
PaperName = Literal["a4", "letter"]


class Verdict(StrEnum):
    """What the answer is. None in its place: a question is open."""

    IN_RANGE = "in-range"
    CONDITIONS = "oversize-allowed-with-conditions"
    REFUSED = "refused"


VERDICTS: Final[Mapping[str, Verdict]] = {
    "setting": Verdict.IN_RANGE, "conditions": Verdict.CONDITIONS, "refused": Verdict.REFUSED,
}  # fmt: skip
"""The verdict of every outcome of a rule but an open question."""


IF_ANY: Final = {"if_any": True}
"""Of a field that is not written where it is None or empty."""
SINCE_2: Final = {"if_any": True, "form": 2}
"""Of a field that came with form 2."""


class _Part:
    """A part of the document; the sentence below a field is its description in the schema."""

    __slots__ = ()
    __pydantic_config__: ClassVar[Any] = {"use_attribute_docstrings": True}


@dataclass(frozen=True, slots=True, kw_only=True)
class SizesInInches(_Part):
    """Sizes as the standard prints them in inches."""

    outside_diameter: float | None = field(default=None, metadata=IF_ANY)
    height: float | None = field(default=None, metadata=IF_ANY)
    width: float | None = field(default=None, metadata=IF_ANY)
    wall: float

    @property
    def sizes(self) -> tuple[float, ...]:
        """Outside sizes and wall."""
        outside = (self.outside_diameter, self.height, self.width)
        return (*(size for size in outside if size is not None), self.wall)


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionAsked(_Part):
    """The section. A round has an outside diameter, others height and width."""

    designation: str
    """As the tables write it."""
    shape: Literal["round", "square", "rectangular"]
    outside_diameter: float | None = field(default=None, metadata=IF_ANY)
    """mm."""
    height: float | None = field(default=None, metadata=IF_ANY)
    """mm."""
    width: float | None = field(default=None, metadata=IF_ANY)
    """mm."""
    wall: float
    """mm."""
    standard: str
    """The standard whose table it is in; empty for a size of its own."""
    inches: SizesInInches | None = field(default=None, metadata=SINCE_2)
    """The same as printed in inches, where the standard prints them."""

    @property
    def sizes(self) -> tuple[float, ...]:
        """Outside sizes and wall, mm."""
        outside = (self.outside_diameter, self.height, self.width)
        return (*(size for size in outside if size is not None), self.wall)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWanted(_Part):
    """Parts of one length that are wanted."""

    length: float
    """mm."""
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OffAxis(_Part):
    """A flange, branch or clamp off the axis."""

    mass: float
    """kg."""
    distance: float
    """mm from the axis."""
    size: float | None = field(default=None, metadata=IF_ANY)
    """Its greatest width across the axis, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobAsked(_Part):
    """What was asked about, as it was read."""

    section: SectionAsked
    grade: str
    stock_length: float
    """mm."""
    parts: tuple[PartWanted, ...] = field(default=(), metadata=IF_ANY)
    cuts: tuple[float, ...] = field(default=(), metadata=IF_ANY)
    """mm from the chuck face."""
    stations: tuple[float, ...] = field(default=(), metadata=IF_ANY)
    """Supports as given, mm from the chuck face."""
    behind: float | None = field(default=None, metadata=IF_ANY)
    """mm of stock behind the chuck."""
    grip: str | None = field(default=None, metadata=IF_ANY)
    """Where the jaws hold, if not outside."""
    bow: float | None = field(default=None, metadata=IF_ANY)
    """Measured bow, mm."""
    off_axis: OffAxis | None = field(default=None, metadata=IF_ANY)
    ends: str | None = field(default=None, metadata=IF_ANY)
    contents: str | None = field(default=None, metadata=IF_ANY)
    coating: str | None = field(default=None, metadata=IF_ANY)
    fitted: tuple[str, ...] = field(default=(), metadata=IF_ANY)
    """Accessories that are fitted, by code."""
    assumptions: tuple[str, ...] = field(default=(), metadata=IF_ANY)
    """What was taken for granted, in sentences."""

    @property
    def front(self) -> float:
        """Length in front of the chuck face, mm."""
        return self.stock_length - (self.behind or 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineAsked(_Part):
    """The model at the revision that was asked."""

    model: str
    """Its code; MODEL@SITE for a machine as it stands at a site."""
    revision: int
    digest: str
    """Of its content."""
    overlay_revision: int | None = field(default=None, metadata=IF_ANY)
    """Of what a site lays over the model."""
    file: str | None = field(default=None, metadata=IF_ANY)
    """The file it was read from, where a person gave one; nobody has released it."""
    title: str | None = field(default=None, metadata=SINCE_2)
    """The model in words."""

    @property
    def named(self) -> str:
        """Its code, told apart from the released model of that code where it is from a file."""
        return naming.named(self.model, self.file)

    @property
    def release(self) -> str:
        """Which revision it is, in words; of a file, that nobody has released it."""
        return naming.release(self.revision, self.overlay_revision, self.file)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure(_Part):
    """One measure of this job on this model, against its limit where it has one."""

    value: float
    """At nominal size and mass, in ``unit``."""
    heavy: float | None = field(default=None, metadata=IF_ANY)
    """At the heavy end: the heaviest and largest that the mill may deliver."""
    unit: str
    minimum: float | None = field(default=None, metadata=IF_ANY)
    """What must be had at least."""
    rated: float | None = field(default=None, metadata=IF_ANY)
    """Up to this the machine works as delivered."""
    absolute: float | None = field(default=None, metadata=IF_ANY)
    """Beyond this never."""
    utilisation: float | None = field(default=None, metadata=IF_ANY)
    """Share of the rated limit that is used; 1 is full."""
    heavy_utilisation: float | None = field(default=None, metadata=IF_ANY)
    """The same at the heavy end."""
    title: str | None = field(default=None, metadata=SINCE_2)
    """The measure in words."""
    inches: float | None = field(default=None, metadata=SINCE_2)
    """A size of stock, nominal, that its standard prints in inches too: as printed."""
    heavy_inches: float | None = field(default=None, metadata=SINCE_2)
    """The same at the heavy end."""
    style: Literal["%"] | None = field(default=None, metadata=SINCE_2)
    """``%`` where a pure number is shown as a percentage."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(_Part):
    """A rule that holds for this job, or what follows from rules, in words."""

    rule: str
    title: str
    outcome: Outcome
    text: str
    basis: str
    """How the limit is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mitigation(_Part):
    """What must be done, in words and numbers."""

    code: str
    text: str
    values: Mapping[str, float]
    """Numbers of the sentence by name, in canonical units."""
    provided_by: str | None
    """The accessory that does it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(_Part):
    """What must be said first."""

    code: str
    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit(_Part):
    """What would make it fit, found on the verdict itself; parts and stations left aside."""

    longest_in_range: float | None = None
    """mm; None where no length is."""
    longest_allowed: float | None = None
    """mm; None where no length is."""
    smallest_model_in_range: str | None = None
    smallest_model_allowed: str | None = None
    accessories: tuple[str, ...] | None = field(default=None, metadata={"if_known": True})
    """Accessories that make it allowed; empty where none do, None where none are wanted."""
    lengths_in_range: tuple[tuple[float, float], ...] = field(default=(), metadata=SINCE_2)
    """mm, shortest and longest, of every stretch of lengths that is in range."""
    lengths_allowed: tuple[tuple[float, float], ...] = field(default=(), metadata=SINCE_2)
    """The same of lengths that are in range or allowed with conditions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CureChange(_Part):
    """One thing that is changed about a refused job. Which keys it has depends on its kind."""

    kind: CureKind
    say: Mapping[str, tuple[str, ...]]
    """Fields of the job and what is said in each instead, as it is typed; empty: leave it out."""
    least: float | None = field(default=None, metadata=IF_ANY)
    """mm (``off-axis``: kg): at least so much; every value up to ``most`` does as well."""
    most: float | None = field(default=None, metadata=IF_ANY)
    """mm (``off-axis``: kg): at most so much."""
    stations: tuple[float, ...] = field(default=(), metadata=IF_ANY)
    """mm from the chuck face: where supports stand then; empty where they are to be planned."""
    moved: tuple[float, ...] = field(default=(), metadata=IF_ANY)
    """mm: the one support that is moved, from and to; one number where it is taken away."""
    parts: tuple[PartWanted, ...] = field(default=(), metadata=IF_ANY)
    """The parts that are cut then, in their order from the free end."""
    names: tuple[str, ...] = field(default=(), metadata=IF_ANY)
    """Codes of accessories that are fitted, the model, or what a fact of the stock becomes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure(_Part):
    """What would make a refused job go: found by trying it, the whole verdict given."""

    changes: tuple[CureChange, ...]
    """All of them together; two only where no single one is enough."""
    verdict: Verdict
    """What the job gets with them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clamping(_Part):
    """One clamping of long stock, with the parts that are cut in it; a whole verdict of its own."""

    ahead: float
    """mm in front of the chuck face."""
    behind: float
    """mm behind it."""
    pushed: float | None = field(default=None, metadata=IF_ANY)
    """mm by which the stock is pushed out before; None for the first."""
    parts: tuple[PartWanted, ...]
    """What is cut, from the free end."""
    cuts: tuple[float, ...]
    """mm from the chuck face."""
    say: Mapping[str, tuple[str, ...]]
    """Fields of the job and what is said in each to ask about this clamping alone."""
    verdict: Verdict
    decided_by: str | None
    governing: str
    utilisation: float | None
    stations: tuple[float, ...] = ()
    """mm: where supports are planned for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forbidden(_Part):
    """What of the machine forbids to clamp again."""

    kind: Literal["bore", "rear-room", "rule"]
    needed: float | None = field(default=None, metadata=IF_ANY)
    """mm of bore, bow and mill tolerance counted, or of room behind the chuck."""
    room: float | None = field(default=None, metadata=IF_ANY)
    """mm that the machine has; None where it is not stated."""
    rule: str | None = field(default=None, metadata=IF_ANY)
    """The rule that refuses a clamping where bore and room would do."""
    title: str | None = field(default=None, metadata=IF_ANY)
    """That rule in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clampings(_Part):
    """Stock too long for the bed, its parts cut in several clampings, pushed out between."""

    needed: int
    """How many."""
    steps: tuple[Clamping, ...] = ()
    """One after the other; none where the machine forbids them."""
    verdict: Verdict | None = field(default=None, metadata=IF_ANY)
    """The worst of all."""
    remnant: float | None = field(default=None, metadata=IF_ANY)
    """mm left in the jaws."""
    forbidden: tuple[Forbidden, ...] = field(default=(), metadata=IF_ANY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Support(_Part):
    """One support in its place."""

    station: float
    """mm from the chuck face."""
    support: str
    """What stands there, by code."""
    reaction: float
    """N, heavy end, the worse of clamped and pinned chuck."""
    lifts_off: bool
    centre_height: float | None
    """mm of the stock's centre above the support datum; None where it has none."""
    reaction_per_mm: float | None
    """N by which its load changes when it stands 1 mm too high or low."""
    title: str | None = field(default=None, metadata=SINCE_2)
    """What stands there, in words."""
    role: Role | None = field(default=None, metadata=SINCE_2)
    """``carries`` while the stock turns; ``catches`` a part, with the rotation stopped, and carries
    nothing until then: its reaction is that of the part. Only where stock is cut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tabs(_Part):
    """Tabs that hold a part until it is lifted."""

    count: int
    width: float
    """mm."""
    stress: float
    """MPa."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(_Part):
    """A part as it comes free, in the order of the cuts."""

    cut: float
    """mm from the chuck face."""
    length: float
    """mm."""
    behaviour: Behaviour
    tabs: Tabs | None
    """None where nothing needs to hold it, or nothing can."""
    taker: Taker | None = field(default=None, metadata=SINCE_2)
    """What takes a part that is caught."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(_Part):
    """Something to be done before a cut."""

    cut: int
    """Which cut, 1 for the first."""
    action: Action
    """``move`` a support to another station; ``raise`` it to contact with the rotation stopped,
    before the last tab is cut."""
    station: float
    """mm, where it stands, or stood before it is moved."""
    to: float | None = field(default=None, metadata=SINCE_2)
    """mm, where it is moved to."""
    support: str
    """What it is, by code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp(_Part):
    """How the machine is to be set; only ``plan`` where supports were not planned."""

    rapid_override: float | None = field(default=None, metadata=IF_ANY)
    """Share of the full rapid."""
    acceleration: float | None = field(default=None, metadata=IF_ANY)
    """rad/s^2 of a full rapid ramp; to be set only where ``ramp`` says so."""
    jaw_force: float | None = field(default=None, metadata=IF_ANY)
    """N, each jaw."""
    bow_to_refuse: float | None = field(default=None, metadata=IF_ANY)
    """mm: stock that is bowed more is refused."""
    plan: Plan
    """How stations were found: within rated or absolute limits, given, or not at all."""
    supports: tuple[Support, ...] = ()
    chuck_reaction: float | None = None
    """N, heavy end, the worse chuck end; signed."""
    chuck_moment: float | None = None
    """N*m, likewise."""
    sag: float | None = None
    """mm, the largest."""
    tip_deflection: float | None = None
    """mm, of the free end."""
    tip_slope: float | None = None
    """Slope of the free end, downward positive."""
    height_tolerance: float | None = None
    """mm that every support may be off; None where none is sensitive."""
    safe_part_lengths: tuple[tuple[float, float], ...] = ()
    """mm, from and to: what stays when cut off the free end of the whole stock."""
    parts: tuple[Part, ...] = ()
    remnant: float | None = None
    """mm left in front of the chuck face."""
    trim: float | None = field(default=None, metadata=SINCE_2)
    """mm cut off the free end before the first part."""
    stub: float | None = field(default=None, metadata=SINCE_2)
    """mm in front of the chuck face where nothing can be cut."""
    last_station: float | None = field(default=None, metadata=SINCE_2)
    """mm: where the last support of the bed can stand."""
    ramp: Ramp | None = field(default=None, metadata=SINCE_2)
    """Kind of ramp; with one of constant time no acceleration can be set."""
    jaw_set_by: ForceSetBy | None = field(default=None, metadata=SINCE_2)
    """What the operator sets for the jaw force."""
    jaw_set_to: float | None = field(default=None, metadata=SINCE_2)
    """bar of pressure, or N*m of key torque."""
    steps: tuple[Step, ...] = field(default=(), metadata=SINCE_2)
    """What is done before each cut so that its part is caught, in order."""
    plan_reason: str | None = field(default=None, metadata=SINCE_2)
    """Why supports stand so, in a line, where stock is cut."""

    @property
    def settings(self) -> dict[str, float]:
        """What the machine is set to by name, in canonical units."""
        names = ("rapid_override", "acceleration", "jaw_force", "bow_to_refuse")
        told: dict[str, float | None] = {name: getattr(self, name) for name in names}
        if self.ramp == "constant-time":
            del told["acceleration"]
        return {name: value for name, value in told.items() if value is not None}

    @property
    def is_planned(self) -> bool:
        """Say whether it is told where supports stand; not where something else refuses."""
        return self.plan != "not-planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance(_Part):
    """What the answer rests on: the tool, and digests of rules and catalogue."""

    tool: str
    rules: str
    catalogue: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedNumber(_Part):
    """A number that a measure was worked out from."""

    value: float | None
    unit: str
    heavy: float | None = field(default=None, metadata=IF_ANY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced(_Part):
    """How a measure came about."""

    name: str
    value: float | None
    unit: str
    heavy: float | None = field(default=None, metadata=IF_ANY)
    formula: str
    source: str
    inputs: Mapping[str, TracedNumber]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceOver(_Part):
    """How likely a delivered piece is over one limit, 0 to 1."""

    normal: float
    """A tolerance is three standard deviations, and nothing lies beyond it."""
    uniform: float
    """Every size within tolerance is as likely."""
    lot_normal: float | None = field(default=None, metadata=IF_ANY)
    """That any piece of the lot is over, where a lot was told of."""
    lot_uniform: float | None = field(default=None, metadata=IF_ANY)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceOfLimits(_Part):
    """Chances for one measure; a limit that is not known has none."""

    rated: ChanceOver | None = field(default=None, metadata=IF_ANY)
    absolute: ChanceOver | None = field(default=None, metadata=IF_ANY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance(_Part):
    """Chances that delivered stock is over a limit. They rank; no verdict is of them."""

    limits: Mapping[str, ChanceOfLimits]
    """By measure; empty where none is worked out."""
    lot: int | None = field(default=None, metadata=IF_ANY)
    """Pieces of one heat."""
    not_worked_out: str | None = field(default=None, metadata=IF_ANY)
    """Why there are none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer(_Part):
    """The answer of one job on one model.

    ``verdict`` is None while a question is open.
    """

    id: str
    """The same for the same question, model and basis."""
    verdict: Verdict | None
    machine: MachineAsked
    job: JobAsked
    governing: str
    """The measure whose limit is used most; empty for none."""
    decided_by: str | None
    """The rule that decides; None for in range."""
    measures: Mapping[str, Measure]
    findings: tuple[Finding, ...]
    mitigations: tuple[Mitigation, ...]
    cautions: tuple[str, ...]
    close: tuple[str, ...]
    """Measures that are close to their limits."""
    not_assessed: tuple[str, ...]
    """What was not assessed, and therefore not passed, by code."""
    would_fit: Fit | None
    """What would make it fit; None (written as an empty object) where nothing was looked for."""
    setup: SetUp
    provenance: Provenance
    units: Units | None = field(default=None, metadata=SINCE_2)
    """The units of its sentences."""
    left_out: tuple[str, ...] = field(default=(), metadata=SINCE_2)
    """``not_assessed`` in words."""
    missing: tuple[str, ...] = field(default=(), metadata=SINCE_2)
    """Accessories that are needed and not fitted, by code."""
    questions: tuple[Question, ...] = field(default=(), metadata=SINCE_2)
    """What must be said first, on this model."""
    trace: tuple[Traced, ...] = field(default=(), metadata=IF_ANY)
    """Every measure with its formula and inputs, where it was asked for."""
    chance: Chance | None = field(default=None, metadata=SINCE_2)
    """Chances of being over a limit, where they were asked for."""
    cures: tuple[Cure, ...] = field(default=(), metadata=SINCE_2)
    """What would make a refused job go on this model, or another one; the least trouble first."""
    clampings: Clampings | None = field(default=None, metadata=SINCE_2)
    """Where stock is too long for the bed and passes the bore: its parts in several clampings."""

    def __repr__(self) -> str:
        from .notebook import line_of

        return line_of(self)

    def _repr_html_(self) -> str:
        """Return the answer as a notebook shows it."""
        from .notebook import html_of

        return html_of(self)

    @property
    def to_do(self) -> tuple[str, ...]:
        """What must be done, as sentences; nothing where no setting lifts a refusal."""
        from .words import boxes

        return boxes(self)

    def sheet(
        self, path: str | Path, *, units: Units | None = None, paper: PaperName | None = None
    ) -> Path:
        """Write the one-page set-up sheet and return its path.

        Args:
            path: a file that ends in ``.pdf``, ``.svg`` or ``.html``.
            units: shown first; else those of the answer.
            paper: by default Letter for feet and inches, else A4.

        Raises:
            InputError: ``choice-unknown`` for another ending.
            OSError: the file cannot be written.
        """
        from ..sheet.rendering import kind_of_file, sheet_file

        where = Path(path)
        made = sheet_file(self, kind_of_file(where), units or self.units or "si", paper)
        where.write_bytes(made)
        return where


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply(_Part):
    """What came of asking: answers best first, or the questions that stand before them."""

    schema: Literal["cuttable.verdicts/1"] = SCHEMA
    verdicts: tuple[Answer, ...] = ()
    """One answer a model, the best first."""
    questions: tuple[Question, ...] = ()
    """What must be said first; there is no answer then."""
    form: int = field(default=1, metadata={"form": 2})
    """Which keys it has; an answer without this key is of the first form."""

    def __repr__(self) -> str:
        asked = ", ".join(item.code for item in self.questions)
        best = f"best {self.best}" if self.verdicts else f"questions {asked or 'none'}"
        return f"<Reply of {len(self.verdicts)} answers, {best[:300]}>"

    @property
    def untraced(self) -> "Reply":
        """The same without how each measure came about and without chances, as it is kept."""
        plain_ones = (replace(item, trace=(), chance=None) for item in self.verdicts)
        return replace(self, verdicts=tuple(plain_ones))

    @property
    def best(self) -> Verdict | None:
        """The best verdict; None if there is none."""
        return self.verdicts[0].verdict if self.verdicts else None


# --- written and read ---------------------------------------------------------------------


def plain(item: Any, form: int = FORM) -> Any:
    """Return a part of the document as plain data for JSON, in the keys of a form."""
    if isinstance(item, SetUp) and not item.is_planned:
        return {"plan": item.plan}
    if is_dataclass(item):
        found: dict[str, Any] = {}
        for name, added, if_any, if_known in _keys(type(item)):
            value = getattr(item, name)
            if added > form or (if_any and value in (None, ())) or (if_known and value is None):
                continue
            found[name] = {} if name == "would_fit" and value is None else plain(value, form)
        return found
    if isinstance(item, tuple):
        return [plain(part, form) for part in cast("tuple[Any, ...]", item)]
    if isinstance(item, Mapping):
        return {k: plain(part, form) for k, part in cast("Mapping[str, Any]", item).items()}
    return item.value if isinstance(item, StrEnum) else item


@cache
def _keys(kind: type[Any]) -> tuple[tuple[str, int, bool, bool], ...]:
    return tuple(
        (each.name, each.metadata.get("form", 1), each.metadata.get("if_any", False),
         each.metadata.get("if_known", False))
        for each in fields(kind)
    )  # fmt: skip


def text_of(reply: Reply, form: int = FORM) -> str:
    """Return a reply as the JSON text that ``check --json`` prints and answers are kept as."""
    return json.dumps(plain(reply, form), ensure_ascii=False, indent=2, allow_nan=False)


def read_reply(text: str) -> Reply:
    """Return a reply from its JSON text, of this form or an earlier one.

    Raises:
        CuttableError: ``answer-unreadable`` where it is no such text.
    """
    from pydantic import ValidationError

    try:
        content = json.loads(text)
        for item in content["verdicts"]:
            item["would_fit"] = item["would_fit"] or None
        return _adapter().validate_python(content)
    except (ValidationError, ValueError, KeyError, TypeError) as fault:
        told = fault.errors()[0] if isinstance(fault, ValidationError) else None
        where = ".".join(map(str, told["loc"])) if told else ""
        raise CuttableError(
            "answer-unreadable", "this is no answer that cuttable can read"
            + (f": {told['msg'][:100]}" if told else ""), where=where,
            remedy="If a later version wrote it, read it with that one.",
        ) from None  # fmt: skip


@cache
def _adapter() -> "TypeAdapter[Reply]":
    from pydantic import TypeAdapter

    return TypeAdapter(Reply)


def answer_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of what ``check --json`` prints."""
    parts = answer_schemas("#/$defs/")
    whole = parts.pop("Reply")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **whole, "$defs": parts}


def answer_schemas(at: str) -> dict[str, dict[str, Any]]:
    """Return the JSON Schemas of a reply and of all its parts by name.

    Args:
        at: where they refer to each other, such as ``#/$defs/``.
    """
    from pydantic.json_schema import GenerateJsonSchema

    made = GenerateJsonSchema(by_alias=True, ref_template=f"{at}{{model}}").generate(
        _adapter().core_schema
    )
    parts: dict[str, dict[str, Any]] = made.pop("$defs")
    parts["Reply"] = made | {"title": "Reply", "required": ["schema", "verdicts", "questions"]}
    # None is written as an empty object, and what was looked for is told in full.
    nothing = {"type": "object", "maxProperties": 0}
    parts["Answer"]["properties"]["would_fit"]["anyOf"][1] = nothing
    parts["Fit"]["required"] = [each.name for each in fields(Fit) if not each.metadata]
    return parts
