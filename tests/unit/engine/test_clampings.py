"""Long stock through the bore: each clamping asked alone gets the verdict that is told."""

import math
import random
from typing import Any, Final

import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.answer.document import (
    Answer,
    Clamping,
    Clampings,
    Reply,
    Verdict,
    read_reply,
    text_of,
)
from cuttable.engine.answer.wording import System
from cuttable.engine.answer.words import card_of
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.search.clampings import clampings_of
from cuttable.engine.sheet.content import content_of

CORE: Final = AssessorCore()
ROWAN: Final = CORE.catalogue.machine("rowan-150")
ORDER: Final = (Verdict.IN_RANGE, Verdict.CONDITIONS)


def ask(text: JobText, model: str = "rowan-150", system: System = "si") -> Answer:
    """Return the answer of one model."""
    return CORE.ask(text, [model], system=system).verdicts[0]


def alone(text: JobText, step: Clamping) -> JobText:
    """Return one clamping as a job of its own, as it is to be typed."""
    said: dict[str, Any] = {
        name: texts if name in ("parts", "cuts") else (texts[0] if texts else "")
        for name, texts in step.say.items()
    }
    return text._replace(**said)


def lengths(told: Clampings) -> list[float]:
    """Return the lengths of all parts in the order in which they are cut."""
    return [
        part.length for step in told.steps for part in step.parts for _ in range(part.count)
    ]  # fmt: skip


def check(text: JobText, told: Clampings, machine: MachineModel, system: System) -> None:
    """Check that nothing is lost between clampings, and that each is what the verdict gives."""
    bed, cutting = machine.bed, machine.cutting
    job, _ = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None
    wanted = [part.length for part in job.parts for _ in range(part.count)]
    assert lengths(told) == pytest.approx(wanted, abs=1e-6)
    assert len(told.steps) == told.needed > 1
    assert told.verdict == max((step.verdict for step in told.steps), key=ORDER.index)
    length, behind = job.length, math.inf
    for number, step in enumerate(told.steps):
        assert step.ahead + step.behind == pytest.approx(length, abs=1e-6)
        assert step.ahead <= machine.limit("stock_length").absolute + 1e-6
        assert 0 <= step.behind <= min(bed.rear_room, behind)
        assert step.cuts[-1] - cutting.kerf >= bed.stub - 1e-6
        if number:
            assert step.pushed == pytest.approx(behind - step.behind, abs=1e-6)
        else:
            assert step.pushed is None
        count = sum(part.count for part in step.parts)
        metal = sum(part.length * part.count for part in step.parts) + count * cutting.kerf
        length -= metal + (0.0 if number else cutting.trim)
        behind = step.behind
        again = ask(alone(text, step), machine.code, system)
        assert again.verdict == step.verdict
        assert again.decided_by == step.decided_by
        assert again.governing == step.governing
        carry = [item.station for item in again.setup.supports if item.role != "catches"]
        assert tuple(carry) == step.stations
        assert [part.cut for part in again.setup.parts] == pytest.approx(step.cuts, abs=1e-6)
        assert [part.length for part in again.setup.parts] == pytest.approx(
            [part.length for part in step.parts for _ in range(part.count)], abs=1e-6
        )
    assert told.remnant == pytest.approx(length, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_every_clamping_gets_the_verdict_it_names(seed: int) -> None:
    """Random stock too long for the bed; parts, pushes and remnant add up to it."""
    dice = random.Random(seed)
    told = None
    while told is None or told.verdict is None:
        section = dice.choice(("NPS 1-1/2 SCH 40", "NPS 2 SCH 40", "NPS 3 SCH 40", "NPS 4 SCH 40",
                               "tube 50 x 2 mm"))  # fmt: skip
        system: System = dice.choice(("si", "us"))
        length = (
            f"{dice.randrange(22, 30)} ft" if system == "us" else f"{dice.uniform(6.6, 9):.3f}0 m"
        )
        parts = (f"{dice.randrange(300, 2200)} mm*{dice.randrange(2, 8)}",
                 f"{dice.randrange(12, 50)} in*{dice.randrange(1, 4)}")  # fmt: skip
        text = JobText(section, length, parts=parts, bow=dice.choice(("", "3 mm")))
        reply = CORE.ask(text, ["rowan-150"], system=system)
        assert read_reply(text_of(reply)) == reply
        told = reply.verdicts[0].clampings
    check(text, told, ROWAN, system)


LONG: Final = JobText("NPS 4 SCH 40", "8 m", parts=("1 m*7",))


def test_terminal_and_sheet_tell_the_clampings() -> None:
    """In order, with pushes, supports, parts, and what is left."""
    answer = ask(LONG)
    assert answer.verdict == Verdict.REFUSED
    told = card_of(answer, "si").fits[-3:]
    assert told[0] == (
        "Would go in 2 clampings, 959.6 mm left in the jaws: allowed with conditions."
    )
    assert told[1].startswith(
        "Clamping 1: 6500 mm ahead of the chuck, 1500 mm behind; supports at "
    )
    assert told[1].endswith("; cut 1000 mm*6: allowed with conditions (DRV-01).")
    assert told[2].startswith(
        "Clamping 2: push the stock out 1500 mm, clamp again; 1961.8 mm ahead of the chuck, "
        "nothing behind; supports at "
    )
    assert told[2].endswith("; cut 1000 mm: in range.")
    assert content_of(answer, "si").fits[-3:] == told


def test_more_than_two_clampings() -> None:
    """With a short bed the same stock takes three."""
    limits = dict(ROWAN.limits)
    limits["stock_length"] = limits["stock_length"]._replace(rated=3500.0, absolute=3500.0)
    bed = ROWAN.bed._replace(last_station=3300.0, rear_room=4000.0)
    machine = ROWAN._replace(limits=limits, bed=bed, digest="short")
    text = JobText("NPS 2 SCH 40", "7.4 m", parts=("0.9 m*7",), bow="2 mm")
    job, _ = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None
    told = clampings_of(CORE.engine, job, machine, "si")
    assert told is not None
    assert told.needed == len(told.steps) == 3
    assert lengths(told) == pytest.approx([900.0] * 7)
    assert all(step.pushed and step.pushed > 0 for step in told.steps[1:])


@pytest.mark.parametrize(
    ("text", "model", "needed", "sentence"),
    [
        (JobText("NPS 4 SCH 40", "12 m", parts=("1 m*11",)), "rowan-150", 2,
         "Its parts would take 2 clampings, pushed out between: 5500 mm would stand behind the "
         "chuck, where the room is 2500 mm."),
        (JobText("NPS 4 SCH 40", "18 m", parts=("1.2 m*14",)), "alder-320", 2,
         "Its parts would take 2 clampings, pushed out between: it needs a spindle bore of "),
        (JobText("NPS 4 SCH 40", "13 m", parts=("1.2 m*10",)), "alder-320", 1,
         "Its parts would come out in one clamping, with stock behind the chuck: it needs a "),
    ],
)  # fmt: skip
def test_how_many_would_be_needed_and_what_forbids(
    text: JobText, model: str, needed: int, sentence: str
) -> None:
    """The room behind the chuck is too short, or the chuck is closed."""
    answer = ask(text, model)
    told = answer.clampings
    assert told is not None
    assert (told.verdict, told.steps, told.needed) == (None, (), needed)
    for item in told.forbidden:
        assert item.needed is not None
        assert item.room is not None
        assert item.needed > item.room
    line = card_of(answer, "si").fits[-1]
    assert line.startswith(sentence)
    assert line.endswith("this chuck is closed." if model == "alder-320" else "2500 mm.")


def test_a_rule_that_forbids_is_named() -> None:
    """Bore and room would do, and what hangs behind the chuck is too much for its bearing."""
    limits = dict(ROWAN.limits)
    limits["chuck_moment"] = limits["chuck_moment"]._replace(rated=20.0, absolute=30.0)
    machine = ROWAN._replace(limits=limits, digest="weak")
    job, _ = read_job(LONG, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None
    told = clampings_of(CORE.engine, job, machine, "si")
    assert told is not None
    assert told.verdict is None
    assert [item.rule for item in told.forbidden] == ["MOMENT-02"]
    assert [item.title for item in told.forbidden] == ["Moment on the chuck beyond absolute"]


@pytest.mark.parametrize("text", [
    JobText("NPS 4 SCH 40", "6 m", parts=("1 m*5",)),  # in range
    JobText("NPS 4 SCH 40", "6 m", parts=("1 m*6",)),  # refused, and not too long
    JobText("NPS 4 SCH 40", "8 m"),  # nothing is cut
    JobText("NPS 4 SCH 40", "8 m", parts=("1 m*7",), stations=("2 m", "4 m")),
    JobText("NPS 4 SCH 40", "8 m", parts=("1 m*9",)),  # no number of clampings is enough
    JobText("NPS 4 SCH 40", "8 m", parts=("1 m*7",), ends="sealed"),
])  # fmt: skip
def test_where_nothing_is_told(text: JobText) -> None:
    """And the key is not written."""
    answer = ask(text)
    assert answer.clampings is None
    assert '"clampings"' not in text_of(Reply(verdicts=(answer,), form=2))


@pytest.mark.parametrize(("part", "is_told"), [("1115 mm*7", True), ("1122 mm*7", False)])
def test_no_cut_is_made_in_the_stub(part: str, is_told: bool) -> None:
    """Of 8 m, 154.6 mm are left in front of the chuck, or 105.6 mm of which none can be cut."""
    told = ask(LONG._replace(parts=(part,))).clampings
    assert (told is not None) == is_told
    if told is not None:
        assert told.remnant == pytest.approx(8000 - 25 - 7 * (1115 + 2.2), abs=1e-6)
