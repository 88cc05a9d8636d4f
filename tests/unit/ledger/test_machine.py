"""Lives of limits that nobody thought of: any people, any order, held against a plain model."""

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar

from cuttable.catalogue.errors import InputError
from cuttable.catalogue.ledger import lifecycle as life
from cuttable.catalogue.ledger.records import Revision, moment, stamp
from cuttable.catalogue.ledger.releases import RELEASED
from cuttable.catalogue.ledger.snapshot import Mark, Snapshot
from cuttable.catalogue.ledger.verify import verify
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from ledger_workshop import FIRST, Clock, Databases, first_release, machine, opened

if TYPE_CHECKING:
    from cuttable.catalogue.ledger.database import Ledger

PEOPLE = ["Ana", "Bo", "Cem", "ana ", "B o"]
DOCUMENTS = ["rowan-150", "alder-320", "larch-610"]
MASSES = ["280 kg", "300 kg", "310 kg", "700 kg"]
FIRST_MASS = {"rowan-150": "280 kg", "alder-320": "700 kg"}
MICROSECOND = dt.timedelta(microseconds=1)

people = st.sampled_from(PEOPLE)
documents = st.sampled_from(DOCUMENTS)
numbers = st.integers(1, 7)
masses = st.sampled_from(MASSES)
reasons = st.sampled_from(["why", "why", "why", " "])
ahead = st.sampled_from([None, None, None, -1.0, 1.0, 26.0, 24.0 * 40])
"""Hours from now when something is to take effect; None where nobody says."""


def letters(name: str) -> str:
    """Return what of a name counts."""
    return name.replace(" ", "").casefold()


class Known:
    """What the model knows of a revision."""

    def __init__(self, base: int, mass: str, reason: str, author: str) -> None:
        self.base, self.mass, self.reason = base, mass, reason.strip()
        self.hands = {letters(author)}
        self.state, self.wanted = "draft", ""
        self.effective = ""
        self.approved: Revision | None = None
        self.was_seen = ""


class Lives(RuleBasedStateMachine):
    """People draft, edit, submit, give back, withdraw, approve and revoke, while time passes."""

    databases: ClassVar[Databases]

    @initialize()
    def begin(self) -> None:
        """Begin with the first release."""
        self.clock = Clock()
        self.ledger: Ledger = opened(self.databases.copy_of("first", first_release), self.clock)
        self.last = self.clock.now
        self.steps = 1 + len(FIRST)
        self.known: dict[tuple[str, int], Known] = {}
        for document, mass in FIRST_MASS.items():
            first = Known(0, mass, "First release", "cuttable")
            first.state, first.effective = "approved", RELEASED
            with self.ledger.reading() as connection:
                first.approved = life.revision(connection, document, 1)
            self.known[document, 1] = first
        self.seen: list[tuple[str, dict[str, int]]] = []
        self.marks: list[tuple[Mark, dict[str, tuple[int, str]]]] = []
        self.clock.on(hours=1)

    # --- the model ----------------------------------------------------------------------------

    def latest(self, document: str) -> int:
        """Return the number of the revision approved last; 0 where there is none."""
        return max(
            (number for (name, number), item in self.known.items()
             if name == document and item.state == "approved"), default=0,
        )  # fmt: skip

    def in_force(self, at: str) -> dict[str, int]:
        """Return what is in force at a moment, by number."""
        found: dict[str, int] = {}
        for (name, number), item in sorted(self.known.items()):
            if item.state == "approved" and item.effective <= at:
                found[name] = number
        return found

    def at(self) -> str:
        """Return when the next record will be."""
        return stamp(max(self.clock.now, self.last + MICROSECOND))

    def moment(self, hours: float | None) -> str:
        """Return when something is to take effect; empty where nobody says."""
        return "" if hours is None else stamp(self.clock.now + dt.timedelta(hours=hours))

    def refusal(self, document: str, number: int, *states: str) -> str:
        """Return why a step that wants one of some states is refused; empty where it is not."""
        item = self.known.get((document, number))
        if item is None:
            return "revision-unknown"
        return "" if item.state in states else "revision-state"

    def superseded(self, document: str, item: Known) -> str:
        """Return whether another was approved since a revision was drafted."""
        last = self.latest(document)
        return "base-superseded" if last not in (0, item.base) else ""

    def take(
        self, who: str, expected: str, step: Callable[..., Revision], *words: Any, **more: Any
    ) -> Revision | None:
        """Take a step; it must be refused as expected, or not at all."""
        at = self.at()
        try:
            with self.ledger.writing(who) as writing:
                made = step(writing, *words, **more)
        except InputError as fault:
            assert fault.code == expected, (fault, expected)
            return None
        assert not expected
        self.steps += 1
        self.last = moment(at)
        return made

    # --- what people do -----------------------------------------------------------------------

    @rule(hours=st.sampled_from([0.001, 0.96, 1.0, 25.0, 24.0 * 41]))
    def time_passes(self, hours: float) -> None:
        """Let time pass."""
        self.clock.on(hours=hours)

    @rule(who=people, document=documents, mass=st.none() | masses, reason=reasons)
    def draft(self, who: str, document: str, mass: str | None, reason: str) -> None:
        """Draft a revision, from the last or from a file."""
        last = self.latest(document)
        expected = "revision-unknown" if mass is None and not last else ""
        files = None if mass is None else {"x": machine(document, mass=mass)}
        made = self.take(who, expected, life.draft, document, files, reason=reason)
        if made is not None:
            number = 1 + max((n for name, n in self.known if name == document), default=0)
            assert (made.number, made.base, made.state) == (number, last, "draft")
            mass = mass or self.known[document, last].mass
            self.known[document, number] = Known(last, mass, reason, who)

    @rule(
        who=people, document=documents, number=numbers,
        mass=st.none() | masses, reason=st.none() | reasons,
    )  # fmt: skip
    def edit(
        self, who: str, document: str, number: int, mass: str | None, reason: str | None
    ) -> None:
        """Change a draft."""
        files = None if mass is None else {"x": machine(document, mass=mass)}
        made = self.take(
            who, self.refusal(document, number, "draft"),
            life.edit, document, number, files=files, reason=reason,
        )  # fmt: skip
        if made is not None:
            item = self.known[document, number]
            item.hands.add(letters(who))
            item.mass = mass or item.mass
            item.reason = item.reason if reason is None else reason.strip()

    @rule(who=people, document=documents, number=numbers, hours=ahead)
    def submit(self, who: str, document: str, number: int, hours: float | None) -> None:
        """Submit a draft."""
        wanted = self.moment(hours)
        expected = self.refusal(document, number, "draft")
        if not expected:
            item, last = self.known[document, number], self.latest(document)
            expected = self.superseded(document, item)
            if not expected and last and self.known[document, last].mass == item.mass:
                expected = "draft-unchanged"
            elif not expected and not item.reason:
                expected = "reason-missing"
            elif not expected and wanted and wanted < self.at():
                expected = "effective-past"
        made = self.take(who, expected, life.submit, document, number, effective=wanted)
        if made is not None:
            item = self.known[document, number]
            item.hands.add(letters(who))
            item.state, item.wanted = "submitted", wanted

    @rule(who=people, document=documents, number=numbers, reason=reasons)
    def give_back(self, who: str, document: str, number: int, reason: str) -> None:
        """Give a submitted revision back."""
        expected = self.refusal(document, number, "submitted")
        if not expected and not reason.strip():
            expected = "reason-missing"
        if self.take(who, expected, life.give_back, document, number, reason=reason) is not None:
            item = self.known[document, number]
            item.state, item.wanted = "draft", ""

    @rule(who=people, document=documents, number=numbers)
    def withdraw(self, who: str, document: str, number: int) -> None:
        """Give a revision up."""
        expected = self.refusal(document, number, "draft", "submitted")
        if self.take(who, expected, life.withdraw, document, number) is not None:
            self.known[document, number].state = "withdrawn"

    @rule(who=people, document=documents, number=numbers, hours=ahead)
    def approve(self, who: str, document: str, number: int, hours: float | None) -> None:
        """Approve a submitted revision."""
        self._approve(who, document, number, hours)

    def _approve(self, who: str, document: str, number: int, hours: float | None) -> None:
        effective, at = self.moment(hours), self.at()
        expected, begins = self.refusal(document, number, "submitted"), ""
        if not expected:
            item, last = self.known[document, number], self.latest(document)
            begins = effective or max(item.wanted, at)
            if letters(who) in item.hands:
                expected = "own-approval"
            elif self.superseded(document, item):
                expected = "base-superseded"
            elif begins < at:
                expected = "effective-past"
            elif last and begins <= self.known[document, last].effective:
                expected = "effective-overlap"
        made = self.take(
            who, expected, life.approve, document, number,
            effective=effective, without_impact="a test",
        )  # fmt: skip
        if made is not None:
            item = self.known[document, number]
            item.state, item.effective, item.approved = "approved", begins, made
            assert (made.effective, made.approved) == (begins, at)

    @rule(document=documents, mass=masses, hours=ahead, pair=st.permutations(["Ana", "Bo", "Cem"]))
    def whole_way(self, document: str, mass: str, hours: float | None, pair: list[str]) -> None:
        """Draft, submit and approve at one go, so that many lives get far."""
        before = set(self.known)
        self.draft(pair[0], document, mass, "why")
        ((_, number),) = set(self.known) - before
        self.submit(pair[0], document, number, None)
        self._approve(pair[1], document, number, hours)

    @rule(who=people, document=documents, number=numbers, reason=reasons)
    def revoke(self, who: str, document: str, number: int, reason: str) -> None:
        """Take an approval back before it takes effect."""
        expected = self.refusal(document, number, "approved")
        if not expected:
            item = self.known[document, number]
            if item.effective <= self.at() or self.latest(document) != number:
                expected = "revision-state"
            elif letters(who) in item.hands:
                expected = "own-approval"
            elif not reason.strip():
                expected = "reason-missing"
        if self.take(who, expected, life.revoke, document, number, reason=reason) is not None:
            self.known[document, number].state = "revoked"

    @rule(skew=st.sampled_from([-240, 0, 0, 240]))
    def look(self, skew: int) -> None:
        """Ask what is in force, with a clock that may go a little wrong."""
        now = self.clock.now + dt.timedelta(seconds=skew)
        snapshot = Snapshot(self.ledger.place, now=now)
        expected = self.in_force(snapshot.mark.at)
        found = {
            name: number for name, (number, _) in snapshot.numbers.items() if name in DOCUMENTS
        }
        assert found == expected
        self.marks.append((snapshot.mark, snapshot.numbers))
        snapshot.close()

    # --- what stays -----------------------------------------------------------------------------

    @invariant()
    def everything_is_there(self) -> None:
        """Every revision as the model has it, every step in the journal, every digest right."""
        report = verify(self.ledger)
        assert report.problems == ()
        assert report.entries == self.steps
        with self.ledger.reading() as connection:
            for document in DOCUMENTS:
                for item in life.revisions(connection, document):
                    known = self.known[document, item.number]
                    assert (item.state, item.base) == (known.state, known.base)
                    assert (item.wanted, item.effective) == (known.wanted, known.effective)
                    if known.approved is not None:
                        assert item._replace(state="approved") == known.approved
        assert report.revisions == len(self.known) + len(FIRST) - len(FIRST_MASS)

    @invariant()
    def the_past_stays(self) -> None:
        """What was in force at a moment that is past is what was in force then."""
        with self.ledger.reading() as connection:
            for at, then in self.seen[-12:]:
                for document in DOCUMENTS:
                    found = life.in_force(connection, document, at)
                    assert (found.number if found else 0) == then.get(document, 0), at
        for mark, numbers in self.marks[-3:]:
            snapshot = Snapshot(self.ledger.place, mark=mark)
            assert snapshot.numbers == numbers
            snapshot.close()
        at = stamp(max(self.clock.now - MICROSECOND, self.last))
        self.seen.append((at, self.in_force(at)))

    def teardown(self) -> None:
        """Let go of the database; a last look at all that was ever seen."""
        with self.ledger.reading() as connection:
            for at, then in self.seen:
                for document in DOCUMENTS:
                    found = life.in_force(connection, document, at)
                    assert (found.number if found else 0) == then.get(document, 0), at
        self.ledger.close()
        self.databases.drop()


def test_lives_nobody_thought_of(databases: Databases, *, is_full: bool) -> None:
    """Many in files, which are quick to make; some in a server's databases."""
    many = {"sqlite": 60, "postgresql": 12}[databases.kind]
    run_state_machine_as_test(
        type("TheseLives", (Lives,), {"databases": databases}),
        settings=settings(
            max_examples=many if is_full else many // 3,
            stateful_step_count=40,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
