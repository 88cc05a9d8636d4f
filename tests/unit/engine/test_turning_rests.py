"""Squares and rectangles while they turn: rests that are lowered, follow, or turn with them.

Statics is set against another method: bounded least squares of the complementary energy of a
cantilever (minimum of energy; deflections of a cantilever from handbook formulas), by scipy.
"""

import math
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from cuttable.catalogue.machines.model import MachineModel
from cuttable.engine.answer.document import Answer
from cuttable.engine.answer.making import answers
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.inputs.figures import figures_of
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.statics.lowered_rests import Rests, hold
from cuttable.engine.statics.machine_check import contradictions
from cuttable.engine.statics.stocks import Usable, stock_numbers
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

CORE: Final = AssessorCore()
MEDLAR: Final = Path(__file__).resolve().parents[3] / "catalogue" / "models" / "medlar-300.toml"
FOLLOWS: Final = (
    'turns    = "follows" # its cylinder keeps it against the profile through a turn\n'
    'follow_force = "4.0 kN"\n'
)
LOWERED: Final = 'turns = "lowered"\nlowered_by = "{}"\n'


PRESSED: Final = 'jaw_hold         = "pressure"'
LOCKED: Final = 'jaw_hold         = "locks"'


def variant(turns: str, *changes: tuple[str, str]) -> MachineModel:
    """Return the medlar-300 with other lifting rests, and texts of its file replaced.

    Its jaws lock, so that the bearing decides: pressed ones hold less than the bearing does.
    """
    text = MEDLAR.read_text(encoding="utf-8")
    for old, new in ((FOLLOWS, turns), (PRESSED, LOCKED), *changes):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return CORE.catalogue.machine_content(text.encode(), "test")


LOW: Final = variant(LOWERED.format("120 mm"))
RING: Final = variant('turns = "with-section"\n')
SILENT: Final = variant("")


def job_of(section: str, length: str, **more: Any) -> Job:
    """Return a job as it is read."""
    text = JobText(section, length, **more)
    read, _ = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert read is not None
    return read


def answers_of(jobs: list[Job], machine: MachineModel) -> list[Answer]:
    """Return the answers of many jobs that are decided together."""
    machines = [machine] * len(jobs)
    decision = CORE.engine.decide(jobs, machines)
    return answers(CORE.engine, decision, jobs, machines, CORE.provenance, "si")


def answer(machine: MachineModel, section: str, length: str, **more: Any) -> Answer:
    """Return the answer of one machine."""
    (found,) = answers_of([job_of(section, length, **more)], machine)
    return found


# --- statics, by another method ---------------------------------------------------------------


def by_energy(
    length: float, weight: float, stiffness: float, stations: Any, heights: Any, most: Any
) -> tuple[Any, Any]:
    """Return reactions and what the bar deflects (upward) at its supports.

    A cantilever sags w x^2 (6 L^2 - 4 L x + x^2) / 24 EI under its weight, and a force at a lifts
    it x^2 (3 a - x) / 6 EI for x <= a (handbook). Least 1/2 R'AR - R'(d + h) for 0 <= R <= most.
    """
    x = np.array(stations)
    near, far = np.minimum(x[:, None], x[None]), np.maximum(x[:, None], x[None])
    give = near**2 * (3 * far - near) / (6 * stiffness)
    sag = weight * x**2 * (6 * length**2 - 4 * length * x + x**2) / (24 * stiffness)
    root = np.linalg.cholesky(give)
    found = lsq_linear(
        root.T, np.linalg.solve(root, sag + heights), bounds=(0, most), method="bvls", tol=1e-15
    )
    return found.x, give @ found.x - sag


def layouts(dice: np.random.Generator, *, follows: bool) -> Any:
    """Return one random bar over one to four rests."""
    length = dice.uniform(2000, 9000)
    count = int(dice.integers(1, 5))
    pitch = length / (count + 0.5)
    stations = pitch * (np.arange(count) + dice.uniform(0.6, 1.2, count))
    weight, stiffness = dice.uniform(0.03, 0.8), 10 ** dice.uniform(10.3, 13)
    drop = np.where(dice.random(count) < 0.7, dice.uniform(20, 250, count), 0.0)
    push = np.full(count, np.inf)
    if follows:
        drop = drop * (dice.random(count) < 0.3)
        some = dice.random(count) < 0.7
        push = np.where(some & (drop == 0), dice.uniform(0.05, 0.7) * weight * length, np.inf)
    return length, weight, stiffness, stations, drop, push


@pytest.mark.parametrize("follows", [False, True])
def test_rests_lowered_or_following_are_what_least_energy_says(*, follows: bool) -> None:
    """Two hundred random layouts each: reactions, moment and deflection at every rest."""
    dice = np.random.default_rng(12)
    met = {"free": 0, "rests": 0, "gives": 0}
    for _ in range(200):
        length, weight, stiffness, stations, drop, push = layouts(dice, follows=follows)
        most = np.where(np.isinf(push), 1e9, push)
        expected, _ = by_energy(length, weight, stiffness, stations, -drop, most)
        rests = Rests(stations[None], drop[None], push[None])
        one = (np.array([value]) for value in (length, weight, stiffness))
        _, carried = hold(rests, *one)
        whole = weight * length
        np.testing.assert_allclose(carried.reactions[0], expected, rtol=0, atol=1e-6 * whole)
        moment = weight * length**2 / 2 - float(expected @ stations)
        assert -carried.chuck_moment[0] == pytest.approx(moment, abs=1e-6 * whole * length)
        assert carried.chuck_reaction[0] == pytest.approx(whole - expected.sum(), abs=1e-6 * whole)
        met["free"] += not expected.any()
        met["rests"] += bool((expected[drop > 0] > 1e-6).any())
        met["gives"] += bool((np.abs(expected - push) < 1e-6).any())
    assert met["rests"] > (10 if follows else 30)
    assert met["gives"] > 50 if follows else met["free"] > 15


def test_rows_do_not_change_each_other() -> None:
    """Many bars beside each other, padded: each as alone."""
    dice = np.random.default_rng(5)
    every = [layouts(dice, follows=True) for _ in range(60)]
    padded = [np.full((60, 4), np.nan) for _ in range(3)]
    for row, item in enumerate(every):
        for whole, piece in zip(padded, item[3:], strict=True):
            whole[row, : len(piece)] = piece
    length, weight, stiffness = (np.array([item[i] for item in every]) for i in range(3))
    _, together = hold(Rests(*padded), length, weight, stiffness)
    for row, item in enumerate(every):
        rests = Rests(*(piece[None] for piece in item[3:]))
        _, alone = hold(rests, *(np.array([value]) for value in item[:3]))
        assert together.chuck_moment[row] == pytest.approx(alone.chuck_moment[0], rel=1e-9)
        assert together.chuck_reaction[row] == pytest.approx(alone.chuck_reaction[0], rel=1e-9)


@settings(max_examples=200, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), more=st.floats(1.0, 3.0))
def test_a_lower_or_weaker_rest_never_relieves_the_chuck(seed: int, more: float) -> None:
    """Further down, or pushing less: the moment on a clamped chuck does not fall, nor pass w L^2/2.

    Of one rest. Of several it may fall: where an inner one gives way the outer ones carry more, on
    a longer lever; but rests that push can only take from what hangs on the chuck alone.
    """
    dice = np.random.default_rng(seed)
    length, weight, stiffness, *rests = layouts(dice, follows=bool(seed % 2))
    bar = [np.array([value]) for value in (length, weight, stiffness)]
    hair = 1e-7 * weight * length**2
    _, carried = hold(Rests(*(piece[None] for piece in rests)), *bar)
    assert -float(carried.chuck_moment[0]) <= weight * length**2 / 2 + hair
    stations, drop, push = (piece[None, :1] for piece in rests)
    changed = [(drop, push), (drop * more, push), (drop, push / more)]
    found = [hold(Rests(stations, down, force), *bar)[1] for down, force in changed]
    moments = [-float(item.chuck_moment[0]) for item in found]
    assert moments[1] >= moments[0] - hair
    assert moments[2] >= moments[0] - hair


# --- what an answer says ----------------------------------------------------------------------


def test_a_slender_square_droops_until_it_lands() -> None:
    """SHS 50x3 of 6 m alone sags w L^4 / 8 EI = 165 mm at nominal; over rests 120 mm down it lies.

    Numbers of EN 10219-2: 4.25 kg/m, 19.5 cm4.
    """
    section, length = "SHS 50x3 cf", 6000.0
    weight = 4.25e-3 * 9.80665
    assert weight * length**4 / (8 * 210e3 * 19.5e4) == pytest.approx(165, abs=1)
    found = answer(LOW, section, "6 m")
    free = weight * length**2 / 2e3
    measures = found.measures
    assert measures["turning_chuck_moment"].value < free * 0.95
    assert measures["rest_drop"].value == 120
    # A sharp corner: (50 sqrt 2 - 50) / 2 = 10.4 mm at most, rounded corners less.
    assert 7 < measures["corner_drop"].value < 10.4
    assert {"INDEX-01", "INDEX-04"} <= {item.rule for item in found.findings}
    assert found.verdict == "oversize-allowed-with-conditions"
    deep = answer(variant(LOWERED.format("400 mm")), section, "6 m")
    assert deep.measures["turning_chuck_moment"].value == pytest.approx(free, rel=3e-3)
    assert deep.measures["turning_droop"].value == pytest.approx(165, rel=0.13)  # thin wall
    assert "INDEX-04" not in {item.rule for item in deep.findings}


def random_jobs(count: int) -> list[Job]:
    """Return squares and rectangles in the range of the machine, some of them with parts."""
    dice = np.random.default_rng(77)
    sections = ["SHS 50x3 cf", "SHS 60x4 cf", "SHS 80x5 cf", "SHS 100x5 hf", "SHS 120x6 cf",
                "RHS 100x50x4 cf", "RHS 150x100x6 cf", "SHS 150x6 cf", "HSS 4x4x1/4"]  # fmt: skip
    found: list[Job] = []
    for _ in range(count):
        length = int(dice.integers(15, 85)) * 100
        more = {} if dice.random() < 0.7 else {"parts": [f"{length // 5} mm*2"]}
        found.append(job_of(sections[int(dice.integers(len(sections)))], f"{length} mm", **more))
    return found


def test_the_chuck_moment_printed_is_that_of_the_piece_with_the_rests_down() -> None:
    """Two hundred random jobs, at the heavy end, every stage of severing; alone and together."""
    jobs = random_jobs(200)
    together = answers_of(jobs, LOW)
    figures, seen = figures_of(CORE.rule_set), 0
    for number, (job, found) in enumerate(zip(jobs, together, strict=True)):
        if not found.setup.supports:
            continue
        weight, stiffness = stock_numbers(job.section, job.grade, 0.0)[:2]
        cutting = LOW.cutting
        ends, place = [job.length], job.length - cutting.trim
        for part in job.parts:
            for _ in range(part.count):
                place -= part.length
                ends.append(place)
                place -= cutting.kerf
        stations = np.array(
            [item.station for item in found.setup.supports if item.role != "catches"]
        )
        worst = 0.0
        for end in ends:
            under = stations[stations < end]
            moment = weight * end**2 / 2
            if len(under):
                push, _ = by_energy(end, weight, stiffness, under, -120.0 * (under > 0), 1e9)
                moment -= float(push @ under)
            worst = max(worst, moment / 1e3)
        turning, printed = found.measures["turning_chuck_moment"], found.measures["chuck_moment"]
        assert turning.heavy == pytest.approx(worst, rel=1e-6)
        assert printed.heavy is not None
        assert printed.heavy >= worst * (1 - 1e-6)
        assert abs(found.setup.chuck_moment or 0) >= worst * (1 - 1e-6)
        assert turning.value <= turning.heavy * (1 + 1e-9)
        seen += printed.heavy == turning.heavy
        if number % 10 == 0:
            (alone,) = answers_of([job], LOW)
            assert alone.measures == found.measures
    assert figures.stability_margin > 0
    assert seen > 60


def test_what_hangs_beyond_the_chuck_is_refused_with_its_cure() -> None:
    """SHS 180x8 of 8 m: on rests a few hundred N m, while it turns w L^2 / 2 hang on the chuck."""
    low = answer(LOW, "SHS 180x8 cf", "8 m")
    assert low.verdict == "refused"
    assert low.decided_by == "INDEX-06"
    (told,) = (item.text for item in low.findings if item.rule == "INDEX-06")
    assert "shorter stock, or rests that turn with the section or follow it" in told
    assert not {"MOMENT-01", "MOMENT-02"} & {item.rule for item in low.findings}
    for machine in (RING, SILENT):
        held = answer(machine, "SHS 180x8 cf", "8 m")
        assert held.verdict != "refused"
        assert "turning_chuck_moment" not in held.measures
    shipped = answer(CORE.catalogue.machine("medlar-300"), "SHS 180x8 cf", "8 m")
    assert shipped.verdict != "refused"


def test_between_rated_and_absolute_it_turns_slowly() -> None:
    """A moment over 3.0 and under 3.8 kN m is a condition with the lowest override."""
    found = next(
        item for length in range(3000, 8000, 100)
        if 3000 < (item := answer(LOW, "SHS 100x5 hf", f"{length} mm"))
        .measures["turning_chuck_moment"].heavy < 3700
    )  # fmt: skip
    assert found.verdict == "oversize-allowed-with-conditions"
    assert "INDEX-05" in {item.rule for item in found.findings}
    assert "turn-from-chuck" in {item.code for item in found.mitigations}
    assert found.setup.rapid_override == LOW.rotary.lowest_override


def test_not_stated_is_said_once_and_judged_as_before() -> None:
    """What nobody has stated changes no number; where the chuck alone carries it is no matter."""
    silent, ring = (answer(item, "SHS 100x5", "6 m") for item in (SILENT, RING))
    assert silent.measures == ring.measures
    assert silent.not_assessed == ("jaw_stress", "rest_turns")
    assert ring.not_assessed == ("jaw_stress",)
    assert sum("does not say" in text for text in silent.left_out) == 1
    assert answer(SILENT, "SHS 100x5", "1 m").not_assessed == ("jaw_stress",)
    assert answer(SILENT, "NPS 4 SCH 40", "6 m").not_assessed == ()


def test_indexing_lines_stand_on_answers_that_pass() -> None:
    """One line, a setting: the verdict stays in range."""
    shallow = answer(LOW, "SHS 100x5 hf", "4 m")
    assert shallow.verdict == "in-range"
    assert [item.code for item in shallow.mitigations].count("lower-rests") == 1
    assert "Lower every rest by 120 mm" in " ".join(item.text for item in shallow.mitigations)
    follows = answer(CORE.catalogue.machine("medlar-300"), "SHS 100x5 hf", "6 m")
    assert follows.verdict == "in-range"
    assert "follow-rests" in {item.code for item in follows.mitigations}
    assert "turning_chuck_moment" not in follows.measures
    for machine in (RING, SILENT):
        codes = {item.code for item in answer(machine, "SHS 100x5 hf", "4 m").mitigations}
        assert not codes & {"lower-rests", "follow-rests"}
    round_stock = answer(LOW, "NPS 4 SCH 40", "6 m")
    assert not {"lower-rests", "follow-rests"} & {item.code for item in round_stock.mitigations}


def test_a_rest_that_follows_gives_way_beyond_its_force() -> None:
    """Two rests under 6 m of SHS 100x5: each bears some 390 N; with 300 N the chuck takes more."""
    weak = answer(variant('turns = "follows"\nfollow_force = "300 N"\n'), "SHS 100x5 hf", "6 m")
    strong = answer(RING, "SHS 100x5 hf", "6 m")
    use = weak.measures["follow_use"].heavy
    assert use is not None
    assert use * 300 == pytest.approx(max(item.reaction for item in weak.setup.supports), rel=1e-6)
    assert {"INDEX-02", "INDEX-09"} <= {item.rule for item in weak.findings}
    weight = 95.285 * 9.80665
    stations = np.array([item.station for item in weak.setup.supports])
    moment = weight * 6.0 / 2 - 300 * stations.sum() / 1e3
    turned, standing = weak.measures["chuck_moment"], strong.measures["chuck_moment"]
    assert turned.heavy == pytest.approx(moment, rel=1e-3)
    assert turned.heavy > (standing.heavy or 0)


def test_a_corner_that_does_not_clear_is_refused() -> None:
    """SHS 150x6 turns about 27 mm lower on its corner; rests that go down 20 mm are struck."""
    shallow = variant(LOWERED.format("20 mm"))
    found = answer(shallow, "SHS 150x6 cf", "3 m")
    assert "INDEX-03" in {item.rule for item in found.findings}
    assert found.verdict == "refused"
    assert "INDEX-03" not in {item.rule for item in answer(LOW, "SHS 150x6 cf", "3 m").findings}


def test_rests_of_several_kinds_are_dealt_where_most_is_carried() -> None:
    """The strongest stands under the largest load, and only the lowered one is lowered."""
    from cuttable.engine.statics.lowered_rests import rests_of

    low = next(item for item in LOW.supports if item.code == "lift-and-index")
    ring = next(item for item in RING.supports if item.code == "lift-and-index")
    strong = ring.__class__(**{**vars(ring), "reaction": ring.reaction._replace(rated=9e3)})
    both = Usable((strong, low), ("flat", "flat"))
    found = rests_of([(800.0, 3600.0)], [both], np.array([0]), np.array([4800.0]))
    # Of a bar of 4.8 m the outer support carries most.
    np.testing.assert_array_equal(found.drop, [[120.0, 0.0]])
    assert math.isinf(found.push.min())


# --- machine files ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("turns", "key", "words"),
    [
        ('turns = "with-section"\nlowered_by = "60 mm"\n', "lowered_by",
         "60 mm, but this rest turns with the section"),
        ('lowered_by = "60 mm"\n', "lowered_by", "does not say what it does"),
        ('turns = "lowered"\nlowered_by = "60 mm"\nfollow_force = "2 kN"\n', "follow_force",
         "2000 N, but this rest is lowered"),
        ('turns = "follows"\nfollow_force = "5.1 kN"\n', "follow_force",
         "5100 N is more than reaction.absolute, 5000 N"),
        (LOWERED.format("52 mm"), "lowered_by",
         "52 mm does not clear limits.swept_diameter.absolute, 360 mm: a square that sweeps it "
         "comes 52.721 mm lower"),
    ],
)  # fmt: skip
def test_validate_tells_rests_that_contradict_themselves(turns: str, key: str, words: str) -> None:
    """With the numbers, and the key that they stand at."""
    ((where, what),) = contradictions(variant(turns))
    assert where == ("supports", 0, key)
    assert words in what


def test_rests_that_fit_are_not_told_of() -> None:
    """Each of the three kinds, and a drop that clears by a hair."""
    for machine in (LOW, RING, SILENT, variant(LOWERED.format("52.73 mm"))):
        assert contradictions(machine) == []
    old = 'code           = "roller-pair"\n'
    rollers = variant(FOLLOWS, (old, f'{old}turns = "with-section"\n'))
    ((where, what),) = contradictions(rollers)
    assert where == ("supports", 1, "turns")
    assert "carries it all the time" in what


@pytest.mark.parametrize(("turns", "key"), [("follows", "follow_force"), ("lowered", "lowered_by")])
def test_a_rest_without_its_number_is_no_file(turns: str, key: str) -> None:
    """The number that it is judged by is asked for."""
    from cuttable.catalogue.errors import FileError

    with pytest.raises(FileError, match=rf"supports\S*{key}: is missing"):
        variant(f'turns = "{turns}"\n')
