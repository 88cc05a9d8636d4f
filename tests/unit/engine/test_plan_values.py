"""The planner where brute force with one kind of support does not look, and what would help.

Supports of several kinds, what the pruning leaves out, ties, offered accessories, pitch ends.
"""

import math
import random
from collections.abc import Iterator
from itertools import groupby

import numpy as np
import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.answer.document import plain
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.answer import answers_of
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Geometry, Job
from cuttable.engine.jobs.job_table import table_of
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.search.fit import (
    longest_lengths,
    more_supports,
    smallest_models,
    with_accessories,
)
from cuttable.engine.search.lengths import length_intervals
from cuttable.engine.statics import support_plan as planner
from cuttable.engine.statics.support_plan import Plans, find_plans
from cuttable.engine.statics.support_rating import Bed, Bound, Rating, rate, shares_of

CORE = AssessorCore()
ROWAN = CORE.catalogue.machine("rowan-150")
NONE = Bound(math.nan, math.nan)


def a_bed(**changes: object) -> Bed:
    """Return a bed for 6 m of pipe, with these changes."""
    bed = Bed(
        length=6000.0, weight=0.3, stiffness=6e11,
        grid=tuple(600.0 + 150 * number for number in range(38)),
        ratings=(Bound(1800.0, 2300.0),) * 3,
        span=Bound(2400.0, 3000.0), overhang=Bound(1200.0, 1800.0), sag=Bound(1.0, 2.5),
        chuck_reaction=Bound(2100.0, 2600.0), chuck_moment=Bound(9e5, 1.2e6),
        keep_clear=120.0, margin=25.0,
    )  # fmt: skip
    return bed._replace(**changes)


def a_rating(**values: float) -> Rating:
    """Return the rating of one candidate: nothing is loaded but what is given."""
    yes, no = np.ones(1, dtype=np.bool_), np.zeros(1, dtype=np.bool_)
    names = planner._DEMANDS
    columns = {name: np.array([values.get(name, 0.0)]) for name in names}
    return Rating(**columns, lifts_off=no, is_clear=yes, is_stable=yes)


# --- how full ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("level", "expected"),
    [
        ("rated", (0.5, 0.88, 0.4)),
        ("absolute", (0.4, 0.8, 0.16)),
    ],
)
def test_supports_are_full_by_the_share_of_the_level(
    level: str, expected: tuple[float, float, float]
) -> None:
    """Against rated loads, or against what each support may bear at most."""
    bed = a_bed(ratings=(Bound(1000.0, 1500.0), Bound(600.0, 660.0)))
    rating = a_rating(span=1200.0, overhang=0.0, sag=0.4, support_share=0.88, absolute_share=0.8)
    found = shares_of(bed, rating, level)
    assert tuple(float(item[0]) for item in found) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("name", "value", "place", "rated", "absolute"),
    [
        ("span", 1200.0, 0, 0.5, 0.4), ("overhang", 900.0, 0, 0.75, 0.5),
        ("chuck_reaction", 1300.0, 1, 1300 / 2100, 0.5), ("chuck_moment", 6e5, 1, 2 / 3, 0.5),
        ("sag", 0.5, 2, 0.5, 0.2), ("support_share", 0.46, 1, 0.46, 0.0),
        ("absolute_share", 0.36, 1, 0.0, 0.36),
    ],
)  # fmt: skip
def test_each_limit_fills_its_own_share(
    name: str, value: float, place: int, rated: float, absolute: float
) -> None:
    """Lengths, forces and sag stand apart: the first do not grow with the stock's weight."""
    for level, expected in (("rated", rated), ("absolute", absolute)):
        found = [float(item[0]) for item in shares_of(a_bed(), a_rating(**{name: value}), level)]
        assert found.pop(place) == pytest.approx(expected)
        assert found == [0.0, 0.0]
    is_of_supports = name in ("support_share", "absolute_share")
    bed = a_bed(**({"ratings": ()} if is_of_supports else {name: NONE}))
    assert float(shares_of(bed, a_rating(**{name: value}), "rated")[place][0]) == (
        rated if is_of_supports else 0.0
    )


def test_what_chuck_and_supports_together_cannot_bear_is_not_sought() -> None:
    """M g L against the absolute loads of the chuck and of so many supports, at and beyond."""
    bed = a_bed(ratings=(Bound(1000.0, 1200.0), Bound(500.0, 600.0)))
    for count, most in ((0, 2600.0), (1, 3800.0), (2, 4400.0)):
        weight = np.array([most / 6000, most * (1 + 1e-6) / 6000])
        assert planner.can_bear(bed, weight, count).tolist() == [True, False]
    unstated = bed._replace(chuck_reaction=NONE)
    assert planner.can_bear(unstated, np.array([1e9]), 0).tolist() == [True]


# --- pruning ----------------------------------------------------------------------------------


@pytest.fixture
def narrow() -> Iterator[None]:
    """Rate one candidate at first, two at a time and a few pairs: everything is pruned."""
    before = {name: getattr(planner, name) for name in ("FIRST", "MOST_AT_ONCE", "MOST_PAIRS")}
    planner.FIRST, planner.MOST_AT_ONCE, planner.MOST_PAIRS = 1, 2, 3  # type: ignore[misc]
    planner._menu.cache_clear()
    yield
    for name, value in before.items():
        setattr(planner, name, value)
    planner._menu.cache_clear()


def of_stocks(bed: Bed, dice: random.Random) -> Plans:
    """Plan stocks of many weights and stiffnesses of one length."""
    weight = np.array([10 ** dice.uniform(-2, 0.3) for _ in range(25)])
    stiffness = np.array([10 ** dice.uniform(10, 12.5) for _ in range(25)])
    return find_plans(bed, weight, stiffness)


def beds() -> Iterator[Bed]:
    """Return beds on which nearly full and light stock want other stations."""
    dice = random.Random(5)
    for number in range(6):
        length = dice.uniform(2500, 6200)
        cuts = (dice.uniform(1200, length - 400),) if number % 2 else ()
        yield a_bed(
            length=length, cuts=cuts, is_held=(True,) * len(cuts),
            sag=Bound(dice.uniform(0.2, 1), 2.0), grid=a_bed().grid[:: 1 + number % 3],
            ratings=(Bound(900.0, 1100.0), Bound(700.0, 900.0), Bound(300.0, 330.0)),
        )  # fmt: skip


@pytest.mark.usefixtures("narrow")
def test_what_is_pruned_could_not_have_been_better() -> None:
    """Rated one by one with everything pruned: the same plans as from all candidates rated."""
    small = [of_stocks(bed, random.Random(number)) for number, bed in enumerate(beds())]
    planner.FIRST = planner.MOST_AT_ONCE = 100_000  # type: ignore[misc]
    planner.MOST_PAIRS = 10**7  # type: ignore[misc]
    planner._menu.cache_clear()
    planned = 0
    for number, bed in enumerate(beds()):
        whole = of_stocks(bed, random.Random(number))
        for row in range(25):
            one, other = small[number].which[row], whole.which[row]
            assert (one < 0) == (other < 0)
            if one >= 0:
                mine, theirs = small[number].choices[one], whole.choices[other]
                assert (mine.stations, mine.level) == (theirs.stations, theirs.level)
                planned += 1
    assert planned > 45
    assert {item.level for plans in small for item in plans.choices} == {"rated", "absolute"}


def test_a_plan_does_not_depend_on_what_else_is_asked() -> None:
    """Twenty-five stocks at once and each alone: the same stations, level and fullness."""
    for number, bed in enumerate(beds()):
        dice = random.Random(number)
        weight = np.array([10 ** dice.uniform(-2, 0.3) for _ in range(25)])
        stiffness = np.array([10 ** dice.uniform(10, 12.5) for _ in range(25)])
        whole = find_plans(bed, weight, stiffness)
        for row in range(0, 25, 3):
            alone = find_plans(bed, weight[row : row + 1], stiffness[row : row + 1])
            assert (alone.which[0] < 0) == (whole.which[row] < 0)
            assert alone.utilisation[0] == pytest.approx(whole.utilisation[row], nan_ok=True)
            if alone.which[0] >= 0:
                choices = alone.choices[alone.which[0]], whole.choices[whole.which[row]]
                assert choices[0].stations == choices[1].stations
                assert choices[0].level == choices[1].level


def test_a_choice_keeps_the_demands_it_was_rated_by() -> None:
    """What a menu keeps of a candidate is its rating: of every stage, for unit weight."""
    for bed in beds():
        for choice in of_stocks(bed, random.Random(1)).choices:
            unit = bed._replace(weight=1.0, stiffness=1.0)
            rating = rate(unit, np.array([choice.stations], dtype=np.float64))
            for name in planner._DEMANDS:
                if name != "chuck_share":
                    found = float(getattr(choice.unit, name)[0])
                    assert found == pytest.approx(float(getattr(rating, name)[0]), rel=1e-9), name


# --- what would help --------------------------------------------------------------------------


def read(text: JobText) -> Job:
    """Read a job that leaves no question."""
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def without(model: MachineModel, *codes: str) -> MachineModel:
    """Return a model that does not offer these."""
    return model._replace(
        supports=tuple(item for item in model.supports if item.code not in codes),
        accessories=tuple(item for item in model.accessories if item.code not in codes),
        digest=f"{model.digest}-without-{'-'.join(codes)}",
    )


def test_accessories_are_offered_only_where_all_are_made_and_they_help() -> None:
    """Both reversed jaws and wide supports are wanted; with one not made, neither is named."""
    job, wanted = read(JobText("NPS 6 SCH 40", "3 m")), ("reversed-jaws", "wide-roller-pair")
    assert with_accessories(CORE.engine, job, ROWAN, wanted) == wanted
    assert with_accessories(CORE.engine, job, ROWAN, wanted[:1]) == ()  # one alone does not do
    lesser = without(ROWAN, "reversed-jaws")
    assert with_accessories(CORE.engine, job, lesser, wanted) == ()
    assert with_accessories(CORE.engine, job, ROWAN, ()) == ()
    sealed = read(JobText("NPS 6 SCH 40", "3 m", ends="sealed"))
    assert with_accessories(CORE.engine, sealed, ROWAN, wanted) == ()


def test_more_supports_are_those_of_the_shape_that_are_not_fitted() -> None:
    """Offered for the shape; not what is fitted as delivered, nor what the asker says is."""
    assert more_supports(read(JobText("NPS 4 SCH 40", "3 m")), ROWAN) == ("wide-roller-pair",)
    assert more_supports(read(JobText("SHS 80x4 cf", "3 m")), ROWAN) == ("lift-and-index",)
    fitted = read(JobText("SHS 80x4 cf", "3 m", fitted=["lift-and-index"]))
    assert more_supports(fitted, ROWAN) == ()


def test_the_smallest_model_is_the_first_that_has_it_in_range_or_allows_it() -> None:
    """In the order given; none where no model does."""
    machines = list(CORE.catalogue.machines.values())
    for text in (JobText("NPS 4 SCH 40", "6 m"), JobText("NPS 10 XS", "12 m", bow="3 mm"),
                 JobText("NPS 6 SCH 80", "6.5 m", bow="2 mm"),
                 JobText("NPS 4 SCH 40", "6 m", ends="sealed")):  # fmt: skip
        job = read(text)
        ranks = [int(CORE.engine.decide([job], [item]).ranks[0]) for item in machines]
        expected = {
            name: next(
                (item.code for item, rank in zip(machines, ranks, strict=True) if rank <= most),
                None,
            )
            for name, most in (("in_range", 0), ("allowed", 1))
        }
        assert smallest_models(CORE.engine, job, machines) == expected


def test_the_longest_length_is_to_a_millimetre_and_within_the_stated_longest() -> None:
    """A length limit between two steps of the search is met to the millimetre."""
    limits = dict(ROWAN.limits)
    limits["stock_length"] = limits["stock_length"]._replace(rated=5003.0, absolute=5777.5)
    model = ROWAN._replace(limits=limits, digest="lengths")
    job = read(JobText("NPS 2 SCH 40", "3 m", bow="1 mm"))
    found = longest_lengths(CORE.engine, job, model)
    assert found == {"in_range": 5003.0, "allowed": 5777.5}
    sealed = read(JobText("NPS 2 SCH 40", "3 m", ends="sealed"))
    assert longest_lengths(CORE.engine, sealed, model) == {"in_range": None, "allowed": None}


@pytest.mark.parametrize("pitch", [700.0, 1300.0])
def test_stock_that_is_easier_beyond_a_station_has_an_interval_of_its_own(pitch: float) -> None:
    """With an overhang shorter than the pitch, lengths before each station are refused.

    Every step is judged by itself and compared: both ends of every pitch must be looked at.
    """
    limits = dict(ROWAN.limits)
    limits["overhang"] = limits["overhang"]._replace(rated=500.0, absolute=600.0)
    limits["support_span"] = limits["support_span"]._replace(rated=2700.0, absolute=2700.0)
    bed = ROWAN.bed._replace(first_station=400.0, station_pitch=pitch)
    model = ROWAN._replace(limits=limits, bed=bed, digest=f"pitch-{pitch}")
    job = read(JobText("NPS 2 SCH 40", "3 m", bow="1 mm"))
    step, count = 20.0, 340
    table = table_of([job], CORE.rule_set.vocabulary).take(np.zeros(count, dtype=np.intp))
    table = table._replace(
        geometries=tuple(Geometry(step * (number + 1)) for number in range(count)),
        geometry=np.arange(count),
    )
    decision = CORE.engine.decide_table(table, [model], np.zeros(count, dtype=np.intp))
    answers = answers_of(CORE.engine, decision, has_extra=False)
    columns = [answers.words[name] for name in ("verdict", "decided_by", "missing")]
    kinds = [tuple(words[int(code[row])] for words, code in columns) for row in range(count)]
    expected = []
    for kind, group in groupby(range(count), key=lambda row: kinds[row]):
        rows = list(group)
        expected.append((step * (rows[0] + 1), step * (rows[-1] + 1), *kind))
    found = [
        (item.low, item.high, item.verdict, item.decided_by, item.missing)
        for item in length_intervals(CORE.engine, job, model, step)
    ]
    longest = math.floor(ROWAN.limit("stock_length").absolute / step) * step
    expected = [(low, min(high, longest), *kind) for low, high, *kind in expected if low <= longest]
    assert found == expected
    refused = [item for item in found if item[2] == "refused"]
    assert len(refused) >= 3
    assert len(found) >= 6


# --- what an answer says ----------------------------------------------------------------------


def cautions(text: JobText) -> list[str]:
    """Return the safety lines of an answer."""
    return list(CORE.ask(text, ["rowan-150"]).verdicts[0].cautions)


def test_safety_lines_stand_with_every_answer_and_one_only_with_sections() -> None:
    """All of the file, in its order; spring-back is no business of rounds (common practice)."""
    every = [item.text for item in CORE.rule_set.cautions]
    only = [item.text for item in CORE.rule_set.cautions if item.when]
    assert len(only) == 1
    assert "spring open" in only[0]
    for text in (JobText("NPS 4 SCH 40", "3 m"), JobText("NPS 4 SCH 40", "3 m", ends="sealed")):
        assert cautions(text) == [item for item in every if item not in only]
    for section in ("SHS 80x4 cf", "RHS 100x60x4 cf"):
        assert cautions(JobText(section, "1 m")) == every


@pytest.mark.parametrize(
    ("text", "remnant"),
    [
        (JobText("NPS 2 SCH 40", "3 m", parts=["600 mm*2"]), 3000 - 25 - 600 - 2.2 - 600),
        (JobText("NPS 2 SCH 40", "3 m", cuts=["2500 mm", "1400 mm"]), 1400),
        (JobText("NPS 2 SCH 40", "3 m", cuts=["1400 mm", "2500 mm"]), 1400),
        (JobText("NPS 2 SCH 40", "3 m"), 3000),
        (JobText("NPS 2 SCH 40", "3 m", behind="400 mm"), 2600),
    ],
)
def test_what_is_left_in_the_chuck(text: JobText, remnant: float) -> None:
    """Up to the innermost cut, else the whole front; trim 25 and kerf 2.2 mm of the file."""
    (verdict,) = CORE.ask(text, ["rowan-150"]).verdicts
    assert plain(verdict)["setup"]["remnant"] == pytest.approx(remnant)


@pytest.mark.parametrize(("length", "is_close"), [("5840 mm", False), ("5860 mm", True)])
def test_a_limit_is_close_from_nine_tenths_on(length: str, is_close: bool) -> None:
    """6500 mm rated: 5850 mm are nine tenths of it."""
    verdict = CORE.ask(JobText("NPS 2 SCH 40", length, bow="1 mm"), ["rowan-150"]).verdicts[0]
    assert ("stock_length" in verdict.close) is is_close
