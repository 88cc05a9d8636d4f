"""The report of what a draft would change, as it is attached to the draft (``cuttable.impact/1``).

Keys as :meth:`cuttable.engine.impact.model.Impact.to_json` and
:func:`cuttable.engine.review.draft_impact.report_of` write them.
"""

from typing import TYPE_CHECKING, Any, Literal

from ...catalogue.files.plain_schema import plain_schema
from ...catalogue.ledger.difference import Difference
from ...engine.impact.model import Example
from ...engine.impact.ranking import Refusal
from ..content import Content

if TYPE_CHECKING:
    Differs = dict[str, Any]
    Refuses = dict[str, Any]
    JobThatChanges = dict[str, Any]
else:
    Differs = plain_schema(Difference)
    Refuses = plain_schema(Refusal)
    JobThatChanges = plain_schema(Example)


class BacklogAsked(Content):
    """The jobs that were asked."""

    name: str
    digest: str
    """Of the file's content."""
    rows: int


class ModelAsked(Content):
    """A machine model as it was asked."""

    model: str
    revision: int
    digest: str


class SideOf(Content):
    """One of the two states that are compared, and what it comes to."""

    machines: list[ModelAsked]
    rules: str
    """Digest."""
    catalogue: str
    """Digest."""
    jobs: int
    faulty: int
    """Rows that cannot be read."""
    verdicts: dict[str, int]
    """Answers by verdict; the empty name is an open question."""
    refused_by: list[Refuses]
    """What refuses, the most first."""


class Totals(Content):
    """How many answers there are of which kind."""

    jobs: int
    not_asked: int
    answers: int
    faulty: int
    unchanged: int
    numbers_only: int
    changed: int


class BeforeAfter(Content):
    """A code before and after; empty for none."""

    before: str
    after: str


class Governs(BeforeAfter):
    """Measures that govern before and after, and of how many answers."""

    jobs: int


class GainedLost(Content):
    """Mitigations by code, with the number of answers."""

    gained: dict[str, int]
    lost: dict[str, int]


class MissingFitted(Content):
    """Accessories by code, with the number of answers."""

    missing: dict[str, int]
    no_longer_missing: dict[str, int]


class CauseOf(Content):
    """Answers that change in the same way."""

    decided_by: BeforeAfter
    jobs: int
    governing: list[Governs]
    mitigations: GainedLost
    accessories: MissingFitted
    examples: list[JobThatChanges]


class GroupOf(Content):
    """Answers whose verdict changes alike; an empty one is no verdict."""

    kind: Literal["newly-refused", "newly-conditional", "no-answer", "lifted", "other"]
    before: str
    after: str
    jobs: int
    causes: list[CauseOf]


class AboutDraft(Content):
    """What the report is about: it holds only as long as this is so."""

    draft: str
    """Which revision, MODEL/NUMBER."""
    content: str
    """Digest of the draft's files."""
    base: str
    """Digest of the files it is compared with."""
    base_revision: str
    beside: dict[str, int]
    """What else was in force: number of the revision by document."""
    differences: list[Differs]


class ImpactReport(Content):
    """What a draft would change over many jobs."""

    schema: Literal["cuttable.impact/1"]
    backlog: BacklogAsked
    before: SideOf
    after: SideOf
    totals: Totals
    numbers_only: dict[str, int]
    """Of answers of which only numbers differ, how many differ in each column."""
    groups: list[GroupOf]
    """What changes; what is newly refused first."""
    about: AboutDraft
