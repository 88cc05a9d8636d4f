"""Grades by every name they go by, and the mill tolerances of their product standards."""

import math

import pytest
from cuttable.catalogue.errors import ERROR_CODES, InputError, OpenQuestion
from cuttable.catalogue.grades.grades import (
    DEFAULT_GRADE,
    FAMILIES,
    default_grade,
    is_full_name,
)
from cuttable.catalogue.grades.tolerances import MillRange, mill_range
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.sections import (
    A500,
    COLD_FORMED,
    HOT_FINISHED,
    Section,
    hollow_section,
    round_section,
)
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=300, deadline=None, derandomize=True, database=None)


def ring(outside: float, wall: float) -> Section:
    """Return a round of any size."""
    return round_section("ring", outside, wall, "test")


def square(side: float, wall: float) -> Section:
    """Return a cold formed square of any size."""
    return hollow_section("square", side, side, wall, "test", corners=COLD_FORMED)


def mill(catalogue: Catalogue, section: Section, product: str) -> MillRange:
    """Return the mill range of a section made to a product standard."""
    return mill_range(section, catalogue.products[product])


# --- names ------------------------------------------------------------------------------------

NAMES: list[tuple[str, str]] = [
    ("A53 B", "ASTM A53 B"),
    ("a53b", "ASTM A53 B"),
    ("A53-B", "ASTM A53 B"),
    ("A53 Gr B", "ASTM A53 B"),
    ("A53 Gr. B", "ASTM A53 B"),
    ("A53 GR.B", "ASTM A53 B"),
    ("ASTM A53 Grade B", "ASTM A53 B"),
    ("astm a53 grade a", "ASTM A53 A"),
    ("ASTM A53/A53M B", "ASTM A53 B"),
    ("A53M B", "ASTM A53 B"),
    ("carbon steel A53 B", "ASTM A53 B"),
    ("SA106 B", "ASTM A106 B"),
    ("SA-106 B", "ASTM A106 B"),
    ("ASME SA-106 Gr B", "ASTM A106 B"),
    ("A106 Gr B", "ASTM A106 B"),
    ("A106 Gr.C", "ASTM A106 C"),
    ("A500 B", "ASTM A500 B"),
    ("A1085", "ASTM A1085"),
    ("304", "ASTM A312 TP304"),
    ("SS304", "ASTM A312 TP304"),
    ("SS 316L", "ASTM A312 TP316L"),
    ("AISI 304", "ASTM A312 TP304"),
    ("316 stainless", "ASTM A312 TP316"),
    ("stainless steel 304L", "ASTM A312 TP304L"),
    ("ASTM A312/A312M TP304", "ASTM A312 TP304"),
    ("EN 1.4301", "EN 10296 1.4301"),
    ("EN 10296-2 1.4301", "EN 10296 1.4301"),
    ("TP 304", "ASTM A312 TP304"),
    ("A312 TP304", "ASTM A312 TP304"),
    ("304L", "ASTM A312 TP304L"),
    ("316 l", "ASTM A312 TP316L"),
    ("1.4404", "ASTM A312 TP316L"),
    ("2205", "ASTM A790 S31803"),
    ("Duplex", "ASTM A790 S31803"),
    ("EN 10219 S355J2H", "EN 10219 S355J2H"),
    ("EN 10219-2 S355J2H", "EN 10219 S355J2H"),
    ("EN10210 S355J2H", "EN 10210 S355J2H"),
    ("EN 10216 P235TR1", "EN 10216 P235TR1"),
    ("E235", "EN 10305 E235"),
    ("EN 10216", "EN 10216 P235TR1"),
    ("A790", "ASTM A790 S31803"),
    ("aluminium 6061", "6061-T6"),
    ("6061", "6061-T6"),
    ("6061 T6", "6061-T6"),
    ("EN AW-6082-T6", "EN AW-6082-T6"),
    ("6082-T6", "EN AW-6082-T6"),
]


@pytest.mark.parametrize(("text", "name"), NAMES)
def test_grade_as_written(catalogue: Catalogue, text: str, name: str) -> None:
    """Standard, letter, material number or common name lead to the grade, in any spelling."""
    assert catalogue.grade(text).name == name


def test_every_name_and_alias_leads_to_its_grade(catalogue: Catalogue) -> None:
    """A full name is never ambiguous; an alias is at most a question with its grade in it."""
    for name, grade in catalogue.grades.items():
        assert catalogue.grade(name) == grade
        assert catalogue.grade(f"  {name.lower()} ") == grade
        for alias in grade.aliases:
            try:
                assert catalogue.grade(alias) == grade
            except OpenQuestion as asked:
                assert name in asked.question.choices


@pytest.mark.parametrize(
    ("text", "choices"),
    [
        ("S355", ("EN 10219 S355J2H", "EN 10210 S355J2H")),
        ("S355 J2H", ("EN 10219 S355J2H", "EN 10210 S355J2H")),
        ("s235jrh", ("EN 10219 S235JRH", "EN 10210 S235JRH")),
        ("P235TR1", ("EN 10216 P235TR1", "EN 10217 P235TR1")),
        ("1.4301", ("ASTM A312 TP304", "EN 10296 1.4301")),
        ("A53", ("ASTM A53 B", "ASTM A53 A")),
        ("SA-106", ("ASTM A106 B", "ASTM A106 C")),
        ("A500", ("ASTM A500 B", "ASTM A500 C")),
        ("EN 10219-2", ("EN 10219 S235JRH", "EN 10219 S355J2H")),
        ("aluminum", ("6061-T6", "6063-T6", "EN AW-6082-T6")),
    ],
)
def test_what_names_several_grades_asks(
    catalogue: Catalogue, text: str, choices: tuple[str, ...]
) -> None:
    """A grade of two standards, a standard or a material of several grades: which is asked."""
    with pytest.raises(OpenQuestion) as found:
        catalogue.grade(text)
    assert found.value.question.code == "which-grade"
    assert found.value.question.choices == choices
    assert [catalogue.grade(choice).name for choice in choices] == list(choices)


@pytest.mark.parametrize(
    ("text", "family"),
    [
        ("stainless", "stainless-steel"),
        ("stainless steel", "stainless-steel"),
        ("SS", "stainless-steel"),
        ("carbon steel", "carbon-steel"),
        ("mild steel", "carbon-steel"),
        ("aluminium", "aluminium"),
    ],
)
def test_a_word_for_the_material_asks_for_every_grade_of_it(
    catalogue: Catalogue, text: str, family: str
) -> None:
    """No grade is picked because it is the usual one of its material."""
    with pytest.raises(OpenQuestion) as found:
        catalogue.grade(text)
    families = {name: grade.family for name, grade in catalogue.grades.items()}
    assert list(found.value.question.choices) == [n for n in families if families[n] == family]


@pytest.mark.parametrize("text", ["titanium", "inconel 625", "copper", "alu", "X"])
def test_another_material_is_not_likened_to_a_known_one(catalogue: Catalogue, text: str) -> None:
    """Titanium is no misspelt aluminium: the families that are known are named instead."""
    with pytest.raises(InputError) as found:
        catalogue.grade(text)
    assert found.value.code == "grade-unknown"
    assert "carbon steel, stainless steel, aluminium" in found.value.remedy
    assert "Nearest" not in found.value.remedy


@pytest.mark.parametrize(
    ("text", "name", "is_full"),
    [
        ("ASTM A106 B", "ASTM A106 B", True),
        ("a106 gr. b", "ASTM A106 B", True),
        ("SA-106 B", "ASTM A106 B", True),
        ("304", "ASTM A312 TP304", False),
        ("6061", "6061-T6", False),
        ("EN 10216", "EN 10216 P235TR1", False),
    ],
)
def test_a_name_in_full_is_told_from_one_that_was_completed(
    catalogue: Catalogue, text: str, name: str, *, is_full: bool
) -> None:
    """Spelling does not matter; what the tool added to a name does."""
    assert catalogue.grade(text).name == name
    assert is_full_name(text, catalogue.grades[name]) is is_full


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("NPS 6 SCH 40", "ASTM A53 B"),
        ("HSS 6x4x1/4", "ASTM A500 B"),
        ("HSS 6.625x0.280", "ASTM A500 B"),
        ("6x4x1/4", "ASTM A500 B"),
        ("SHS 100x5 cf", "EN 10219 S235JRH"),
        ("RHS 150x100x6", "EN 10219 S235JRH"),
        ("CHS 168.3x8 cf", "EN 10219 S235JRH"),
        ("SHS 100x5", "EN 10210 S235JRH"),
        ("CHS 168.3x8", "EN 10210 S235JRH"),
        ("CHS 60.3x1.6", "ASTM A53 B"),
        ("tube 168.3 x 8 mm", "ASTM A53 B"),
        ("tube 100 x 50 x 4 mm", "ASTM A53 B"),
    ],
)
def test_the_grade_of_a_section_when_none_is_stated(
    catalogue: Catalogue, text: str, name: str
) -> None:
    """The weakest carbon steel of the section's own standard; A53 B where it has none."""
    assert default_grade(catalogue.section(text), catalogue.grades).name == name


def test_the_usual_grade_never_flatters_a_hollow_section(catalogue: Catalogue) -> None:
    """No carbon steel of the section's own standard is heavier or weaker than the one taken."""
    for text in ("HSS 6x4x1/4", "HSS 6.625x0.280", "SHS 100x5 cf", "SHS 100x5 hf", "CHS 168.3x8"):
        section = catalogue.section(text)
        taken = default_grade(section, catalogue.grades)
        for grade in catalogue.grades.values():
            if grade.product.name == section.standard and grade.family == "carbon-steel":
                assert taken.yield_strength <= grade.yield_strength
                heavy = mill_range(section, grade.product).mass_ratio
                assert heavy <= mill_range(section, taken.product).mass_ratio


@pytest.mark.parametrize(
    ("text", "near"),
    [("A35", "A53"), ("A53 X", "A53"), ("304LN", "304L"), ("1.4O01", "1.4301"), ("steel", "mild")],
)
def test_unknown_grade_names_the_nearest(catalogue: Catalogue, text: str, near: str) -> None:
    """A grade that is not there is answered with those that are close."""
    with pytest.raises(InputError) as found:
        catalogue.grade(text)
    assert found.value.code == "grade-unknown"
    assert near in found.value.remedy


@pytest.mark.parametrize("text", ["", "   ", "\t\n"])
def test_empty_grade_is_refused(catalogue: Catalogue, text: str) -> None:
    """An empty grade is not the default one."""
    with pytest.raises(InputError) as found:
        catalogue.grade(text)
    assert found.value.code == "text-empty"


@FUZZ
@given(
    text=st.text(max_size=60)
    | st.lists(
        st.sampled_from(
            [*"0123456789", "A", "53", "B", " ", ".", "Gr", "ASTM", "EN", "S355", "/", "TP", "é"]
        ),
        max_size=9,
    ).map("".join)
)
def test_any_text_gives_a_grade_an_error_or_a_question(catalogue: Catalogue, text: str) -> None:
    """No text makes the search fail in any other way."""
    try:
        name = catalogue.grade(text).name
    except InputError as fault:
        code, choices = fault.code, ()
    except OpenQuestion as asked:
        code, choices = "grade-unknown", asked.question.choices
    else:
        code, choices = "grade-unknown", (name,)
    assert code in ERROR_CODES
    assert set(choices) <= set(catalogue.grades)


def test_grades_are_plausible(catalogue: Catalogue) -> None:
    """Density, stiffness and yield of every grade fit its family; source and status are there."""
    bounds = {
        "carbon-steel": ((7800, 7900), (195e3, 215e3), (180, 500)),
        "stainless-steel": ((7700, 8100), (190e3, 210e3), (160, 600)),
        "aluminium": ((2650, 2850), (65e3, 75e3), (100, 350)),
    }
    assert DEFAULT_GRADE in catalogue.grades
    assert {grade.family for grade in catalogue.grades.values()} == set(FAMILIES)
    for grade in catalogue.grades.values():
        values = (grade.density, grade.elasticity, grade.yield_strength)
        for value, (low, high) in zip(values, bounds[grade.family], strict=True):
            assert low <= value <= high, grade.name
        assert grade.source
        assert grade.status


# --- A53, number by number --------------------------------------------------------------------


def test_a53_of_nps_6_schedule_40(catalogue: Catalogue) -> None:
    """A53: outside 1 %, wall -12.5 %, mass 10 %; the thick wall is that of the mass."""
    section = catalogue.section("NPS 6 SCH 40")
    found = mill(catalogue, section, "ASTM A53")
    assert found.size_ratio == pytest.approx(1.01)
    assert found.least_size_ratio == pytest.approx(0.99)
    assert found.mass_ratio == pytest.approx(1.10)
    assert found.gyration_ratio == pytest.approx(1.01**2)
    assert found.thin_wall == pytest.approx(7.11 * 0.875)
    thick = found.thick_wall
    assert thick * (168.3 - thick) == pytest.approx(1.10 * 7.11 * (168.3 - 7.11))
    assert math.isnan(found.straightness)


def test_a53_of_small_pipe_has_a_length_for_the_outside(catalogue: Catalogue) -> None:
    """Up to NPS 1-1/2 the outside is within 0.4 mm, whatever its size."""
    for name in ("NPS 1/2 SCH 40", "NPS 1-1/2 SCH 40"):
        section = catalogue.section(name)
        found = mill(catalogue, section, "ASTM A53")
        assert (found.size_ratio - 1) * section.height == pytest.approx(0.4)
        assert (1 - found.least_size_ratio) * section.height == pytest.approx(0.4)


# --- both sides of the band edges -------------------------------------------------------------

SIZES: list[tuple[str, Section, float, float]] = [
    # product, section, plus and minus on the outside in mm
    ("ASTM A53", ring(48.3, 3), 0.4, 0.4),
    ("ASTM A53", ring(48.31, 3), 0.4831, 0.4831),
    ("ASTM A106", ring(48.3, 3), 0.4, 0.4),
    ("ASTM A106", ring(60.3, 3), 0.79, 0.79),
    ("ASTM A106", ring(114.3, 6), 0.79, 0.79),
    ("ASTM A106", ring(114.4, 6), 1.59, 0.79),
    ("ASTM A106", ring(219.1, 8), 1.59, 0.79),
    ("ASTM A106", ring(219.2, 8), 2.38, 0.79),
    ("ASTM A106", ring(457.2, 10), 2.38, 0.79),
    ("ASTM A106", ring(457.3, 10), 3.18, 0.79),
    ("ASTM A312", ring(48.3, 3), 0.4, 0.79),
    ("ASTM A312", ring(48.4, 3), 0.79, 0.79),
    ("ASTM A500", ring(48.3, 3), 0.2415, 0.2415),
    ("ASTM A500", ring(50.8, 3), 0.381, 0.381),
    ("ASTM A500", square(63.5, 3), 0.51, 0.51),
    ("ASTM A500", square(63.6, 3), 0.64, 0.64),
    ("ASTM A500", square(88.9, 3), 0.64, 0.64),
    ("ASTM A500", square(89.0, 3), 0.76, 0.76),
    ("ASTM A500", square(139.7, 5), 0.76, 0.76),
    ("ASTM A500", square(139.8, 5), 1.398, 1.398),
    ("EN 10219-2", ring(40, 3), 0.5, 0.5),
    ("EN 10219-2", ring(168.3, 5), 1.683, 1.683),
    ("EN 10219-2", ring(1219, 16), 10, 10),
    ("EN 10219-2", square(40, 3), 0.5, 0.5),
    ("EN 10219-2", square(90, 4), 0.9, 0.9),
    ("EN 10219-2", square(100, 4), 0.8, 0.8),
    ("EN 10219-2", square(200, 8), 1.6, 1.6),
    ("EN 10219-2", square(220, 8), 1.32, 1.32),
    ("EN 10210-2", square(100, 5), 1.0, 1.0),
    ("EN 10210-2", ring(1219, 16), 10, 10),
    ("EN 10216-1", ring(33.7, 3), 0.5, 0.5),
    ("EN 10216-1", ring(168.3, 5), 1.683, 1.683),
    ("EN 10217-1", ring(219.1, 6), 2.191, 2.191),
    ("EN 10217-1", ring(273, 6), 2.0475, 2.0475),
    ("EN 10217-1", ring(914, 10), 6, 6),
    ("EN 10305-1", ring(30, 2), 0.08, 0.08),
    ("EN 10305-1", ring(32, 2), 0.15, 0.15),
    ("EN 10305-1", ring(60, 3), 0.25, 0.25),
    ("EN 10305-1", ring(125, 4), 0.65, 0.65),
    ("EN 10305-1", ring(140, 4), 0.7, 0.7),
    ("EN 10296-2", ring(114.3, 3), 0.85725, 0.85725),
    ("EN 10296-2", ring(168.3, 3), 1.683, 1.683),
]


@pytest.mark.parametrize(
    ("product", "section", "plus", "minus"),
    SIZES,
    ids=[f"{row[0]}-{row[1].shape}-{row[1].height:g}" for row in SIZES],
)
def test_outside_tolerance_on_both_sides_of_each_edge(
    catalogue: Catalogue, product: str, section: Section, plus: float, minus: float
) -> None:
    """The tolerance of the outside is that of its band, the edge belonging to the lower one."""
    found = mill(catalogue, section, product)
    assert (found.size_ratio - 1) * section.height == pytest.approx(plus, rel=1e-9)
    assert (1 - found.least_size_ratio) * section.height == pytest.approx(minus, rel=1e-9)
    assert found.gyration_ratio == pytest.approx(found.size_ratio**2)


WALLS: list[tuple[str, Section, float, float]] = [
    # product, section, minus and plus on the wall in mm; plus NaN where mass decides
    ("ASTM A106", ring(168.3, 8), 1.0, math.nan),
    ("ASTM A500", ring(168.3, 8), 0.8, 0.8),
    ("ASTM A500", square(100, 8), 0.8, 0.8),
    ("ASTM A1085", square(100, 8), 0.4, math.nan),
    ("EN 10216-1", ring(33.7, 2.6), 0.4, 0.4),
    ("EN 10216-1", ring(219.1, 8), 1.0, 1.0),
    ("EN 10216-1", ring(273, 273 * 0.025), 273 * 0.025 * 0.2, 273 * 0.025 * 0.2),
    ("EN 10216-1", ring(273, 8), 1.2, 1.2),
    ("EN 10216-1", ring(273, 273 * 0.05), 273 * 0.05 * 0.15, 273 * 0.05 * 0.15),
    ("EN 10216-1", ring(273, 16), 2.0, 2.0),
    ("EN 10216-1", ring(273, 27.3), 27.3 * 0.125, 27.3 * 0.125),
    ("EN 10216-1", ring(273, 30), 3.0, 3.0),
    ("EN 10217-1", ring(168.3, 2), 0.3, 0.3),
    ("EN 10217-1", ring(168.3, 5), 0.5, 0.5),
    ("EN 10217-1", ring(168.3, 5.1), 0.408, 0.408),
    ("EN 10217-1", ring(508, 30), 2.0, 2.0),
    ("EN 10219-2", square(100, 5), 0.5, 0.5),
    ("EN 10219-2", square(100, 4), 0.4, math.nan),
    ("EN 10219-2", square(100, 10), 0.5, 0.5),
    # Rounds above 406.4 mm: a tenth of the wall, at most 2 mm; squares keep 0.5 mm.
    ("EN 10219-2", ring(406.4, 5), 0.5, 0.5),
    ("EN 10219-2", ring(406.4, 16), 0.5, 0.5),
    ("EN 10219-2", ring(457, 6), 0.6, 0.6),
    ("EN 10219-2", ring(508, 16), 1.6, 1.6),
    ("EN 10219-2", ring(610, 20), 2.0, 2.0),
    ("EN 10219-2", ring(610, 30), 2.0, 2.0),
    ("EN 10219-2", square(500, 16), 0.5, 0.5),
    ("EN 10210-2", square(100, 10), 1.0, math.nan),
    ("EN 10305-1", ring(20, 0.8), 0.1, 0.1),
    ("EN 10305-1", ring(50, 3), 0.3, 0.3),
    ("EN 10296-2", ring(50, 1.5), 0.2, 0.2),
    ("EN 10296-2", ring(50, 3), 0.3, 0.3),
]


@pytest.mark.parametrize(
    ("product", "section", "minus", "plus"),
    WALLS,
    ids=[f"{row[0]}-{row[1].shape}-{row[1].height:g}x{row[1].wall:g}" for row in WALLS],
)
def test_wall_tolerance_on_both_sides_of_each_edge(
    catalogue: Catalogue, product: str, section: Section, minus: float, plus: float
) -> None:
    """The thin wall is that of its band; so is the thick one, unless the mass allows less."""
    found = mill(catalogue, section, product)
    assert section.wall - found.thin_wall == pytest.approx(minus, rel=1e-9)
    if math.isnan(plus):
        mass_plus = catalogue.products[product].mass_plus
        assert mass_plus is not None
        thick = section.wall_for_mass(1 + mass_plus)
        assert found.thick_wall <= thick * (1 + 1e-12)
        assert found.thick_wall > section.wall
    else:
        by_wall = section.wall + plus
        mass_plus = catalogue.products[product].mass_plus
        by_mass = math.inf if mass_plus is None else section.wall_for_mass(1 + mass_plus)
        assert found.thick_wall == pytest.approx(min(by_wall, by_mass), rel=1e-9)


def test_heavy_end_without_mass_tolerance_follows_size_and_wall(catalogue: Catalogue) -> None:
    """A500 has no mass tolerance: the heaviest round has the largest size and thickest wall."""
    section = ring(168.3, 8)
    found = mill(catalogue, section, "ASTM A500")
    largest = ring(168.3 * 1.0075, 8.8)
    assert found.mass_ratio == pytest.approx(largest.area / section.area)


# --- all grades, a sample of sections ---------------------------------------------------------

SAMPLE = [
    "NPS 1/2 SCH 40", "NPS 2 XXS", "NPS 6 SCH 5", "NPS 6 SCH 40", "NPS 10 XS", "NPS 12 SCH 160",
    "NPS 24 SCH 40", "NPS 8 SCH 10S", "tube 6 x 1 mm", "tube 50 x 3 mm", "tube 50 x 24 mm",
    "tube 100 x 1 mm", "tube 2 x 0.065 in", "CHS 168.3x8", "SHS 100x5 cf", "SHS 100x5 hf",
    "SHS 200x8 hf", "RHS 150x100x6 cf", "HSS 4x4x1/4", "HSS 6x4x1/4", "HSS 6.625x0.280",
    "tube 30 x 20 x 2 mm", "tube 1500 x 20 mm",
]  # fmt: skip


@pytest.mark.parametrize("text", SAMPLE)
def test_heavy_end_is_never_lighter_than_nominal(catalogue: Catalogue, text: str) -> None:
    """Of every grade: heavy at least nominal, and the wall between its thin and thick end."""
    section = catalogue.section(text)
    for grade in catalogue.grades.values():
        check_range(section, mill_range(section, grade.product), grade.name)


@FUZZ
@given(
    outside=st.floats(6, 2000),
    share=st.floats(0.003, 0.45),
    shape=st.sampled_from(["round", "cold", "hot", "a500"]),
)
def test_heavy_end_of_any_size(
    catalogue: Catalogue, outside: float, share: float, shape: str
) -> None:
    """The same holds for any size a section can have, to every product standard."""
    wall = max(outside * share, 0.5)
    if 2 * wall >= outside:
        return
    corners = {"cold": COLD_FORMED, "hot": HOT_FINISHED, "a500": A500}
    section = (
        ring(outside, wall)
        if shape == "round"
        else hollow_section("box", outside, outside, wall, "test", corners=corners[shape])
    )
    for product in catalogue.products.values():
        check_range(section, mill_range(section, product), product.name)


def check_range(section: Section, found: MillRange, name: str) -> None:
    """Check that a mill range has nominal in it."""
    assert found.least_size_ratio <= 1 <= found.size_ratio, name
    assert found.mass_ratio >= 1, name
    assert found.gyration_ratio >= 1, name
    assert 0 < found.thin_wall <= section.wall <= found.thick_wall, name
    assert 2 * found.thick_wall < section.width * found.size_ratio * 1.2, name
    assert all(math.isfinite(value) for value in found[:6]), name
    assert math.isnan(found.straightness) or 0 < found.straightness < 0.01, name
