"""What is fixed to the stock: read, looked up, swung, and carried."""

import math
from typing import Final

import numpy as np
import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.flanges import CLASSES, FLANGES, PIPES, SIZES
from cuttable.engine.answer.document import plain
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.decision.decide import Decision
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.jobs.job import Job
from cuttable.engine.jobs.parse import read_job
from cuttable.engine.statics.point_load import influence, reach
from hypothesis import given, settings
from hypothesis import strategies as st

CORE: Final = AssessorCore()
G: Final = 9.80665
BASE: Final = JobText("NPS 6 SCH 40", "6 m", grade="ASTM A53 B", bow="0 mm")


def job_of(off_axis: str, base: JobText = BASE) -> Job:
    """Read a job with something fixed to it."""
    text = base._replace(off_axis=off_axis)
    job, questions = read_job(text, CORE.catalogue, CORE.rule_set.vocabulary)
    assert job is not None, questions
    return job


def decided(off_axis: str, base: JobText = BASE, model: str = "alder-320") -> Decision:
    """Decide it on a model."""
    return CORE.engine.decide([job_of(off_axis, base)], [CORE.catalogue.machine(model)])


def measured(off_axis: str, name: str, base: JobText = BASE) -> tuple[float, float]:
    """Return a measure, nominal and heavy."""
    found = decided(off_axis, base).measured
    nominal = float(found.nominal[name][0])
    return nominal, float(found.heavy[name][0]) if name in found.heavy else nominal


# --- read -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "mass", "distance", "size"),
    [
        ("12 kg @ 150 mm", 12.0, 150.0, math.nan),
        ("12 kg @ 150 mm x 80 mm", 12.0, 150.0, 80.0),
        ("10 lb @ 6 in × 4 in", 4.5359237, 152.4, 101.6),
        ("12 kg @ 0 mm x 300 mm", 12.0, 0.0, 300.0),
        ("weld neck flange 6 class 150, 11 kg", 11.0, 0.0, 279.4),
        ("Flange NPS 6 #300, 19 kg", 19.0, 0.0, 317.5),
        ("flange 6 in 600 lb, 37 kg", 37.0, 0.0, 355.6),
    ],
)
def test_what_is_fixed_is_read(text: str, mass: float, distance: float, size: float) -> None:
    """Mass, distance and width; of a flange its table's outside diameter."""
    job = job_of(text)
    found = (job.off_axis_mass, job.off_axis_distance, job.off_axis_size)
    assert found == pytest.approx((mass, distance, size), rel=1e-9, nan_ok=True)


@pytest.mark.parametrize(
    ("text", "code", "choice"),
    [
        ("slip-on flange 6", "which-flange-class", "--off-axis 'slip-on flange 6 class 300'"),
        ("flange 6 class 150", "flange-mass", "--off-axis 'blind flange 6 class 150'"),
        ("weld neck flange 2-1/2 150#", "flange-mass",
         "--off-axis 'weld neck flange 2-1/2 class 150, MASS'"),
        ("12 kg @ 150 mm x 80", "length-unit", "--off-axis '12 kg @ 150 mm x 80 mm'"),
    ],
)  # fmt: skip
def test_what_a_flange_leaves_open_is_asked(text: str, code: str, choice: str) -> None:
    """Class and, with a hub, mass: never guessed; the choices are typed as they stand."""
    job, questions = read_job(
        BASE._replace(off_axis=text), CORE.catalogue, CORE.rule_set.vocabulary
    )
    assert job is None
    assert [question.code for question in questions] == [code]
    assert choice in questions[0].choices


@pytest.mark.parametrize("text", ["flange 7 class 150", "flange 6 class 900", "12 kg"])
def test_what_is_no_flange_is_an_error_with_a_remedy(text: str) -> None:
    """A size or class that the table does not have is told, with what it has."""
    with pytest.raises(InputError) as fault:
        job_of(text)
    assert fault.value.remedy


# --- flanges ----------------------------------------------------------------------------------

# Outside diameters and thicknesses, in, as pages that reproduce ASME B16.5 print them (from
# memory of them; NPS 2 class 150 with its 6 in was seen).
PRINTED: Final = {
    ("1/2", 150): (3.5, 0.44), ("2", 150): (6.0, 0.75), ("4", 300): (10.0, 1.25),
    ("6", 150): (11.0, 1.0), ("8", 600): (16.5, 2.19), ("12", 150): (19.0, 1.25),
    ("24", 600): (37.0, 4.0),
}  # fmt: skip


def test_the_table_of_flanges_is_whole_and_grows() -> None:
    """Every size in every class; larger and stronger flanges are never smaller; pipes fit in."""
    assert set(FLANGES) == {(size, rating) for size in SIZES for rating in CLASSES}
    for key, printed in PRINTED.items():
        assert FLANGES[key] == printed
    for rating in CLASSES:
        rows = [FLANGES[size, rating] for size in SIZES]
        assert rows == sorted(rows)
    for size in SIZES:
        rows = [FLANGES[size, rating] for rating in CLASSES]
        assert rows == sorted(rows)
        assert PIPES[size] < rows[0].outside


def test_the_mass_of_a_blind_flange_is_that_of_its_disc() -> None:
    """11 in by 1 in of steel of 7850 kg/m^3: 12.2 kg; a slip-on ring has the pipe's hole."""
    disc = 7850 * math.pi / 4 * 0.2794**2 * 0.0254
    assert job_of("blind flange 6 class 150").off_axis_mass == pytest.approx(disc, rel=1e-9)
    ring = 7850 * math.pi / 4 * (0.2794**2 - 0.168275**2) * 0.0254
    assert job_of("slip-on flange 6 class 150").off_axis_mass == pytest.approx(ring, rel=1e-9)


def test_a_flange_enters_mass_and_inertia_but_is_no_unbalance() -> None:
    """A ring about the stock: m (D^2 + d^2) / 8 on top, and nothing beside the axis."""
    bare, with_it = (measured(text, "rotary_inertia") for text in ("", "flange 6 #150, 11 kg"))
    added = 11 * (0.2794**2 + 0.1683**2) / 8
    assert with_it[0] - bare[0] == pytest.approx(added, rel=1e-9)
    mass = [measured(text, "stock_mass")[0] for text in ("", "flange 6 #150, 11 kg")]
    assert mass[1] - mass[0] == pytest.approx(11, rel=1e-9)
    assert measured("flange 6 #150, 11 kg", "unbalance_torque")[0] == 0


def test_the_answer_says_where_a_flange_comes_from_and_keeps_its_width() -> None:
    """Source and status of the size, how the mass was found, and the width as a key."""
    (answer,) = CORE.ask(BASE._replace(off_axis="blind flange 6 class 150"), ["alder-320"]).verdicts
    told = " ".join(answer.job.assumptions)
    assert "ASME B16.5, from memory" in told
    assert "11 in across" in told
    assert plain(answer)["job"]["off_axis"]["size"] == pytest.approx(279.4)
    (unsaid,) = CORE.ask(BASE._replace(off_axis="3 kg @ 100 mm"), ["alder-320"]).verdicts
    assert "size" not in plain(unsaid)["job"]["off_axis"]
    assert unsaid.id != answer.id


# --- swung ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("12 kg @ 150 mm x 80 mm", (380.0, 380.0)),
        ("blind flange 6 class 300", (317.5, 317.5)),
        # As far outward of its centre as inward to a stock of 168.3 mm, 1 % larger when heavy.
        ("12 kg @ 150 mm", (300.0, 600 - 168.3 * 1.01)),
        ("12 kg @ 60 mm", (120.0, 120.0)),
    ],
)
def test_what_is_fixed_sweeps_twice_its_farthest_reach(
    text: str, expected: tuple[float, float]
) -> None:
    """Geometry: 2 e + s."""
    assert measured(text, "fitting_sweep") == pytest.approx(expected)


@pytest.mark.parametrize(
    ("text", "rules"),
    [
        ("1 kg @ 120 mm x 80 mm", {"FIT-05"}),  # 320 of 330 rated, 425 absolute
        ("1 kg @ 120 mm x 100 mm", {"FIT-03", "FIT-05"}),
        ("1 kg @ 120 mm x 190 mm", {"FIT-01", "FIT-05"}),
        ("1 kg @ 120 mm", {"FIT-05"}),
        ("1 kg @ 150 mm", {"FIT-02", "FIT-03", "FIT-05"}),
        ("1 kg @ 60 mm", {"FIT-02"}),
        ("blind flange 12 class 150", {"FIT-01", "FIT-05"}),
    ],
)
def test_a_fitting_must_swing(text: str, rules: set[str]) -> None:
    """Refused where it cannot; asked where an unsaid width decides."""
    found = decided(text)
    codes = {CORE.rule_set.rules[item.rule].code for item in found.of(0).findings}
    assert {code for code in codes if code.startswith("FIT")} == rules


@settings(deadline=None, max_examples=40)
@given(st.floats(1, 200), st.floats(1, 300), st.floats(0, 100))
def test_a_wider_fitting_never_swings_better(distance: float, size: float, more: float) -> None:
    """Monotone: width only adds to the circle and to the inertia."""
    texts = [f"3 kg @ {distance:.2f} mm x {item:.2f} mm" for item in (size, size + more)]
    for name in ("fitting_sweep", "rotary_inertia"):
        less, greater = (measured(text, name)[0] for text in texts)
        assert greater >= less


# --- carried ----------------------------------------------------------------------------------


def test_influence_lines_of_one_support() -> None:
    """Statics of a bar on a pinned chuck and one support: R = x / s. Clamped: handbook form.

    Propped cantilever, load at a from the clamp within the span: R = a^2 (3 s - a) / 2 s^3;
    beyond it, at c from the support: R = 1 + 3 c / 2 s (Roark, from memory).
    """
    span = 2000.0
    at = np.array([0.0, 500.0, 1500.0, 2000.0, 2600.0, 3000.0])
    reactions, moments = influence(3000.0, (span,), at)
    np.testing.assert_allclose(reactions[1, 0], at / span, atol=1e-9)
    np.testing.assert_allclose(moments[1], 0.0, atol=1e-6)
    within = at**2 * (3 * span - at) / (2 * span**3)
    beyond = 1 + 1.5 * (at - span) / span
    expected = np.where(at <= span, within, beyond)
    np.testing.assert_allclose(reactions[0, 0], expected, atol=1e-9)
    np.testing.assert_allclose(moments[0], at - expected * span, atol=1e-6)


def test_influence_lines_add_up_to_the_load() -> None:
    """Over a support it carries all; the forces and moments balance everywhere."""
    stations = (900.0, 2100.0, 4200.0)
    at = np.linspace(0.0, 5200.0, 27)
    reactions, moments = influence(5200.0, stations, at)
    over, _ = influence(5200.0, stations, np.array(stations))
    for end in (0, 1):
        np.testing.assert_allclose(over[end], np.eye(3), atol=1e-9)
        balance = at - (reactions[end] * np.array(stations)[:, None]).sum(axis=0)
        np.testing.assert_allclose(moments[end], balance, atol=1e-6)


def test_the_chuck_alone_bears_the_whole_lever() -> None:
    """Cantilever: W, W L and W L^3 / 3 E I (handbook)."""
    found = reach(900.0, ())
    assert found == (0.0, 1.0, 900.0, 900.0**3 / 3)
    base = JobText("NPS 3 SCH 40", "900 mm", grade="ASTM A53 B", bow="0 mm")
    text = "2 kg @ 0 mm x 100 mm"
    for name, more in (("chuck_reaction", 2 * G), ("chuck_moment", 2 * G * 0.9)):
        bare, with_it = (
            float(decided(said, base, "rowan-150").measured.heavy[name][0]) for said in ("", text)
        )
        assert with_it - bare == pytest.approx(more, rel=1e-9)


def test_a_long_free_end_levers_the_chuck_up() -> None:
    """4 m beyond a support at 1 m: 1 - (1 + 3 c / 2 s) = -6 on a clamped chuck, M = W c / 2."""
    found = reach(5000.0, (1000.0,))
    assert found.reaction == pytest.approx(7.0)
    assert found.chuck_reaction == pytest.approx(6.0)
    assert found.chuck_moment == pytest.approx(2000.0)
    assert found.sag == pytest.approx(1000.0**3 / 48)


def test_a_fitting_loads_supports_and_chuck_wherever_it_sits() -> None:
    """Never less than its weight on the worst support, and on the chuck."""
    text = "40 kg @ 0 mm x 200 mm"
    stations = BASE._replace(stations=("2 m", "4 m"))
    for name in ("support_reaction", "chuck_reaction", "chuck_moment", "sag"):
        bare, with_it = (measured(said, name, stations)[1] for said in ("", text))
        least = 40 * G if name.endswith("reaction") else 0
        assert with_it - bare > least * (1 - 1e-9)
    found = reach(6000.0, (2000.0, 4000.0))
    assert found.reaction > 1 + 2000 / 2000  # the free end levers on the last support
    bare, with_it = (measured(said, "support_reaction", stations)[1] for said in ("", text))
    assert with_it - bare == pytest.approx(40 * G * found.reaction, rel=1e-9)
