"""What is done before each cut, followed as an operator would do it, support by support."""

import random
from collections import Counter
from typing import Final

import pytest
from cuttable.engine.answer.document import Answer
from cuttable.engine.answer.plan_reason import cut_numbers, step_lines
from cuttable.engine.answer.words import shim_of
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.sheet.content import content_of

CORE: Final = AssessorCore()
MARGIN: Final = 25.0
"""mm, rules/severing.toml."""
STOCKS: Final = (
    ("rowan-150", ("NPS 2 SCH 40", "NPS 4 SCH 40", "NPS 5 SCH 40"), 2.5, 6.4),
    ("alder-320", ("NPS 4 SCH 40", "NPS 8 SCH 40", "NPS 10 STD"), 4.0, 12.4),
    ("larch-610", ("NPS 12 STD", "NPS 20 STD"), 6.0, 18.0),
    ("medlar-300", ("HSS 4x4x1/4", "NPS 6 STD"), 4.0, 9.0),
)


def asked(machine: str, section: str, length: float, part: float, count: int) -> Answer:
    """Return the answer to one job with parts alike."""
    text = JobText(section, f"{length:.3f} m", parts=[f"{part:.3f} m*{count}"])
    (answer,) = CORE.ask(text, [machine]).verdicts
    return answer


def follow(answer: Answer) -> Counter[str]:
    """Do every step in its order and look at every part as it comes free."""
    setup, machine = answer.setup, CORE.catalogue.machine(answer.machine.model)
    clear, kerf = machine.cutting.keep_clear, machine.cutting.kerf
    grid = [
        machine.bed.first_station + number * machine.bed.station_pitch
        for number in range(400)
        if machine.bed.first_station + number * machine.bed.station_pitch
        <= machine.bed.last_station + 1e-6
    ]
    there = {item.station: item for item in setup.supports}
    assert len(there) == len(setup.supports), "no two stand at one place"
    fitted = {item.code: item.count for item in machine.supports if item.standard}
    assert all(
        used <= fitted.get(code, 0)
        for code, used in Counter(item.support for item in setup.supports).items()
    )
    standing = dict(there)
    cuts = [part.cut for part in setup.parts]
    end = answer.job.front
    seen: Counter[str] = Counter()
    carrying = {at for at, item in there.items() if item.role == "carries"}
    for number, part in enumerate(setup.parts, start=1):
        mine = [step for step in setup.steps if step.cut == number]
        raised: set[float] = set()
        for step in mine:
            if step.action == "move":
                # Only what carries nothing now is moved: what catches, or lies beyond the stock.
                assert step.station not in carrying or step.station >= end
                assert step.station not in raised
                assert step.to is not None
                assert step.to not in standing
                standing[step.to] = standing.pop(step.station)
                carrying.discard(step.station)
                assert any(abs(step.to - at) < 1e-6 for at in grid)
                assert all(abs(step.to - cut) >= clear - 1e-6 for cut in cuts)
            else:
                assert standing[step.station].support == step.support
                raised.add(step.station)
            seen[step.action] += 1
        under = {at for at in carrying | raised if part.cut < at < part.cut + part.length}
        assert raised <= under
        centre = part.cut + part.length / 2
        straddled = any(at <= centre - MARGIN for at in under) and any(
            at >= centre + MARGIN for at in under
        )
        seen[part.behaviour] += 1
        assert (part.taker is not None) == (part.behaviour == "caught")
        assert bool(raised) == (part.taker == "supports")
        if part.behaviour == "stays" or part.taker == "supports":
            assert straddled, part
        elif part.taker == "bin":
            assert part.length < 2 * (answer.job.section.outside_diameter or 1e9)
        else:
            assert not straddled, part
        assert part.tabs is None or part.behaviour not in ("stays", "caught")
        end = min(end, part.cut)
        carrying = {at for at in carrying if at < end} | {at for at in carrying if at >= end}
    for item in setup.supports:
        if item.role == "catches":
            rated = next(s for s in machine.supports if s.code == item.support).reaction.rated
            assert 0 < item.reaction <= rated * (1 + 1e-9)
    assert kerf > 0
    return seen


def test_every_step_can_be_done_and_every_part_lies_as_is_said(*, is_full: bool) -> None:
    """Random parts on every model: no support twice, none moved that carries, none missing."""
    dice = random.Random(4)
    seen: Counter[str] = Counter()
    for _ in range(300 if is_full else 40):
        machine, sections, shortest, longest = dice.choice(STOCKS)
        length, count = dice.uniform(shortest, longest), dice.randint(1, 9)
        part = (length - 0.4) / count * dice.uniform(0.3, 0.97)
        answer = asked(machine, dice.choice(sections), length, part, count)
        if answer.setup.plan in ("rated", "absolute"):
            seen += follow(answer)
    assert {"caught", "stays", "move", "raise", "drops"} <= seen.keys()


def test_a_bar_of_five_parts_is_carried_by_few_and_caught_by_the_rest() -> None:
    """Two roles: what carries is as before, spare supports are raised, none is held by tabs."""
    answer = asked("alder-320", "NPS 6 STD", 12.0, 2.25, 5)
    setup = answer.setup
    assert {part.behaviour for part in setup.parts} <= {"caught", "stays"}
    assert "leave-tabs" not in {item.code for item in answer.mitigations}
    carrying = [item for item in setup.supports if item.role == "carries"]
    assert setup.plan_reason is not None
    assert setup.plan_reason.startswith(f"{len(carrying)} carry; ")
    told = content_of(answer, "si")
    assert len(told.between) == len({step.cut for step in setup.steps})
    assert told.between == step_lines(setup, "si")


def test_moves_are_told_where_there_are_too_few() -> None:
    """Four supports, and parts that take two each: later ones are moved up between cuts."""
    text = JobText("SHS 100x5 cf", "8 m", parts=["1.4 m*5"])
    (answer,) = CORE.ask(text, ["medlar-300"]).verdicts
    moves = [step for step in answer.setup.steps if step.action == "move"]
    assert moves
    assert follow(answer)["move"] == len(moves)
    assert f"{len(moves)} moves between cuts" in (answer.setup.plan_reason or "")
    line = next(item for item in step_lines(answer.setup, "si") if "move" in item)
    first = moves[0]
    assert line.startswith(f"Cut {first.cut}: ")
    assert f"move {first.station:g} mm to {first.to:g} mm" in line


def test_stock_that_is_not_cut_has_no_roles_and_no_steps() -> None:
    """Its plan, and what is said of it, is what it was."""
    text = JobText("NPS 4 SCH 40", "6 m")
    (answer,) = CORE.ask(text, ["rowan-150"]).verdicts
    assert answer.setup.plan_reason is None
    assert answer.setup.steps == ()
    assert {item.role for item in answer.setup.supports} == {None}


@pytest.mark.parametrize(
    ("length", "taker"),
    [(0.2, "bin"), (0.235, None)],
)
def test_a_light_short_part_falls_into_the_bin(length: float, taker: str | None) -> None:
    """NPS 4 SCH 40: 228.6 mm is two diameters, and 5 kg with the mill's tenth 283 mm long."""
    answer = asked("rowan-150", "NPS 4 SCH 40", 2.0, length, 1)
    (part,) = answer.setup.parts
    assert part.taker == taker
    assert part.behaviour == ("caught" if taker else "drops")


def test_numbers_of_cuts_in_words() -> None:
    """One, a run, and some."""
    assert cut_numbers([2]) == "cut 2"
    assert cut_numbers([2, 4]) == "cuts 2 and 4"
    assert cut_numbers([1, 2, 3, 4]) == "cuts 1 to 4"
    assert cut_numbers([1, 2, 4]) == "cuts 1, 2 and 4"


def test_kinds_of_different_height_that_carry_are_shimmed() -> None:
    """Given stations beyond the five rollers stand on V-cradles too: 119.01 less 79.87 mm."""
    text = JobText("NPS 6 STD", "12 m", stations=[f"{1.5 + 1.8 * n:g} m" for n in range(6)])
    (answer,) = CORE.ask(text, ["alder-320"]).verdicts
    assert {item.support for item in answer.setup.supports} == {"roller-pair", "vee-cradle"}
    assert shim_of(answer.setup, "si") == (
        "Shim to the height of the vee-cradle: 39.14 mm under each roller-pair."
    )
    alike = JobText("NPS 6 STD", "12 m", stations=["2.1 m", "4.5 m", "6.9 m", "9.3 m", "11.3 m"])
    (answer,) = CORE.ask(alike, ["alder-320"]).verdicts
    assert shim_of(answer.setup, "si") == ""
