"""The life of a revision, and reading what was in force, in both kinds of database."""

import contextlib
import datetime as dt
import json
import threading
from collections.abc import Callable
from typing import Any

import pytest
from cuttable.catalogue.errors import FileError, InputError
from cuttable.catalogue.ledger import lifecycle as life
from cuttable.catalogue.ledger.answers import find_answer, keep_answers
from cuttable.catalogue.ledger.blobs import kept
from cuttable.catalogue.ledger.database import Ledger
from cuttable.catalogue.ledger.records import Revision, is_same_person, minute, read_moment, stamp
from cuttable.catalogue.ledger.releases import RELEASED, renew
from cuttable.catalogue.ledger.snapshot import Mark, Snapshot
from cuttable.catalogue.ledger.verify import verify
from ledger_workshop import (
    FIRST,
    START,
    Clock,
    Databases,
    approved,
    at_once,
    changed,
    machine,
    opened,
    report_on,
    rows,
    some_answers,
    whole_life,
)

CODE = "rowan-150"


def draft(
    ledger: Ledger, who: str = "Ana", *, mass: str = "300 kg", reason: str = "why"
) -> Revision:
    """Draft a revision with another limit."""
    with ledger.writing(who) as writing:
        return life.draft(writing, CODE, {"x.toml": machine(mass=mass)}, reason=reason)


def act(
    ledger: Ledger, who: str, step: Callable[..., Revision], *words: Any, **more: Any
) -> Revision:
    """Take one step in a transaction of its own."""
    with ledger.writing(who) as writing:
        return step(writing, *words, **more)


def refusal(
    ledger: Ledger, who: str, step: Callable[..., Any], *words: Any, **more: Any
) -> InputError:
    """Take a step that is refused; nothing may be written."""
    with pytest.raises(InputError) as caught:
        act(ledger, who, step, *words, **more)
    with ledger.reading() as connection:
        row = connection.exec_driver_sql("SELECT entries FROM book").scalar()
        count = connection.exec_driver_sql("SELECT count(*) FROM journal").scalar()
    assert row == count
    assert caught.value.remedy
    return caught.value


# --- the whole life -------------------------------------------------------------------------


def test_a_whole_life_is_told_by_the_journal(ledger: Ledger, clock: Clock) -> None:
    """Drafted, edited, submitted, given back, submitted again, approved, superseded."""
    made = draft(ledger)
    assert (made.number, made.base, made.state, made.author) == (2, 1, "draft", "Ana")
    made = act(
        ledger, "Cem", life.edit, CODE, 2, files={"x": machine(mass="310 kg")}, evidence="E1"
    )
    assert made.editors == "Cem"
    made = act(ledger, "Ana", life.submit, CODE, 2)
    assert made.state == "submitted"
    assert made.editors == "Cem"
    made = act(ledger, "Bo", life.give_back, CODE, 2, reason="too much")
    assert (made.state, made.submitted, made.wanted) == ("draft", "", "")
    act(ledger, "Ana", life.edit, CODE, 2, files={"x": machine(mass="305 kg")}, reason="measured")
    act(ledger, "Ana", life.submit, CODE, 2)
    clock.on(hours=2)
    made = act(ledger, "Bo", life.approve, CODE, 2, without_impact="no jobs yet")
    assert (made.state, made.approver, made.reason) == ("approved", "Bo", "measured")
    assert made.effective == made.approved == stamp(clock.now)
    assert made.digest == made.own_digest()
    with ledger.reading() as connection:
        assert life.revision(connection, CODE, 2) == made
        first = life.revision(connection, CODE, 1)
        assert made.previous == first.digest
        assert kept(connection, made.content, CODE) == {f"{CODE}.toml": machine(mass="305 kg")}
        told = connection.exec_driver_sql(
            f"SELECT action, who FROM journal WHERE document = '{CODE}' ORDER BY entry"  # noqa: S608
        ).all()
    assert [tuple(row) for row in told] == [
        ("release", "Ana"), ("draft", "Ana"), ("edit", "Cem"), ("submit", "Ana"),
        ("return", "Bo"), ("edit", "Ana"), ("submit", "Ana"), ("approve", "Bo"),
    ]  # fmt: skip
    assert verify(ledger).problems == ()


def test_nothing_is_lost_of_a_busy_life(databases: Databases) -> None:
    """Everything that can happen has happened, and every digest holds."""
    place = databases.copy_of("life", whole_life)
    ledger = opened(place)
    report = verify(ledger)
    assert report.problems == ()
    assert (report.revisions, report.answers) == (9, 7)
    with ledger.reading() as connection:
        states = [item.state for item in life.revisions(connection, CODE)]
        assert states == ["approved", "approved", "approved", "withdrawn"]
        assert [item.ref for item in life.open_drafts(connection)] == ["alder-320/2", "larch-610/1"]
    ledger.close()


def test_a_new_document_begins_at_1_and_needs_no_report(ledger: Ledger) -> None:
    """It changes no answer given so far, so it may take effect at once or later."""
    made = changed(ledger, "larch-610", mass="1500 kg")
    assert (made.number, made.base) == (1, 0)
    made = act(ledger, "Bo", life.approve, "larch-610", 1)
    assert (made.previous, made.without_impact, made.impact) == ("", "", "")
    assert verify(ledger).problems == ()


def test_numbers_are_never_used_again(ledger: Ledger) -> None:
    """A withdrawn draft keeps its number; the next draft has the next, from the same base."""
    draft(ledger)
    gone = act(ledger, "Ana", life.withdraw, CODE, 2, reason="no")
    assert gone.state == "withdrawn"
    made = draft(ledger)
    assert (made.number, made.base) == (3, 1)
    act(ledger, "Ana", life.submit, CODE, 3)
    made = act(ledger, "Bo", life.approve, CODE, 3, without_impact="a test")
    with ledger.reading() as connection:
        first = life.revision(connection, CODE, 1)
    assert made.previous == first.digest
    assert draft(ledger).base == 3
    assert verify(ledger).problems == ()


def test_a_draft_begins_as_what_was_approved_last(ledger: Ledger) -> None:
    """Even where that is not in force yet."""
    approved(ledger, changed(ledger, mass="333 kg"), effective="2027-06-01T00:00:00.000000Z")
    with ledger.writing("Ana") as writing:
        made = life.draft(writing, CODE, None, reason="next")
        assert made.base == 2
        assert kept(writing.connection, made.content, CODE) == {
            f"{CODE}.toml": machine(mass="333 kg")
        }


def test_words_are_kept_tidy(ledger: Ledger) -> None:
    """Control characters, odd spaces and half characters do not reach the database."""
    with ledger.writing("  Ana\t Lena\x00 ") as writing:
        made = life.draft(
            writing,
            CODE,
            {"x": machine(mass="1 t")},
            reason=" a\x00b \r\n c\ud800 ",
            evidence="\x1b",
        )
    assert (made.author, made.reason, made.evidence) == ("Ana Lena", "ab\nc", "")
    assert verify(ledger).problems == ()


# --- refusals -------------------------------------------------------------------------------


def test_what_is_not_there_is_told_with_what_is(ledger: Ledger) -> None:
    """An unknown number, an unknown document, and one nearly right."""
    assert "It has 1." in refusal(ledger, "Ana", life.edit, CODE, 7, reason="x").remedy
    fault = refusal(ledger, "Ana", life.draft, "rowan-15", None, reason="x")
    assert fault.code == "revision-unknown"
    assert CODE in fault.remedy
    assert refusal(ledger, "Ana", life.withdraw, "nothing", 1).code == "revision-unknown"


@pytest.mark.parametrize(
    "name",
    [
        "Ana",
        "ana",
        " ANA ",
        "A n a",
        "Ana\u200b",
        "A\u200bna",
        "\uff21na",
        "Cem",
        "cEM",
        "C\u00a0em",
    ],
)
def test_nobody_approves_what_they_had_a_hand_in(ledger: Ledger, name: str) -> None:
    """Not its author, not who edited it, however the name is written."""
    draft(ledger)
    act(ledger, "Cem", life.edit, CODE, 2, evidence="E2")
    act(ledger, "Ana", life.submit, CODE, 2)
    fault = refusal(ledger, name, life.approve, CODE, 2, without_impact="x")
    assert fault.code == "own-approval"
    assert act(ledger, "Bo", life.approve, CODE, 2, without_impact="x").state == "approved"


def test_who_submits_had_a_hand_in_it(ledger: Ledger) -> None:
    """A submitter says it is right; another person must say so too."""
    draft(ledger)
    act(ledger, "Cem", life.submit, CODE, 2)
    assert refusal(ledger, "cem", life.approve, CODE, 2, without_impact="x").code == "own-approval"


def test_editors_stay_when_a_revision_is_given_back(ledger: Ledger) -> None:
    """Whose words were in it once is not free to approve it."""
    draft(ledger)
    act(ledger, "Cem", life.edit, CODE, 2, files={"x": machine(mass="1 kg")})
    act(ledger, "Ana", life.submit, CODE, 2)
    act(ledger, "Bo", life.give_back, CODE, 2, reason="no")
    act(ledger, "Ana", life.edit, CODE, 2, files={"x": machine(mass="2 kg")})
    act(ledger, "Ana", life.submit, CODE, 2)
    assert refusal(ledger, "Cem", life.approve, CODE, 2, without_impact="x").code == "own-approval"


def test_other_people_are_other_people() -> None:
    """Names that differ in letters are two persons."""
    assert not is_same_person("Ana", "Anna")
    assert not is_same_person("Ana B", "Ana C")
    assert is_same_person("Ana  Lena", "ana lena")


@pytest.mark.parametrize("name", ["", "  ", "\x00\x01", "\u200b"])
def test_somebody_must_be_named(ledger: Ledger, name: str) -> None:
    """A name of nothing that can be printed is none."""
    with pytest.raises(InputError) as caught, ledger.writing(name):
        pass
    assert caught.value.code == "person-unknown"


STEPS: dict[str, Callable[[Ledger], object]] = {
    "edit": lambda ledger: act(ledger, "Ana", life.edit, CODE, 2, reason="x"),
    "submit": lambda ledger: act(ledger, "Ana", life.submit, CODE, 2),
    "return": lambda ledger: act(ledger, "Bo", life.give_back, CODE, 2, reason="x"),
    "withdraw": lambda ledger: act(ledger, "Ana", life.withdraw, CODE, 2),
    "impact": lambda ledger: act(ledger, "Ana", life.attach_impact, CODE, 2, report_on("1", "2")),
    "approve": lambda ledger: act(ledger, "Bo", life.approve, CODE, 2, without_impact="x"),
}
ALLOWED = {
    "draft": {"edit", "submit", "withdraw", "impact"},
    "submitted": {"return", "withdraw", "impact", "approve"},
    "approved": set[str](),
    "withdrawn": set[str](),
}


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("state", ALLOWED)
def test_every_step_from_every_state(ledger: Ledger, state: str, step: str) -> None:
    """What is not foreseen is refused, with its code, and changes nothing."""
    draft(ledger)
    if state in ("submitted", "approved"):
        STEPS["submit"](ledger)
    if state in ("approved", "withdrawn"):
        STEPS["approve" if state == "approved" else "withdraw"](ledger)
    with ledger.reading() as connection:
        before = life.revision(connection, CODE, 2)
    assert before.state == state
    if step in ALLOWED[state]:
        STEPS[step](ledger)
    else:
        with pytest.raises(InputError) as caught:
            STEPS[step](ledger)
        assert caught.value.code == "revision-state"
        assert f"{CODE}/2" in caught.value.what
        with ledger.reading() as connection:
            assert life.revision(connection, CODE, 2) == before
    assert verify(ledger).problems == ()


def test_a_draft_that_changes_nothing_is_not_submitted(ledger: Ledger) -> None:
    """Nor one that was edited and edited back."""
    act(ledger, "Ana", life.draft, CODE, None, reason="x")
    assert refusal(ledger, "Ana", life.submit, CODE, 2).code == "draft-unchanged"
    act(ledger, "Ana", life.edit, CODE, 2, files={"x": machine(mass="1 kg")})
    act(ledger, "Ana", life.edit, CODE, 2, files=FIRST[CODE])
    assert refusal(ledger, "Ana", life.submit, CODE, 2).code == "draft-unchanged"


@pytest.mark.parametrize("reason", ["", "  \n ", "\x00"])
def test_a_reason_is_asked_for(ledger: Ledger, reason: str) -> None:
    """When it is submitted, and when it is given back."""
    draft(ledger, reason=reason)
    assert refusal(ledger, "Ana", life.submit, CODE, 2).code == "reason-missing"
    act(ledger, "Ana", life.edit, CODE, 2, reason="now there is one")
    act(ledger, "Ana", life.submit, CODE, 2)
    fault = refusal(ledger, "Bo", life.give_back, CODE, 2, reason=reason)
    assert fault.code == "reason-missing"


def test_a_superseded_base_names_what_changed_meanwhile(ledger: Ledger) -> None:
    """At submitting and at approving; the words are values with their units."""
    early, late = draft(ledger, mass="300 kg"), draft(ledger, mass="320 kg")
    act(ledger, "Ana", life.submit, CODE, early.number)
    winner = changed(ledger, mass="310 kg", who="Cem")
    approved(ledger, winner)
    for who, step, more in (
        ("Ana", life.submit, {}), ("Bo", life.approve, {"without_impact": "x"})
    ):  # fmt: skip
        number = late.number if step is life.submit else early.number
        fault = refusal(ledger, who, step, CODE, number, **more)
        assert fault.code == "base-superseded"
        assert "280 kg → 310 kg (+30 kg, +10.7 %)" in fault.what
        assert f"{CODE}/{winner.number} was approved by Bo" in fault.what


def test_two_first_revisions_of_one_document(ledger: Ledger) -> None:
    """The second has no base that could be superseded, but was drafted from nothing."""
    changed(ledger, "larch-610", mass="1 t", who="Ana")
    changed(ledger, "larch-610", mass="2 t", who="Cem")
    act(ledger, "Bo", life.approve, "larch-610", 2)
    fault = refusal(ledger, "Bo", life.approve, "larch-610", 1)
    assert fault.code == "base-superseded"
    assert "(new)" in fault.what


def test_no_limit_takes_effect_in_the_past(ledger: Ledger, clock: Clock) -> None:
    """Not as its author wants, not as its approver says, not when approval came too late."""
    draft(ledger)
    past, soon = stamp(clock.now - dt.timedelta(days=1)), stamp(clock.now + dt.timedelta(days=1))
    assert refusal(ledger, "Ana", life.submit, CODE, 2, effective=past).code == "effective-past"
    act(ledger, "Ana", life.submit, CODE, 2, effective=soon)
    fault = refusal(ledger, "Bo", life.approve, CODE, 2, effective=past, without_impact="x")
    assert fault.code == "effective-past"
    clock.on(days=2)
    made = act(ledger, "Bo", life.approve, CODE, 2, without_impact="x")
    assert (made.wanted, made.effective) == (soon, made.approved)


def test_an_approver_may_say_now(ledger: Ledger, clock: Clock) -> None:
    """Whatever its author wants."""
    draft(ledger)
    later = stamp(clock.now + dt.timedelta(days=40))
    act(ledger, "Ana", life.submit, CODE, 2, effective=later)
    now = life.wanted_stamp("now", clock.now)
    made = act(ledger, "Bo", life.approve, CODE, 2, without_impact="x", effective=now)
    assert (made.wanted, made.effective) == (later, made.approved)


def test_what_is_not_yet_in_force_can_be_revoked(ledger: Ledger, clock: Clock) -> None:
    """By a person who did not write it, with a reason; then an urgent one can take its place."""
    later = stamp(clock.now + dt.timedelta(days=40))
    approved(ledger, changed(ledger, mass="300 kg"), effective=later)
    urgent = changed(ledger, mass="100 kg")
    fault = refusal(ledger, "Bo", life.approve, CODE, 3, without_impact="cracked bearing")
    assert fault.code == "effective-overlap"
    assert refusal(ledger, "Ana", life.revoke, CODE, 2, reason="x").code == "own-approval"
    assert refusal(ledger, "Bo", life.revoke, CODE, 2, reason=" ").code == "reason-missing"
    assert refusal(ledger, "Bo", life.revoke, CODE, 1, reason="x").code == "revision-state"
    revoked = act(ledger, "Bo", life.revoke, CODE, 2, reason="cracked bearing")
    assert revoked.state == "revoked"
    assert refusal(ledger, "Bo", life.revoke, CODE, 2, reason="x").code == "revision-state"
    assert refusal(ledger, "Bo", life.approve, CODE, 3).code == "base-superseded"
    act(ledger, "Ana", life.withdraw, CODE, urgent.number)
    made = approved(ledger, changed(ledger, mass="100 kg"))
    assert (made.number, made.base) == (4, 1)
    snapshot = Snapshot(ledger.place, now=clock.now + dt.timedelta(days=60))
    assert snapshot.numbers[CODE][0] == 4
    snapshot.close()
    assert verify(ledger).problems == ()


def test_what_a_later_revision_rests_on_cannot_be_revoked(ledger: Ledger, clock: Clock) -> None:
    """The later one first."""
    for days in (40, 50):
        later = stamp(clock.now + dt.timedelta(days=days))
        approved(ledger, changed(ledger, mass=f"{days} kg"), effective=later)
    assert refusal(ledger, "Bo", life.revoke, CODE, 2, reason="x").code == "revision-state"
    act(ledger, "Bo", life.revoke, CODE, 3, reason="x")
    act(ledger, "Bo", life.revoke, CODE, 2, reason="x")
    assert verify(ledger).problems == ()


def test_revisions_take_effect_one_after_another(ledger: Ledger, clock: Clock) -> None:
    """None begins with or before the one approved before it."""
    later = stamp(clock.now + dt.timedelta(days=9))
    approved(ledger, changed(ledger, mass="300 kg"), effective=later)
    made = changed(ledger, mass="310 kg")
    for effective in ("", later, stamp(clock.now + dt.timedelta(days=8))):
        fault = refusal(
            ledger, "Bo", life.approve, CODE, made.number, effective=effective, without_impact="x"
        )
        assert fault.code == "effective-overlap"
        assert minute(later) in fault.what
    approved(ledger, made, effective=stamp(clock.now + dt.timedelta(days=9, seconds=1)))
    assert verify(ledger).problems == ()


def test_somebody_must_have_seen_the_impact(ledger: Ledger) -> None:
    """A report about this content and this base, or a reason for none."""
    made = changed(ledger)
    with ledger.reading() as connection:
        base = life.revision(connection, CODE, 1).content
    assert refusal(ledger, "Bo", life.approve, CODE, 2).code == "impact-missing"
    for stale in (
        report_on("sha256:1", base), report_on(made.content, "sha256:1"),
        report_on(made.content, base, {"rules": 1, "catalogue": 2}),
        report_on(made.content, base, {}),
    ):  # fmt: skip
        act(ledger, "Ana", life.attach_impact, CODE, 2, stale)
        assert refusal(ledger, "Bo", life.approve, CODE, 2).code == "impact-stale"
    for empty in (
        report_on(made.content, base, answers=0), b"{}", b"[]", b"nonsense", b'{"totals": 1}',
        b"\xff",
    ):  # fmt: skip
        fault = refusal(ledger, "Ana", life.attach_impact, CODE, 2, empty)
        assert fault.code == "impact-missing"
    reported = act(ledger, "Ana", life.attach_impact, CODE, 2, report_on(made.content, base))
    made = act(ledger, "Bo", life.approve, CODE, 2)
    assert made.impact == reported.impact
    with ledger.reading() as connection:
        (content,) = kept(connection, made.impact).values()
    assert json.loads(content)["about"]["base"] == base
    assert verify(ledger).problems == ()


def test_a_report_does_not_outlive_what_it_is_about(ledger: Ledger) -> None:
    """Editing the files takes it away; editing the reason does not."""
    made = draft(ledger)
    with ledger.reading() as connection:
        base = life.revision(connection, CODE, 1).content
    act(ledger, "Ana", life.attach_impact, CODE, 2, report_on(made.content, base))
    assert act(ledger, "Ana", life.edit, CODE, 2, reason="more").impact
    assert not act(ledger, "Ana", life.edit, CODE, 2, files={"x": machine(mass="1 kg")}).impact
    act(ledger, "Ana", life.submit, CODE, 2)
    assert refusal(ledger, "Bo", life.approve, CODE, 2).code == "impact-missing"


def test_a_refused_step_leaves_nothing_of_its_transaction(ledger: Ledger) -> None:
    """Steps before it in the same transaction are taken back with it."""
    with contextlib.suppress(InputError), ledger.writing("Ana") as writing:
        life.draft(writing, CODE, {"x": machine(mass="77 kg")}, reason="a")
        life.approve(writing, CODE, 2)
        pytest.fail("a draft was approved")
    with ledger.reading() as connection:
        assert len(life.revisions(connection, CODE)) == 1
    assert verify(ledger).problems == ()


# --- dates ----------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["0226-12-01", "0999-01-01", "1999-12-31"])
def test_a_mistyped_year_is_past_and_not_far_ahead(ledger: Ledger, clock: Clock, text: str) -> None:
    """Stamps sort as time runs, whatever the year."""
    draft(ledger)
    when = life.wanted_stamp(text, clock.now)
    assert refusal(ledger, "Ana", life.submit, CODE, 2, effective=when).code == "effective-past"


@pytest.mark.parametrize(
    "text", ["soon", "2026-13-01", "9999-12-31T23:59-12:00", "0001-01-01T00:00+12:00"]
)
def test_what_is_no_date_is_refused(text: str) -> None:
    """Also where a zone takes it out of the calendar."""
    with pytest.raises(InputError) as caught:
        read_moment(text, START)
    assert caught.value.code == "date-unreadable"


# --- two at once ----------------------------------------------------------------------------


def approve_as(ledger: Ledger, who: str, number: int) -> str:
    """Try to approve, and return what came of it."""
    try:
        act(ledger, who, life.approve, CODE, number, without_impact="x")
    except InputError as fault:
        return fault.code
    return "approved"


def test_two_threads_approve_at_once(ledger: Ledger) -> None:
    """One wins; to the other it is approved already."""
    made = changed(ledger)
    told: list[str] = []
    gate = threading.Barrier(4)

    def approve(who: str) -> None:
        gate.wait()
        told.append(approve_as(ledger, who, made.number))

    threads = [threading.Thread(target=approve, args=(f"P{place}",)) for place in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == ["approved", "revision-state", "revision-state", "revision-state"]
    assert verify(ledger).problems == ()


def test_two_processes_approve_at_once(ledger: Ledger, clock: Clock) -> None:
    """As threads do; each has its own connection and its own clock."""
    made = changed(ledger)
    ledger.close()

    def approve(who: str) -> Callable[[], str]:
        return lambda: approve_as(opened(ledger.place, Clock(clock.now)), who, made.number)

    outcomes = at_once(*(approve(f"P{place}") for place in range(4)))
    assert sorted(outcome.value for outcome in outcomes) == [
        "approved", "revision-state", "revision-state", "revision-state",
    ]  # fmt: skip
    assert verify(ledger).problems == ()


def test_two_processes_approve_rivals_at_once(ledger: Ledger, clock: Clock) -> None:
    """Two drafts from one base: the second is told what the first changed."""
    one, two = changed(ledger, mass="300 kg"), changed(ledger, mass="310 kg", who="Cem")
    ledger.close()

    def approve(made: Revision) -> Callable[[], str]:
        return lambda: approve_as(opened(ledger.place, Clock(clock.now)), "Bo", made.number)

    outcomes = at_once(approve(one), approve(two))
    assert sorted(outcome.value for outcome in outcomes) == ["approved", "base-superseded"]
    assert verify(ledger).problems == ()


def test_nothing_is_lost_of_many_writers(
    databases: Databases, ledger: Ledger, clock: Clock
) -> None:
    """Processes that draft, submit and keep answers at once: all of it is there, in one chain."""
    ledger.close()
    turns = 12

    def revising(who: str) -> Callable[[], int]:
        def work() -> int:
            mine = opened(ledger.place, Clock(clock.now), patience=60)
            for turn in range(turns):
                changed(mine, mass=f"{turn + 1} kg", who=who)
            return turns

        return work

    def keeping(who: str, start: int) -> Callable[[], list[int]]:
        def work() -> list[int]:
            mine = opened(ledger.place, Clock(clock.now), patience=60)
            return [
                number
                for turn in range(turns)
                for number in keep_answers(mine, who, some_answers(2, start + 2 * turn))
            ]

        return work

    def looking() -> list[tuple[str, ...]]:
        mine = opened(ledger.place, Clock(clock.now), patience=60)
        return [verify(mine).problems for _ in range(turns)]

    *done, looked = at_once(
        revising("P1"), revising("P2"), keeping("P3", 1000), keeping("P4", 2000), looking
    )
    assert [outcome.fault for outcome in (*done, looked)] == [None] * 5
    assert set(looked.value) == {()}
    assert sorted(done[2].value + done[3].value) == list(range(1, 4 * turns + 1))
    found = rows(databases, ledger.place)
    assert len(found["answers"]) == 4 * turns
    with ledger.reading() as connection:
        made = life.revisions(connection, CODE)
        assert [item.number for item in made] == list(range(1, 2 * turns + 2))
        assert sorted(item.author for item in made[1:]) == ["P1"] * turns + ["P2"] * turns
        for number in (1001, 2000 + 2 * turns - 1):
            assert json.loads(find_answer(connection, f"{number:016x}").text)["length"] == number
    assert verify(ledger).problems == ()


def test_a_writer_that_waited_sees_what_the_other_wrote(ledger: Ledger, clock: Clock) -> None:
    """Also where the database would show each transaction an older state by itself."""
    if ledger.place.kind == "postgresql":
        with ledger.engine.connect() as connection:
            name = connection.exec_driver_sql("SELECT current_database()").scalar()
            connection.exec_driver_sql(
                f"ALTER DATABASE {name} SET default_transaction_isolation = 'repeatable read'"
            )
            connection.commit()
        ledger.close()
    outcomes = at_once(
        *(
            lambda who=who: changed(opened(ledger.place, Clock(clock.now), patience=60), who=who)
            for who in ("P1", "P2", "P3", "P4")
        )
    )
    assert sorted(outcome.value.number for outcome in outcomes) == [2, 3, 4, 5]
    assert verify(ledger).problems == ()


def test_what_is_read_is_one_state(ledger: Ledger, clock: Clock) -> None:
    """A reader that began before a writer ended sees nothing of it, however often it looks."""
    with ledger.reading() as connection:
        before = len(life.revisions(connection, CODE))
        (outcome,) = at_once(lambda: changed(opened(ledger.place, Clock(clock.now), patience=0.2)))
        if ledger.place.kind == "sqlite":
            assert isinstance(outcome.fault, FileError)  # it cannot write while we read
            assert outcome.fault.code == "ledger-locked"
        else:
            assert outcome.value.number == before + 1
        assert len(life.revisions(connection, CODE)) == before
    assert verify(ledger).problems == ()


# --- what is in force -------------------------------------------------------------------------


def grown(ledger: Ledger, clock: Clock) -> list[str]:
    """Let limits change over months, some ahead of time; return moments worth asking about."""
    moments = [RELEASED]
    for turn in range(6):
        clock.on(days=20, hours=turn)
        ahead = stamp(clock.now + dt.timedelta(days=7)) if turn % 2 else ""
        for document in (CODE, "alder-320", "larch-610"):
            if document != "larch-610" or turn > 1:
                made = changed(ledger, document, mass=f"{200 + turn} kg")
                made = approved(ledger, made, effective=ahead)
                moments.append(made.effective)
    return moments


def test_held_is_what_the_life_says(ledger: Ledger, clock: Clock) -> None:
    """At, just before and just after every change, and far from any; nothing before the ledger."""
    moments = grown(ledger, clock)
    ledger.close()
    step = dt.timedelta(microseconds=1)
    asked = {
        stamp(dt.datetime.fromisoformat(text) + delta)
        for text in (*moments, "2020-01-01T00:00:00Z", "2099-01-01T00:00:00Z")
        for delta in (-step, dt.timedelta(), step)
    }
    seen: set[int] = set()
    for at in sorted(asked):
        snapshot = Snapshot(ledger.place, at=dt.datetime.fromisoformat(at), now=clock.now)
        with ledger.reading() as connection:
            for document in (*FIRST, "larch-610", "nothing"):
                is_made = at >= stamp(START)
                expected = life.in_force(connection, document, at) if is_made else None
                number, content = snapshot.numbers.get(document, (0, ""))
                assert number == (expected.number if expected else 0), (at, document)
                assert content == (expected.content if expected else "")
                if expected and document == CODE:
                    seen.add(number)
                    file = snapshot.model(CODE)
                    assert file.revision == number
                    assert file.content == kept(connection, content, CODE)[f"{CODE}.toml"]
        snapshot.close()
    assert seen == {1, 2, 3, 4, 5, 6, 7}


def test_a_later_date_is_not_in_force_before_it(ledger: Ledger, clock: Clock) -> None:
    """Approved today, in force from its date on, to the microsecond."""
    begins = clock.now + dt.timedelta(days=10)
    approved(ledger, changed(ledger), effective=stamp(begins))
    ledger.close()

    def number(now: dt.datetime) -> int:
        snapshot = Snapshot(ledger.place, now=now)
        try:
            return snapshot.numbers[CODE][0]
        finally:
            snapshot.close()

    assert number(clock.now) == 1
    assert number(begins - dt.timedelta(microseconds=1)) == 1
    assert number(begins) == 2


def test_a_mark_keeps_out_what_was_approved_later(ledger: Ledger, clock: Clock) -> None:
    """By an approver whose clock is a little behind the clock of who asked."""
    ahead = clock.now + dt.timedelta(minutes=3)
    asked = Snapshot(ledger.place, now=ahead)
    before = asked.numbers
    mark = asked.mark
    asked.close()
    made = approved(ledger, changed(ledger))
    assert made.effective < mark.at
    again = Snapshot(ledger.place, mark=mark)
    assert again.numbers == before
    assert again.mark == mark
    again.close()
    now = Snapshot(ledger.place, mark=Mark(mark.at, made.entry))
    assert now.numbers[CODE][0] == 2
    now.close()


def test_a_mark_keeps_what_was_revoked_later(ledger: Ledger, clock: Clock) -> None:
    """An answer of a clock that is a little ahead rests on what was in force by that clock."""
    begins = clock.now + dt.timedelta(days=1)
    made = approved(ledger, changed(ledger), effective=stamp(begins))
    clock.now = begins - dt.timedelta(minutes=2)
    asked = Snapshot(ledger.place, now=clock.now + dt.timedelta(minutes=3))
    assert asked.numbers[CODE][0] == made.number
    act(ledger, "Bo", life.revoke, CODE, made.number, reason="cracked bearing")
    again = Snapshot(ledger.place, mark=asked.mark)
    assert again.numbers == asked.numbers
    now = Snapshot(ledger.place, now=clock.now + dt.timedelta(minutes=5))
    assert now.numbers[CODE][0] == 1
    for snapshot in (asked, again, now):
        snapshot.close()


def test_an_asker_with_a_slow_clock_sees_what_was_approved(ledger: Ledger, clock: Clock) -> None:
    """What the ledger holds is in force, though it is in this clock's future by a little."""
    made = approved(ledger, changed(ledger))
    snapshot = Snapshot(ledger.place, now=clock.now - dt.timedelta(minutes=4))
    assert snapshot.numbers[CODE][0] == made.number
    assert snapshot.mark.at >= made.effective
    snapshot.close()


def test_a_clock_that_was_set_back_is_refused(ledger: Ledger, clock: Clock) -> None:
    """By writing, by keeping answers, and by asking what is in force; not for a date by name."""
    approved(ledger, changed(ledger))
    clock.on(minutes=-6)
    with pytest.raises(FileError) as caught, ledger.writing("Ana"):
        pass
    assert caught.value.code == "clock-behind"
    with pytest.raises(FileError) as caught:
        keep_answers(ledger, "Ana", some_answers(1))
    assert caught.value.code == "clock-behind"
    with pytest.raises(FileError) as caught:
        Snapshot(ledger.place, now=clock.now)
    assert caught.value.code == "clock-behind"
    snapshot = Snapshot(ledger.place, at=clock.now - dt.timedelta(minutes=1), now=clock.now)
    assert snapshot.numbers[CODE][0] == 1
    snapshot.close()


def test_records_follow_each_other_though_the_clock_stands(ledger: Ledger) -> None:
    """A clock that stands or is a little behind gives each record the next microsecond."""
    made = [draft(ledger, mass=f"{place} kg") for place in range(3)]
    times = [item.drafted for item in made]
    assert sorted(set(times)) == times


# --- what a newer tool brings -----------------------------------------------------------------


def test_a_newer_release_is_submitted_once(ledger: Ledger) -> None:
    """Changed documents are submitted for another to approve; those changed here are left."""
    approved(ledger, changed(ledger, "alder-320", mass="750 kg"))
    newer = FIRST | {
        CODE: {f"{CODE}.toml": machine(mass="290 kg")},
        "alder-320": {"alder-320.toml": machine("alder-320", mass="720 kg")},
        "larch-610": {"larch-610.toml": machine("larch-610")},
    }
    with ledger.writing("Ana") as writing:
        made, left = renew(writing, newer, "cuttable 9")
    assert [(item.ref, item.state, item.author) for item in made] == [
        (f"{CODE}/2", "submitted", "cuttable"), ("larch-610/1", "submitted", "cuttable"),
    ]  # fmt: skip
    assert left == ["alder-320"]
    with ledger.writing("Bo") as writing:
        assert renew(writing, newer, "cuttable 9") == ([], ["alder-320"])
    assert refusal(ledger, "Ana", life.approve, CODE, 2).code == "own-approval"
    act(ledger, "Bo", life.approve, CODE, 2, without_impact="x")
    with ledger.writing("Bo") as writing:
        assert renew(writing, newer, "cuttable 9") == ([], ["alder-320"])
    assert verify(ledger).problems == ()


def test_what_was_brought_and_edited_here_is_left_alone(ledger: Ledger) -> None:
    """A limit that was lowered in a draft the tool brought is not raised by the next release."""
    newer = FIRST | {CODE: {f"{CODE}.toml": machine(mass="290 kg")}}
    with ledger.writing("Ana") as writing:
        renew(writing, newer, "cuttable 9")
    act(ledger, "Bo", life.give_back, CODE, 2, reason="too much")
    lowered = {f"{CODE}.toml": machine(mass="150 kg")}
    edited = act(ledger, "Bo", life.edit, CODE, 2, files=lowered)
    assert edited.author == "Bo"
    act(ledger, "Bo", life.submit, CODE, 2)
    act(ledger, "Cem", life.approve, CODE, 2, without_impact="x")
    with ledger.writing("Ana") as writing:
        made, left = renew(writing, newer, "cuttable 9")
    assert (made, left) == ([], [CODE])
