"""Sections as the trade writes them: one reading is read, two are asked about, none is guessed."""

import re

import pytest
from cuttable.catalogue.errors import ERROR_CODES, InputError, OpenQuestion, Question
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.sections import Section
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=300, deadline=None, derandomize=True, database=None)


def asked(catalogue: Catalogue, text: str) -> Question:
    """Return the question that ``text`` leaves open."""
    with pytest.raises(OpenQuestion) as found:
        catalogue.section(text)
    return found.value.question


def refused(catalogue: Catalogue, text: str) -> InputError:
    """Return the error that ``text`` causes."""
    with pytest.raises(InputError) as found:
        catalogue.section(text)
    return found.value


# --- rounds -----------------------------------------------------------------------------------

ROUNDS: list[tuple[str, float, float]] = [
    # nominal size and schedule, in every order and spelling
    ("NPS 6 SCH 80", 168.3, 10.97),
    ("NPS 6 SCH 40", 168.3, 7.11),
    ("nps 6 sch 40", 168.3, 7.11),
    ("NPS6SCH40", 168.3, 7.11),
    ("NPS 6 Sch. 40", 168.3, 7.11),
    ("NPS 6, SCH 40", 168.3, 7.11),
    ("NPS 6 - SCH 40", 168.3, 7.11),
    ("NPS 6 SCHED 40", 168.3, 7.11),
    ("NPS 6 schedule 40", 168.3, 7.11),
    ("NPS 6 S40", 168.3, 7.11),
    ("NPS 6 SCH 40 pipe", 168.3, 7.11),
    ("pipe NPS 6 SCH 40", 168.3, 7.11),
    ("SCH 40 NPS 6", 168.3, 7.11),
    ("Sch 40 6 in", 168.3, 7.11),
    ("S40 6 in", 168.3, 7.11),
    ("6 NPS SCH 40", 168.3, 7.11),
    ('6" sch 80', 168.3, 10.97),
    ('6"SCH80', 168.3, 10.97),
    ("6″ sch 80", 168.3, 10.97),
    ("6” sch 80", 168.3, 10.97),
    ("6'' sch 80", 168.3, 10.97),
    ("6in sch80", 168.3, 10.97),
    ("6 inch schedule 80 pipe", 168.3, 10.97),
    ("6 in. pipe, schedule 80", 168.3, 10.97),
    ("6-inch schedule-80", 168.3, 10.97),
    ("6-inch sch-80 pipe", 168.3, 10.97),
    ("six inch schedule 80 pipe", 168.3, 10.97),
    ("six-inch sched. 80", 168.3, 10.97),
    ("6\u00a0in\u00a0sch\u00a080", 168.3, 10.97),
    ("  6   in  sch   80  ", 168.3, 10.97),
    ("12 SCH 40", 323.8, 10.31),
    ("NPS 24 SCH 40", 610.0, 17.48),
    ("ASME B36.10M NPS 6 SCH 40", 168.3, 7.11),
    # weight classes
    ("6 in XS pipe", 168.3, 10.97),
    ('6" XS', 168.3, 10.97),
    ("NPS 6 XH", 168.3, 10.97),
    ("6 in extra strong", 168.3, 10.97),
    ("extra heavy 6 in pipe", 168.3, 10.97),
    ("NPS 6 STD", 168.3, 7.11),
    ("STD 6 in", 168.3, 7.11),
    ("6 in standard weight pipe", 168.3, 7.11),
    ("NPS 6 XXS", 168.3, 21.95),
    ("double extra strong 6 in pipe", 168.3, 21.95),
    ("NPS 6 SCH STD", 168.3, 7.11),
    ("NPS 6 SCH XS", 168.3, 10.97),
    ("SCH XXS NPS 6", 168.3, 21.95),
    # fractions
    ("2-1/2 in sch 40", 73.0, 5.16),
    ("2 1/2 in sch 40", 73.0, 5.16),
    ("2½ in sch 40", 73.0, 5.16),
    ('2½" SCH 40', 73.0, 5.16),
    ("2.5 in sch 40", 73.0, 5.16),
    ("2,5 in sch 40", 73.0, 5.16),
    ("NPS 1-1/4 SCH 40", 42.2, 3.56),
    ("1¼ sch 40", 42.2, 3.56),
    ("NPS ½ SCH 40", 21.3, 2.77),
    ("1/2 in sch 40", 21.3, 2.77),
    ("3-1/2 sch 40", 101.6, 5.74),
    # DN
    ("DN 150 SCH 40", 168.3, 7.11),
    ("DN150 S40", 168.3, 7.11),
    ("dn150sch40", 168.3, 7.11),
    ("SCH 40 DN 150", 168.3, 7.11),
    ("DN 50 SCH 40", 60.3, 3.91),
    ("DN 150 x 7.11", 168.3, 7.11),
    ("DN 150 x 7,11 mm", 168.3, 7.11),
    # outside diameter and wall that a pipe table knows
    ("168.3x7.11", 168.3, 7.11),
    ("168.3 x 7.11 mm", 168.3, 7.11),
    ("168,3 x 7,11 mm", 168.3, 7.11),
    ("168.3×7.11", 168.3, 7.11),
    ("168.3 by 7.11 mm", 168.3, 7.11),
    ("Ø168.3x7.11", 168.3, 7.11),
    ("⌀ 168.3 x 7.11 mm", 168.3, 7.11),
    ("168.3 OD x 7.11 wall", 168.3, 7.11),
    ("pipe 168.3x7.11", 168.3, 7.11),
    ("6.625 x 0.280", 168.3, 7.11),
    ('6.625" OD x .280" wall', 168.3, 7.11),
    ("6-5/8 x 0.280 in", 168.3, 7.11),
    ("NPS 6 x 0.280", 168.3, 7.11),
    ("NPS 6 x 7.11 mm", 168.3, 7.11),
    # tube: what is written is what is meant
    ("2 in x .065 tube", 50.8, 1.651),
    ("2 x .065 in tube", 50.8, 1.651),
    ('tube 2" x 0.065"', 50.8, 1.651),
    ("2 in OD x .065 in", 50.8, 1.651),
    ("2 in x ,065 in tube", 50.8, 1.651),
    ("2 in x 16 ga BWG tube", 50.8, 1.651),
    ("2 in 16 BWG tube", 50.8, 1.651),
    ("2 in x 11 ga sheet", 50.8, 3.03784),
    ("2 in x 11 ga stainless", 50.8, 3.175),
    ("3-1/2 x .120 tube", 88.9, 3.048),
    ("tube 50 x 3 mm", 50.0, 3.0),
    ("50 x 3", 50.0, 3.0),
    ("50x3 tube", 50.0, 3.0),
    ("50mmx3mm tube", 50.0, 3.0),
    ("2inx.065in tube", 50.8, 1.651),
    ("2od x .065 tube", 50.8, 1.651),
    ("hollow bar 50 x 10 mm", 50.0, 10.0),
    ("304x5 tube", 304.0, 5.0),
    ("304.8 x 6 mm", 304.8, 6.0),
    ("2 in x 11 ga stainless steel", 50.8, 3.175),
    ("round tube 50 x 3 mm", 50.0, 3.0),
    ("tube 5 x 0.3 cm", 50.0, 3.0),
    ("tube 168.3 x 7.11 mm", 168.3, 7.11),
    ("1.200,5 x 10 mm", 1200.5, 10.0),
    # structural rounds
    ("CHS 168.3x8", 168.3, 8.0),
    ("CHS 168.3x8 cf", 168.3, 8.0),
    ("CHS 60.3x1.6", 60.3, 1.6),
    ("circular hollow section 168.3x8", 168.3, 8.0),
    ("chs 168,3 × 8 mm", 168.3, 8.0),
    ("HSS 6.625x0.280", 168.275, 7.112),
    ("hss 6.625 x .280", 168.275, 7.112),
]


@pytest.mark.parametrize(("text", "outside", "wall"), ROUNDS, ids=[row[0] for row in ROUNDS])
def test_round_as_written(catalogue: Catalogue, text: str, outside: float, wall: float) -> None:
    """Every usual way of writing a pipe or tube gives its outside diameter and wall."""
    section = catalogue.section(text)
    assert section.shape == "round"
    assert (section.height, section.wall) == pytest.approx((outside, wall), abs=1e-9)
    assert section.outside_diameter == section.height == section.width


# --- squares and rectangles -------------------------------------------------------------------

BOXES: list[tuple[str, float, float, float]] = [
    ("HSS 6x4x1/4", 152.4, 101.6, 6.35),
    ("HSS6X4X1/4", 152.4, 101.6, 6.35),
    ("hss 6 x 4 x .25", 152.4, 101.6, 6.35),
    ("HSS 6×4×¼", 152.4, 101.6, 6.35),
    ('HSS 6"x4"x1/4"', 152.4, 101.6, 6.35),
    ("HSS 4x6x1/4", 152.4, 101.6, 6.35),
    ("6x4x1/4 HSS", 152.4, 101.6, 6.35),
    ("ASTM A500 HSS 6x4x1/4", 152.4, 101.6, 6.35),
    ("HSS 152.4x101.6x6.4", 152.4, 101.6, 6.35),
    ("6x4x1/4", 152.4, 101.6, 6.35),
    ("6 x 4 x 1/4 in", 152.4, 101.6, 6.35),
    ("HSS 4x4x1/4", 101.6, 101.6, 6.35),
    ("HSS 4 x 1/4 square", 101.6, 101.6, 6.35),
    ('4" sq. x 1/4"', 101.6, 101.6, 6.35),
    ("4 in square tube 1/4 wall", 101.6, 101.6, 6.35),
    ("RHS 150x100x6", 150.0, 100.0, 6.0),
    ("rhs150x100x6", 150.0, 100.0, 6.0),
    ("RHS 100 x 150 x 6 mm", 150.0, 100.0, 6.0),
    ("RHS 150×100×6", 150.0, 100.0, 6.0),
    ("RHS 150x100x6 cf", 150.0, 100.0, 6.0),
    ("150x100x6", 150.0, 100.0, 6.0),
    ("150 x 100 x 6 mm tube", 150.0, 100.0, 6.0),
    ("rectangular tube 150 x 100 x 6 mm", 150.0, 100.0, 6.0),
    ("SHS 100x5", 100.0, 100.0, 5.0),
    ("SHS 100x100x5", 100.0, 100.0, 5.0),
    ("100 square x 5 mm", 100.0, 100.0, 5.0),
    ("square hollow section 100x100x5", 100.0, 100.0, 5.0),
    ("rectangular hollow section 150x100x6", 150.0, 100.0, 6.0),
    ("hollow structural section 6x4x1/4", 152.4, 101.6, 6.35),
    ("SHS 200x8 hf", 200.0, 200.0, 8.0),
    ("SHS 200x8 hot finished", 200.0, 200.0, 8.0),
    ("EN 10210 SHS 200x8", 200.0, 200.0, 8.0),
    ("tube 10 x 5 x 0.4 cm", 100.0, 50.0, 4.0),
    ("tube 100 x 50 x 4 mm", 100.0, 50.0, 4.0),
]


@pytest.mark.parametrize(("text", "height", "width", "wall"), BOXES, ids=[row[0] for row in BOXES])
def test_box_as_written(
    catalogue: Catalogue, text: str, height: float, width: float, wall: float
) -> None:
    """Squares and rectangles are read whichever side comes first; height is the longer."""
    section = catalogue.section(text)
    assert section.shape == ("square" if height == width else "rectangular")
    found = (section.height, section.width, section.wall)
    assert found == pytest.approx((height, width, wall), abs=1e-9)


def test_finish_chooses_the_standard(catalogue: Catalogue) -> None:
    """Cf and hf, or the number of the standard, say which corner radii count."""
    for text in ("SHS 100x5 cf", "EN 10219 SHS 100x5", "SHS 100x5 cold formed", "CHS 168.3x8 cf"):
        assert catalogue.section(text).standard == "EN 10219-2"
    for text in ("SHS 100x5 hf", "SHS 100x5 EN 10210", "hot finished SHS 100x5", "CHS 168.3x8 hf"):
        assert catalogue.section(text).standard == "EN 10210-2"
    assert "CHS 60.3x2.6 hf" in refused(catalogue, "CHS 60.3x1.6 hf").remedy


def test_unsaid_finish_takes_the_more_demanding_and_says_so(catalogue: Catalogue) -> None:
    """Without a finish the heavier and wider sweeping section is taken, and noted."""
    plain = catalogue.section("SHS 100x5")
    cold = catalogue.section("SHS 100x5 cf")
    assert "hot finished" in plain.note
    assert plain.area > cold.area
    assert plain.swept_diameter > cold.swept_diameter
    round_one = catalogue.section("CHS 168.3x8")
    assert "hot finished" in round_one.note
    assert round_one.designation == "CHS 168.3x8 hf"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("NPS 6 SCH 40 seamless", "seamless"),
        ("ERW NPS 6 SCH 40", "erw"),
        ("NPS 6 SCH 40 welded pipe", "welded"),
        ("6 in sch 40 cold drawn seamless", "cold drawn seamless"),
        ("NPS 6 SCH 40 DOM", "dom"),
    ],
)
def test_how_it_was_made_changes_no_size_and_is_noted(
    catalogue: Catalogue, text: str, words: str
) -> None:
    """Seamless or welded, the table's sizes are the same; the note says what came of the word."""
    section = catalogue.section(text)
    assert section._replace(note="") == catalogue.section("NPS 6 SCH 40")
    assert section.note == f"'{words}' changes no size; tolerances are those of the grade"
    assert "DN 150" in catalogue.section("DN 150 SCH 40 seamless").note  # beside other notes


# --- traps of the trade -----------------------------------------------------------------------


def test_two_inch_pipe_is_not_two_inch_tube(catalogue: Catalogue) -> None:
    """Nominal 2 in pipe is 60.3 mm outside, 2 in tube is 50.8 mm."""
    assert catalogue.section("2 in sch 40 pipe").height == 60.3
    assert catalogue.section("2 in pipe x .154").height == 60.3
    assert catalogue.section("2 in tube x .154").height == 50.8


def test_two_inches_and_a_wall_ask_pipe_or_tube(catalogue: Catalogue) -> None:
    """Two inches with a wall and no kind may be either; the choices are the two of them."""
    question = asked(catalogue, "2 in x .154")
    assert question.code == "pipe-or-tube"
    assert {catalogue.section(choice).height for choice in question.choices} == {60.3, 50.8}


@pytest.mark.parametrize("text", ["12 inch half wall", "12 in, 1/2 in", "12 inch half inch wall"])
def test_twelve_inch_half_wall_asks_pipe_or_tube(catalogue: Catalogue, text: str) -> None:
    """Twelve inch with half inch wall is 323.8 mm pipe or 304.8 mm tube."""
    question = asked(catalogue, text)
    assert question.code == "pipe-or-tube"
    found = [catalogue.section(choice) for choice in question.choices]
    assert [section.height for section in found] == pytest.approx([323.8, 304.8])
    assert [section.wall for section in found] == pytest.approx([12.7, 12.7])


@pytest.mark.parametrize("inches", [14, 16, 18, 20, 24])
def test_from_nps_14_nominal_is_outside_and_nothing_is_asked(
    catalogue: Catalogue, inches: int
) -> None:
    """From 14 in on pipe and tube are the same outside diameter."""
    for text in (f"{inches} inch half wall", f"{inches} in x .500 in"):
        section = catalogue.section(text)
        assert section.height == pytest.approx(inches * 25.4, abs=0.5)
        assert section.wall == 12.7


def test_three_and_a_half_inches_ask(catalogue: Catalogue) -> None:
    """3-1/2 in is a tube of 88.9 mm and NPS 3-1/2, which is 101.6 mm."""
    question = asked(catalogue, "3-1/2 in x 0.226 in")
    assert question.code == "pipe-or-tube"
    assert {catalogue.section(choice).height for choice in question.choices} == {101.6, 88.9}
    assert catalogue.section("3-1/2 in pipe sch 40").height == 101.6


def test_extra_strong_is_not_schedule_80_from_nps_10(catalogue: Catalogue) -> None:
    """XS is Sch 80 up to NPS 8; at NPS 10 it is Sch 60, and thinner than Sch 80."""
    names = ("NPS 8 XS", "NPS 8 SCH 80", "NPS 10 XS", "NPS 10 SCH 60", "NPS 10 SCH 80")
    wall = {name: catalogue.section(name).wall for name in names}
    assert wall["NPS 8 XS"] == wall["NPS 8 SCH 80"] == 12.7
    assert wall["NPS 10 XS"] == wall["NPS 10 SCH 60"] == 12.7
    assert wall["NPS 10 SCH 80"] == 15.09


def test_standard_is_not_schedule_40_from_nps_12(catalogue: Catalogue) -> None:
    """STD is Sch 40 up to NPS 10; at NPS 12 it is 9.53 mm against 10.31 mm."""
    assert catalogue.section("NPS 10 STD").wall == catalogue.section("NPS 10 SCH 40").wall == 9.27
    assert catalogue.section("NPS 12 STD").wall == 9.53
    assert catalogue.section("NPS 12 SCH 40").wall == 10.31


def test_double_extra_strong_against_schedule_160(catalogue: Catalogue) -> None:
    """XXS is thicker than Sch 160 up to NPS 6 and thinner at NPS 8."""
    for nps in ("2", "3", "4", "6"):
        assert (
            catalogue.section(f"NPS {nps} XXS").wall > catalogue.section(f"NPS {nps} SCH 160").wall
        )
    assert catalogue.section("NPS 8 XXS").wall == 22.23
    assert catalogue.section("NPS 8 SCH 160").wall == 23.01


def test_stainless_schedules_are_their_own(catalogue: Catalogue) -> None:
    """40S at NPS 12 is 9.53, 80S at NPS 10 is 12.7, and 10S leaves Sch 10 from NPS 14."""
    assert catalogue.section("NPS 12 40S").wall == 9.53
    assert catalogue.section("NPS 12 SCH 80S").wall == 12.7
    assert catalogue.section("NPS 10 SCH 80S").wall == 12.7
    assert catalogue.section("NPS 14 SCH 10").wall == 6.35
    assert catalogue.section("NPS 14 SCH 10S").wall == 4.78
    assert catalogue.section("NPS 6 SCH 40S").standard == "ASME B36.19M"


def test_dn_is_no_millimetres(catalogue: Catalogue) -> None:
    """DN 50 is NPS 2, 60.3 mm outside; the note says so."""
    section = catalogue.section("DN 50 SCH 40")
    assert section.designation == "NPS 2 SCH 40"
    assert "60.3 mm outside" in section.note


@pytest.mark.parametrize(
    ("text", "outsides"), [("DN 65 x 5", {73.0, 76.1}), ("DN 125 x 5", {141.3, 139.7})]
)
def test_dn_with_two_outsides_asks(catalogue: Catalogue, text: str, outsides: set[float]) -> None:
    """DN 65 and DN 125 are different pipe in ASME and EN: with a plain wall it is asked."""
    question = asked(catalogue, text)
    assert question.code == "which-dn"
    assert {catalogue.section(choice).height for choice in question.choices} == outsides


def test_dn_with_an_asme_schedule_is_the_asme_pipe(catalogue: Catalogue) -> None:
    """A schedule is ASME, so DN 65 and DN 125 are then the ASME diameters."""
    assert catalogue.section("DN 65 SCH 40").height == 73.0
    assert catalogue.section("DN 125 SCH 40").height == 141.3


@pytest.mark.parametrize(
    "text", ["2 in x 11 ga tube", "2 in 11 gauge tube", "11 ga 2 in tube", '2" OD x 11ga']
)
def test_gauge_without_its_table_asks_which(catalogue: Catalogue, text: str) -> None:
    """11 gauge is .120 in Birmingham, .1196 in sheet steel, .125 in stainless sheet."""
    question = asked(catalogue, text)
    assert question.code == "which-gauge"
    walls = [catalogue.section(choice).wall / 25.4 for choice in question.choices]
    assert walls[:3] == pytest.approx([0.120, 0.1196, 0.125])


@pytest.mark.parametrize(
    ("text", "outside"),
    [("50 mm x 11 ga", 50.0), ("73,03 mm x 11 ga tube", 73.03), ("2-1/2 in x 11 ga", 63.5)],
)
def test_the_gauge_question_keeps_the_outside_as_typed(
    catalogue: Catalogue, text: str, outside: float
) -> None:
    """Millimetres stay millimetres: no digit is lost on the way through inches."""
    for choice in asked(catalogue, text).choices:
        assert catalogue.section(choice).height == outside


@pytest.mark.parametrize("text", ["2 in x 3 mm", "3.5 x 3 mm pipe", "4 in x 0.1 in"])
def test_the_pipe_or_tube_questions_keep_the_wall_as_typed(catalogue: Catalogue, text: str) -> None:
    """A wall in millimetres beside inches is no 0.11811 in."""
    wall = 3 if "mm" in text else 2.54
    for choice in asked(catalogue, text).choices:
        assert catalogue.section(choice).wall == pytest.approx(wall, abs=1e-12)


def test_the_nominal_or_outside_question_keeps_the_wall(catalogue: Catalogue) -> None:
    """A wall that was typed is in every choice, and no schedule is put in its place."""
    question = asked(catalogue, "3.5 in pipe x 0.226")
    assert question.code == "nominal-or-outside"
    walls = [catalogue.section(choice).wall for choice in question.choices]
    assert walls == pytest.approx([0.226 * 25.4] * 2, abs=0.01)
    assert catalogue.section("3.5 in sch 160").designation == "NPS 3 SCH 160"  # 3-1/2 has none


@pytest.mark.parametrize("text", ["NPS 6", "6 in pipe", "DN 150", "NPS 6 pipe", "168.3 mm pipe"])
def test_pipe_without_wall_asks_which(catalogue: Catalogue, text: str) -> None:
    """A pipe without schedule is offered with every wall that its size is made in."""
    question = asked(catalogue, text)
    assert question.code == "which-wall"
    assert "NPS 6 SCH 40" in question.choices
    walls = [catalogue.section(choice).wall for choice in question.choices]
    assert len(set(walls)) == len(walls)


def test_bare_sizes_that_inches_and_millimetres_both_allow_ask(catalogue: Catalogue) -> None:
    """12 x 1 is a tube in inches and one in millimetres."""
    question = asked(catalogue, "12 x 1")
    assert question.code == "size-unit"
    assert {catalogue.section(choice).height for choice in question.choices} == {304.8, 12.0}


def test_bare_square_that_both_units_allow_asks_for_a_square(catalogue: Catalogue) -> None:
    """The question about the unit of 12 x 12 x 1/2 keeps both sides."""
    question = asked(catalogue, "12 x 12 x 1/2")
    assert question.code == "size-unit"
    found = [catalogue.section(choice) for choice in question.choices]
    assert [section.shape for section in found] == ["square", "square"]
    assert {section.height for section in found} == {304.8, 12.0}


def test_schedule_and_wall_that_disagree_ask(catalogue: Catalogue) -> None:
    """A schedule with another schedule's wall is not settled by the tool."""
    question = asked(catalogue, "NPS 6 SCH 40 x 10.97 mm")
    assert question.code == "schedule-or-wall"
    assert {catalogue.section(choice).wall for choice in question.choices} == {7.11, 10.97}
    assert catalogue.section("NPS 6 SCH 40 x 7.11 mm").designation == "NPS 6 SCH 40"


def test_what_was_taken_for_granted_is_said(catalogue: Catalogue) -> None:
    """A size that was recognised as pipe carries a note, a plain reading carries none."""
    assert "NPS 6 SCH 40" in catalogue.section("168.3x7.11").note
    assert "NPS 4" in catalogue.section("4.5 in sch 40").note
    assert catalogue.section("NPS 6 SCH 40").note == ""
    assert catalogue.section("tube 168.3 x 7.11 mm").note == ""


# --- choices ----------------------------------------------------------------------------------

QUESTIONS = [
    "2 in", "2 in pipe", "2 in tube", "2 in x .154", '2" x .065', "2 x .25", "3-1/2 in",
    "3.5 x 0.216 in", "12 inch half wall", "NPS 6", "NPS 12", "DN 65", "DN 65 x 5", "DN 125 x 3,5",
    "2 in x 11 ga", "50 mm x 16 ga tube", "12 x 1", "16 x 1/2", "12x12x1/2", "12 x 8 x .5",
    "NPS 6 SCH 40 x 10.97 mm", "50 mm tube", "60.3 mm",
    "3.5 in sch 40", "NPS 4 SCH 10S x 5", "3.5 in pipe", "3.5 in pipe x 0.226",
    "50 mm x 11 ga", "2-1/2 in x 11 ga tube", "2,5 in x 11 ga", "1,500 in x 11 ga tube",
]  # fmt: skip


@pytest.mark.parametrize("text", QUESTIONS)
def test_choices_of_a_question_can_be_typed(catalogue: Catalogue, text: str) -> None:
    """Whatever is offered as an answer is read as a section, with no further question."""
    question = asked(catalogue, text)
    assert len(question.choices) >= 2
    assert len(set(question.choices)) == len(question.choices)
    for choice in question.choices:
        assert catalogue.section(choice).area > 0


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        ("1,200 x 10 mm", (1200, 10)),
        ("1,200 x 10", (1200, 10)),
        ("tube 20 x 1,000 mm", (20, 1)),
        ("1,016 x 20 mm", (1016, 20)),
    ],
)
def test_a_comma_with_one_possible_reading_is_read_so_and_said(
    catalogue: Catalogue, text: str, sizes: tuple[float, float]
) -> None:
    """1.2 mm outside with a wall of 10 mm is no tube, so 1200 mm is meant; the note says so."""
    section = catalogue.section(text)
    assert (section.height, section.wall) == sizes
    assert f"'{text}' can only be {section.designation}" in section.note


def test_commas_are_all_read_alike(catalogue: Catalogue) -> None:
    """Nobody writes a thousands mark and a decimal comma that look the same into one size."""
    assert refused(catalogue, "1,234 x 5,678 mm").code == "designation-unreadable"


def test_choices_differ_in_what_they_are(catalogue: Catalogue) -> None:
    """No question offers the same section twice under two names."""
    for text in QUESTIONS:
        sections = [catalogue.section(choice) for choice in asked(catalogue, text).choices]
        sizes = {(section.height, section.width, section.wall) for section in sections}
        assert len(sizes) == len(sections), text


# --- errors -----------------------------------------------------------------------------------

NEAR: list[tuple[str, str, str]] = [
    ("NPS 6 SCH 45", "section-unknown", "NPS 6 SCH 40"),
    ("NPS 7 SCH 40", "section-unknown", "NPS 6 SCH 40, NPS 8 SCH 40"),
    ("NPS 24 XXS", "section-unknown", "NPS 24"),
    ("DN 155 SCH 40", "section-unknown", "DN 150 SCH 40"),
    ("NPS 6 x 0.300", "section-unknown", "NPS 6 SCH 40 (0.28 in)"),
    ("6 in pipe x 7.5 mm", "section-unknown", "NPS 6 SCH 40"),
    ("HSS 6x4x0.26", "section-unknown", "HSS 6x4x1/4"),
    ("HSS 6x4x9", "section-unknown", "HSS 6x4"),
    ("RHS 150x101x6", "section-unknown", "RHS 150x100x6"),
    ("SHS 101x5", "section-unknown", "SHS 100x5"),
    ("CHS 168.4x8", "section-unknown", "CHS 168.3x8"),
    ("150 x 101 x 6 mm", "section-unknown", "RHS 150x100x6"),
    ("2 in 99 ga tube", "section-unknown", "ga"),
    ("NSP 6 SCH 40", "designation-unreadable", "'nps 6 sch 40'"),
    ("NPS 6 SHC 40", "designation-unreadable", "'nps 6 sch 40'"),
    ("pype 6 sch 40", "designation-unreadable", "'pipe 6 sch 40'"),
    ("2 in tueb x .065", "designation-unreadable", "'2 in tube x .065'"),
    ("NPS 6 shedule 40", "designation-unreadable", "'nps 6 schedule 40'"),
    ("NPS 6 SCH 4O", "designation-unreadable", "'NPS 6 SCH 40'"),
    ("NPS 6 SCH 5O", "designation-unreadable", "NPS 6 SCH 40, NPS 6 SCH 80"),
    ("5O x 3 mm", "designation-unreadable", "'50 x 3 mm'"),
    ("NPS 6 SCH 40 galvanised", "designation-unreadable", "--coating galvanised"),
    ("galvanized NPS 6 SCH 40", "designation-unreadable", "--coating galvanised"),
    ("painted 50 x 3 mm", "designation-unreadable", "--coating painted"),
    ("NPS 6 SCH 40 A106 B", "designation-unreadable", "--grade 'A106 B'"),
    ("S355 CHS 168.3x8", "designation-unreadable", "--grade"),
    ("NPS 6 SCH 40 carbon steel", "designation-unreadable", "--grade"),
    ("NPS 6 SCH 40 304", "designation-unreadable", "--grade"),
]


@pytest.mark.parametrize(("text", "code", "named"), NEAR, ids=[row[0] for row in NEAR])
def test_near_miss_names_the_nearest(
    catalogue: Catalogue, text: str, code: str, named: str
) -> None:
    """What nearly is a section is answered with the section it nearly is."""
    fault = refused(catalogue, text)
    assert fault.code == code
    assert named in fault.remedy


@pytest.mark.parametrize(
    "text",
    [
        "angle 4x4x1/4", "4x4x1/4 angle", "L 100x100x10", "L4x4x1/4", "W8x31", "W 8 x 31",
        "I beam", "H-beam 200", "IPE 200", "HEB 200", "UPN 100", "C6x8.2", "channel 100x50",
        "bar 50 mm", "1 in round bar", "flat 100x10", "plate 10 mm", "solid round 50 mm",
    ],
)  # fmt: skip
def test_what_is_no_tube_is_told_so_and_likened_to_none(catalogue: Catalogue, text: str) -> None:
    """An angle or a beam is no misspelt pipe: what is cut is said, and nothing is suggested."""
    fault = refused(catalogue, text)
    assert fault.code == "section-not-hollow"
    assert fault.remedy == "Only pipe and tube are cut: round, square and rectangular."


@pytest.mark.parametrize(("text", "word"), [("6 box 3", "box"), ("box 100x100x5", "box")])
def test_the_x_of_a_word_is_no_times(catalogue: Catalogue, text: str, word: str) -> None:
    """Words are named whole."""
    assert f"'{word}' in " in refused(catalogue, text).what


@pytest.mark.parametrize(
    "text",
    [
        *(row[0] for row in NEAR if row[1] == "section-unknown" and "ga " not in row[0]),
        "SHS 100x60",
        "RHS 100x50x30",
        "6'11\" x 1/4",
    ],
)
def test_what_an_error_offers_can_be_typed(catalogue: Catalogue, text: str) -> None:
    """The nearest known sections named in a message are themselves read."""
    remedy = refused(catalogue, text).remedy
    if not remedy.startswith("Nearest known: "):
        return
    for name in remedy.removeprefix("Nearest known: ").removesuffix(".").split(", "):
        assert catalogue.section(re.sub(r" \(.*\)", "", name)).area > 0


@pytest.mark.parametrize(
    "text",
    [
        "tube 50 x 25 mm",
        "tube 50 x 30 mm",
        "tube 3 x 50 mm",
        "tube 2 x 1 in",
        "2 in x 2 in",
        "2 in x 1 in tube",
        "50 x 50",
        "3 x 50",
        "tube 100 x 50 x 25 mm",
        "tube 100 x 50 x 30 mm",
        "168.3 x 168.3 mm",
        "tube 0 x 0 mm",
        "tube 50 x 0 mm",
        "tube 0 x 3 mm",
        "tube 4000 x 10 mm",
        "1500 in x 11 ga tube",
        "0.1 in x 11 ga tube",
    ],
)
def test_wall_that_does_not_fit_is_impossible(catalogue: Catalogue, text: str) -> None:
    """A wall of half the outside or more, a zero, or an absurd size is no section."""
    assert refused(catalogue, text).code == "section-impossible"


@pytest.mark.parametrize("text", ["tube 50 x 24.9 mm", "tube 1 x 0.499 in"])
def test_wall_just_below_half_is_possible(catalogue: Catalogue, text: str) -> None:
    """Up to half the outside a tube is thick, not impossible."""
    section = catalogue.section(text)
    assert 0 < section.height - 2 * section.wall < 1


@pytest.mark.parametrize(
    "text", ["-50 x 3 mm", "-2 x 0.065 in tube", "SHS 100x-5", "tube 50 x -3 mm"]
)
def test_negative_sizes_are_refused(catalogue: Catalogue, text: str) -> None:
    """A minus before a size is a mistake, never skipped."""
    assert refused(catalogue, text).code in ("designation-unreadable", "section-impossible")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "text-empty"),
        ("  \u00a0 ", "text-empty"),
        ("x", "designation-unreadable"),
        ("pipe", "designation-unreadable"),
        ("SCH 40", "designation-unreadable"),
        ("stainless", "designation-unreadable"),
        ("drainpipe", "designation-unreadable"),
        ("nan x 1", "designation-unreadable"),
        ("inf x 3 mm", "designation-unreadable"),
        ("NPS 6 SCH 40 XS", "designation-unreadable"),
        ("NPS 6 SCH 40 SCH 80", "designation-unreadable"),
        ("square NPS 6 SCH 40", "designation-unreadable"),
        ("NPS 6 x 4 x 1/4 x 2", "designation-unreadable"),
        ("50 kg x 3 mm", "unit-mismatch"),
        ("tube 1/0 x 3 mm", "number-unreadable"),
        ("tube 1.2.3 x 3 mm", "number-unreadable"),
        ("9" * 201, "text-too-long"),
        ("NPS 6 SCH 40 " * 800, "text-too-long"),
    ],
    ids=lambda value: repr(value[:24]),
)
def test_unreadable_designation_is_refused_by_code(
    catalogue: Catalogue, text: str, code: str
) -> None:
    """What is no designation is refused with the code that says why."""
    assert refused(catalogue, text).code == code


# --- reading back what is printed -------------------------------------------------------------


def test_printed_designations_read_back(catalogue: Catalogue) -> None:
    """What the tables print can be typed, and is the very same section, corners and all."""
    every = list(catalogue.tables.every_section())
    assert len(every) > 350
    for section in every[::4]:
        again = catalogue.section(section.designation)
        assert again.designation == section.designation
        assert again.shape == section.shape
        same = (section.height, section.width, section.wall, section.outer_radius)
        found = (again.height, again.width, again.wall, again.outer_radius)
        assert found == pytest.approx(same, abs=1e-9), section.designation


@pytest.mark.parametrize("text", [row[0] for row in (*ROUNDS, *BOXES)])
def test_designation_of_any_reading_reads_back(catalogue: Catalogue, text: str) -> None:
    """The designation shown in an answer can be typed for the next question."""
    section = catalogue.section(text)
    again = catalogue.section(section.designation)
    assert again.designation == section.designation
    same = (section.height, section.width, section.wall)
    assert (again.height, again.width, again.wall) == pytest.approx(same, rel=1e-5)


# --- fuzz -------------------------------------------------------------------------------------

KNOWN = [row[0] for row in (*ROUNDS, *BOXES)] + QUESTIONS
PIECES = st.sampled_from(
    [*"0123456789", "6", "12", "168.3", "7.11", "x", "X", " ", " x ", ".", ",", "/", "-", "'", '"',
     "½", "×", "(", ")", "#", "sch", "std", "xs", "40", "80s", "nps", "dn", "hss", "shs", "rhs",
     "chs", "pipe", "tube", "od", "in", "mm", "m", "ft", "ga", "11 ga", "bwg", "sq", "rect", "cf",
     "half", "e9", "nan", "\u00a0", "\x00", "s40", "round", "stainless", "kg"]
)  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """Draw a valid designation with a few characters dropped, doubled, swapped or put in."""
    text = draw(st.sampled_from(KNOWN))
    for _ in range(draw(st.integers(1, 4))):
        place = draw(st.integers(0, len(text)))
        kind = draw(st.integers(0, 3))
        if kind == 0:
            text = text[:place] + text[place + 1 :]
        elif kind == 1:
            text = text[:place] + draw(PIECES) + text[place:]
        elif kind == 2:
            text = text[:place] + text[place : place + 1] * 2 + text[place + 1 :]
        else:
            text = text[:place] + text[place : place + 2][::-1] + text[place + 2 :]
    return text


def outcome(catalogue: Catalogue, text: str) -> Section | InputError | Question:
    """Read ``text``; anything but a section, an error or a question goes through."""
    try:
        return catalogue.section(text)
    except InputError as fault:
        return fault
    except OpenQuestion as found:
        return found.question


def is_fair(found: Section | InputError | Question) -> bool:
    """Say whether an outcome is a possible section, a registered error or a real question."""
    if isinstance(found, InputError):
        return found.code in ERROR_CODES and str(found).endswith(f"[{found.code}]")
    if isinstance(found, Question):
        return bool(found.text and found.choices)
    return 0 < 2 * found.wall < found.width <= found.height <= 3000


@FUZZ
@given(text=st.text(max_size=220))
def test_any_text_gives_a_section_an_error_or_a_question(catalogue: Catalogue, text: str) -> None:
    """No text at all makes the reader fail in any other way."""
    assert is_fair(outcome(catalogue, text))


@FUZZ
@given(text=st.lists(PIECES, max_size=14).map("".join))
def test_designation_like_text_gives_a_section_an_error_or_a_question(
    catalogue: Catalogue, text: str
) -> None:
    """Nor does text made of what designations are made of."""
    assert is_fair(outcome(catalogue, text))


@FUZZ
@given(text=mutated())
def test_misspelt_designations_give_a_section_an_error_or_a_question(
    catalogue: Catalogue, text: str
) -> None:
    """Nor do valid designations with typing errors in them."""
    assert is_fair(outcome(catalogue, text))


@FUZZ
@given(text=mutated() | st.lists(PIECES, max_size=8).map("".join))
def test_any_question_is_settled_by_its_choices(catalogue: Catalogue, text: str) -> None:
    """Whatever brought a question up, each of its choices is read as a section."""
    found = outcome(catalogue, text)
    if isinstance(found, Question):
        for choice in found.choices:
            assert isinstance(outcome(catalogue, choice), Section), choice


@FUZZ
@given(st.integers(60, 20_000), st.floats(0.02, 0.49), st.sampled_from(["mm", "in"]))
def test_any_tube_reads_back_to_its_sizes(
    catalogue: Catalogue, tenths: int, share: float, unit: str
) -> None:
    """A tube by outside and wall comes out with exactly these sizes, in either unit."""
    outside = tenths / 10 if unit == "mm" else tenths / 250
    wall = max(round(outside * share, 3), 0.001)
    scale = 1.0 if unit == "mm" else 25.4
    section = catalogue.section(f"tube {outside} x {wall} {unit}")
    assert section.height == pytest.approx(outside * scale, rel=1e-15)
    assert section.wall == pytest.approx(wall * scale, rel=1e-15)
    assert catalogue.section(section.designation).wall == pytest.approx(section.wall, rel=1e-5)
