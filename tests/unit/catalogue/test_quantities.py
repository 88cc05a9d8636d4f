"""Lengths and quantities as people write them: exact, never guessed, never a crash."""

import re
from fractions import Fraction

import pytest
from cuttable.catalogue.errors import ERROR_CODES, InputError, OpenQuestion, Question
from cuttable.catalogue.units import lengths
from cuttable.catalogue.units.lengths import Bounds, length
from cuttable.catalogue.units.quantities import number, quantity, tidy
from cuttable.catalogue.units.units import (
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    NUMBER,
    STRESS,
    TORQUE,
    Dimension,
    unit,
)
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=400, deadline=None, derandomize=True, database=None)
INCH = Fraction(254, 10)
LONGEST = 100_000.0


def asked(text: str) -> Question:
    """Return the question that ``text`` leaves open."""
    with pytest.raises(OpenQuestion) as found:
        length(text)
    return found.value.question


def refused(text: str) -> InputError:
    """Return the error that ``text`` causes."""
    with pytest.raises(InputError) as found:
        length(text)
    return found.value


WRITTEN: list[tuple[str, Fraction | int]] = [
    ("21'-0 1/2\"", 252 * INCH + INCH / 2),
    ("21' 0 1/2\"", 252 * INCH + INCH / 2),
    ("21'0-1/2\"", 252 * INCH + INCH / 2),
    ("21 ft 0.5 in", 252 * INCH + INCH / 2),
    ("21'-6\"", 258 * INCH),
    ("21'6", 258 * INCH),
    ("21 ft. 6 in.", 258 * INCH),
    ("21ft6in", 258 * INCH),
    ("21 feet 6 inches", 258 * INCH),
    ("21.5 ft", 258 * INCH),
    ("21.5'", 258 * INCH),
    ("21-1/2 ft", 258 * INCH),
    ("21 1/2 ft", 258 * INCH),
    ("21'-5\"", 257 * INCH),
    ("6'3/4\"", 72 * INCH + INCH * 3 / 4),
    ("6' 1/2", 72 * INCH + INCH / 2),
    ("0' 6\"", 6 * INCH),
    ("20 footer", 240 * INCH),
    ("20 foot", 240 * INCH),
    ("240 in", 240 * INCH),
    ('240"', 240 * INCH),
    ("240''", 240 * INCH),
    ("240 inches", 240 * INCH),
    ("2-1/2 in", INCH * 5 / 2),
    ("2 1/2 in", INCH * 5 / 2),
    ("2.5 in", INCH * 5 / 2),
    ("3/4 in", INCH * 3 / 4),
    (".065 in", INCH * 65 / 1000),
    ("6.1 m", 6100),
    ("6,1 m", 6100),
    ("6,10 m", 6100),
    ("0,750 m", 750),
    ("12m", 12_000),
    ("12 M", 12_000),
    ("6.1 metres", 6100),
    ("6.1 meters", 6100),
    ("610 cm", 6100),
    ("6100mm", 6100),
    ("6100 millimetres", 6100),
    ("12 000 mm", 12_000),
    ("12,000.5 mm", Fraction(24_001, 2)),
    ("12.000,5 mm", Fraction(24_001, 2)),
    ("6.1e3 mm", 6100),
    ("+6.1 m", 6100),
    ("  6.1   m  ", 6100),
    ("6.1 m\n", 6100),
    ("5. m", 5000),
    (".5 m", 500),
    ("6 m 100 mm", 6100),
    ("6m 10cm", 6100),
    ("6 m and 100,5 mm", Fraction(12_201, 2)),
    ("6.000 m", 6000),
    ("6.125 in", INCH * 49 / 8),
    ("2.375 in", INCH * 19 / 8),
    ("20.000 ft", 240 * INCH),
    ("0.500 mm", Fraction(1, 2)),
    ("323.850 mm", Fraction(32_385, 100)),
    ("1234.500 mm", Fraction(12_345, 10)),
    ("6.00 mm", 6),
]


@pytest.mark.parametrize(("text", "millimetres"), WRITTEN)
def test_length_as_written(text: str, millimetres: Fraction | int) -> None:
    """Every usual way of writing a length gives the exact length, rounded once."""
    assert length(text) == float(millimetres)


LOOKALIKES: list[tuple[str, str]] = [
    ("21′-0½″", "21'-0 1/2\""),
    ("21’-0 1/2”", "21'-0 1/2\""),
    ("21´-0 1⁄2´´", "21'-0 1/2\""),
    ("21`-6″", "21'-6\""),
    ("2½ in", "2-1/2 in"),
    ("2–1/2 in", "2-1/2 in"),
    ("2−1∕2 in", "2-1/2 in"),
    ("⅞″", "7/8 in"),
    ("1⅜ in", "1-3/8 in"),
    ("12\u00a0000\u00a0mm", "12000 mm"),
    ("12\u202f000\u2009mm", "12000 mm"),
    ("6,1\u00a0m", "6.1 m"),
    ("6.1\tm", "6.1 m"),
    ("\uff16.1 \uff4d", "6.1 m"),
]


@pytest.mark.parametrize(("fancy", "plain"), LOOKALIKES)
def test_lookalike_characters_read_as_the_plain_ones(fancy: str, plain: str) -> None:
    """Typographic primes, fractions, dashes and spaces mean what they look like."""
    assert length(fancy) == length(plain)


def test_multiplication_signs_become_x() -> None:
    """The signs that text processors put between sizes are folded into the letter x."""
    assert tidy("6×4✕¼⨯2") == "6x4x 1/4x2"


def test_decimal_feet_are_not_feet_and_inches() -> None:
    """21.5 ft is 21 ft 6 in, and never 21 ft 5 in."""
    assert length("21.5 ft") == length("21'-6\"")
    assert length("21.5 ft") - length("21'-5\"") == pytest.approx(25.4, abs=1e-9)


def test_three_quarters_of_an_inch_is_exact() -> None:
    """3/4 in is 19.05 mm to the last bit, however it is written."""
    assert {length(text) for text in ("3/4 in", "0.75 in", '¾"', "0,75 in", "19.05 mm")} == {19.05}


@FUZZ
@given(st.integers(1, 64 * 3900))
def test_sixty_fourths_are_rounded_once(count: int) -> None:
    """n/64 in is the exact rational number of millimetres, rounded a single time."""
    exact = float(count * INCH / 64)
    whole, part = divmod(count, 64)
    assert length(f"{count}/64 in") == exact
    assert length(f"{whole}-{part}/64 in") == exact


@FUZZ
@given(st.integers(0, 327), st.integers(0, 11), st.integers(0, 63))
def test_feet_and_inches_add_up(feet: int, inches: int, part: int) -> None:
    """Feet, inches and sixty-fourths together are the sum of the three, rounded once."""
    total = (feet * 12 + inches + Fraction(part, 64)) * INCH
    if not total:
        return
    for text in (f"{feet}'-{inches} {part}/64\"", f"{feet} ft {inches}-{part}/64 in"):
        assert length(text) == float(total)


PER_UNIT = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": INCH,
    "ft": 12 * INCH,
    '"': INCH,
    "'": 12 * INCH,
}


def decimal_for_sure(text: str) -> str:
    """Return a number whose three decimals cannot be thousands."""
    return f"{text}0" if re.fullmatch(r"\d{1,3}\.\d{3}", text) else text


@FUZZ
@given(st.sampled_from(sorted(PER_UNIT)), st.integers(1, 10**8), st.sampled_from([".", ","]))
def test_decimal_text_in_every_unit_is_read_exactly(unit: str, milli: int, mark: str) -> None:
    """A decimal number in any unit, point or comma, is read exactly and rounded once."""
    whole, part = divmod(milli, 10_000)
    exact = Fraction(milli, 10_000) * PER_UNIT[unit]
    text = f"{whole}{mark}{part:04d} {unit}"
    if exact > LONGEST:
        assert refused(text).code == "length-range"
    else:
        assert length(text) == float(exact)


@FUZZ
@given(st.floats(1e-3, LONGEST - 1), st.sampled_from(sorted(PER_UNIT)))
def test_millimetres_survive_text_in_every_unit(value: float, unit: str) -> None:
    """A length written out in full in any unit and read again is the same length."""
    digits = decimal_for_sure(f"{float(Fraction(value) / PER_UNIT[unit]):.17g}")
    assert length(f"{digits} {unit}") == pytest.approx(value, rel=4e-16)


@FUZZ
@given(st.floats(1e-6, LONGEST))
def test_millimetres_written_in_full_are_the_same_number(value: float) -> None:
    """The shortest text of a float in millimetres is read back as that float.

    But for three decimals, which may be thousands: with one more they are read.
    """
    assert length(f"{decimal_for_sure(repr(value))} mm") == value


# --- questions --------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["6,100 mm", "12,000 mm", "1,234 in", "20,000 mm", "1,250'"])
def test_one_comma_before_three_digits_asks(text: str) -> None:
    """Decimal comma or thousands mark: one comma before three digits is asked about."""
    assert asked(text).code == "decimal-or-thousands"


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("6.000 mm", [6, 6000]),
        ("6.125 mm", [6.125, 6125]),
        ("12.500 millimetres", [12.5, 12_500]),
        ("60.325mm", [60.325, 60_325]),
        ("100.000 mm", [100, 100_000]),
    ],
)
def test_one_point_before_three_digits_of_millimetres_asks(
    text: str, readings: list[float]
) -> None:
    """6.000 mm is six millimetres here and six metres there; both readings can be typed."""
    question = asked(text)
    assert question.code == "decimal-or-thousands"
    assert [length(choice) for choice in question.choices] == readings


def test_a_point_is_not_asked_about_where_thousands_are_out_of_bounds() -> None:
    """A bow of 8.125 m is none, so 8.125 mm is meant."""
    bounds = Bounds(Fraction(1000), "between 0 and 1 m", "", has_zero=True)
    assert length("8.125 mm", bounds=bounds) == 8.125
    assert length("0 mm", bounds=bounds) == 0
    with pytest.raises(InputError) as found:
        length("1001 mm", what="bow", bounds=bounds)
    assert "bow '1001 mm' is not between 0 and 1 m" in str(found.value)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("0,500 in", 12.7), ("6,1000 m", 6100.0), ("1,200,00", None), ("6,1 m", 6100.0)],
)
def test_commas_with_one_reading_do_not_ask_about_the_comma(
    text: str, millimetres: float | None
) -> None:
    """A comma that can only be one thing is read, or refused, but not asked about."""
    if millimetres is None:
        with pytest.raises(InputError) as found:
            length(text)
        assert found.value.code == "number-unreadable"
    else:
        assert length(text) == millimetres


@pytest.mark.parametrize("text", ["5", "20", "6.1", "6,1", "3/4", "2-1/2", "½"])
def test_length_without_unit_asks_for_it(text: str) -> None:
    """A bare number is never given a unit by the tool."""
    question = asked(text)
    assert question.code == "length-unit"
    assert len(question.choices) >= 2


def test_units_that_cannot_be_meant_are_not_offered() -> None:
    """A bare 6100 can be millimetres or inches only where that is at most 100 m."""
    assert asked("6100").choices == ("6100 mm",)
    assert "120 m" not in asked("120").choices


@pytest.mark.parametrize("text", ["0", "0.0", "-5", "- 20", "1e9", "1000000"])
def test_bare_numbers_that_no_unit_can_save_are_refused(text: str) -> None:
    """Zero, negative and absurd numbers are out of range whatever the unit."""
    assert refused(text).code == "length-range"


@pytest.mark.parametrize(
    "text", ["16-22 ft", "16 - 22 ft", "16 to 22 ft", "16–22 ft", "5.0-7.0 m", "6-7,5 m"]
)
def test_random_lengths_ask_for_the_longest(text: str) -> None:
    """A range names two lengths; the longest is offered first and nothing is averaged."""
    question = asked(text)
    assert question.code == "random-length"
    assert length(question.choices[0]) > length(question.choices[1])


@pytest.mark.parametrize("text", ["16'-22'", "16' - 22'", "16 ft to 22 ft", "5 m - 7 m"])
def test_random_lengths_with_the_unit_twice_ask_too(text: str) -> None:
    """The unit behind both ends of a range changes nothing about the question."""
    assert asked(text).code == "random-length"


def test_feet_and_inches_written_as_a_range_are_among_the_choices() -> None:
    """20-6 ft may be 20'-6" as well as two lengths; 16-22 ft cannot."""
    assert asked("20-6 ft").choices == ("6 ft", "20 ft", "20'-6\"")
    assert asked("16-22 ft").choices == ("22 ft", "16 ft")


def test_a_range_of_what_is_no_length_of_stock_is_asked_about_in_other_words() -> None:
    """Nobody loads the longest cut position."""
    with pytest.raises(OpenQuestion) as found:
        length("1-2 m", what="cut position")
    assert "loaded" not in found.value.question.text
    assert found.value.question.choices == ("2 m", "1 m")


CHOSEN = [
    "6.000 mm", "6.000", "5.000-7.000 mm",
    "5", "6,1", "3/4", "½", "6100", "0,5", "6,100", "12,000", "6,100 mm", "99,999 mm",
    "12,000 m", "1,234 ft", "16-22 ft", "5.0-7.0 m", "6-7,5 m", "1,000-2,000 mm",
    "12' 1,234\"", "1,234 ft 5 in",
]  # fmt: skip


@pytest.mark.parametrize("text", CHOSEN)
def test_choices_of_a_question_can_be_typed(text: str) -> None:
    """Whatever is offered as an answer is read as a length, with no further question."""
    question = asked(text)
    assert question.choices
    assert len(set(question.choices)) == len(question.choices)
    for choice in question.choices:
        assert 0 < length(choice) <= LONGEST


def test_answering_the_comma_question_gives_the_two_readings() -> None:
    """The two choices for 6,100 mm are six millimetres and six metres."""
    assert {length(choice) for choice in asked("6,100 mm").choices} == {6.1, 6100.0}


# --- errors -----------------------------------------------------------------------------------

REFUSED: list[tuple[str, str]] = [
    ("", "text-empty"),
    ("   ", "text-empty"),
    ("\u00a0", "text-empty"),
    ("m", "length-unreadable"),
    ("nan", "length-unreadable"),
    ("NaN m", "length-unreadable"),
    ("inf m", "length-unreadable"),
    ("-inf m", "length-unreadable"),
    ("Infinity mm", "length-unreadable"),
    ("as long as it gets", "length-unreadable"),
    (".", "length-unreadable"),
    ("21' 12\"", "length-unreadable"),
    ("21' 13\"", "length-unreadable"),
    ("0 mm", "length-range"),
    ("0.000 m", "length-range"),
    ("0/8 in", "length-range"),
    ("0' 0\"", "length-range"),
    ("-5 m", "length-range"),
    ("− 5 m", "length-range"),
    ("-5'-6\"", "length-range"),
    ("-5 ft 6 in", "length-range"),
    ("100.001 m", "length-range"),
    ("100000.1 mm", "length-range"),
    ("329 ft", "length-range"),
    ("1e308 mm", "length-range"),
    ("1e999 mm", "length-range"),
    ("1e-400 mm", "length-range"),
    ("1e-999 m", "length-range"),
    (f"{'9' * 190} mm", "length-range"),
    ("1/0 in", "number-unreadable"),
    ("2-1/0 in", "number-unreadable"),
    ("1.2.3 m", "number-unreadable"),
    ("1..2 m", "number-unreadable"),
    ("20 furlong", "unit-unknown"),
    ("20 mmm", "unit-unknown"),
    ("2 x 20 ft", "length-unreadable"),
    ("20 ft x 2", "length-unreadable"),
    ("20 ft*2", "length-unreadable"),
    ("2 pcs 20 ft", "length-unreadable"),
    ("2 pieces of 20 ft", "length-unreadable"),
    ("20-6", "length-unreadable"),
    ("16-22", "length-unreadable"),
    ("6 m 100", "length-unreadable"),
    ("6 m 1200 mm", "length-unreadable"),
    ("-6.000 mm", "length-range"),
    ("20 kg", "unit-mismatch"),
    ("20 kN", "unit-mismatch"),
    ("20 mm^2", "unit-mismatch"),
    ("x" * 201, "text-too-long"),
    ("1" * 10_000, "text-too-long"),
    (" " * 10_000, "text-too-long"),
]


@pytest.mark.parametrize(("text", "code"), REFUSED, ids=[repr(text[:20]) for text, _ in REFUSED])
def test_unusable_length_is_refused_by_code(text: str, code: str) -> None:
    """What is no usable length is refused with the code that says why."""
    assert refused(text).code == code


def test_the_bounds_themselves() -> None:
    """100 m is still a length; the next digit above is not."""
    assert length("100 m") == LONGEST
    assert length("100,0 m") == LONGEST
    assert refused("100.0000000001 m").code == "length-range"
    assert length("0.001 mm") == 0.001


def test_error_names_the_text_and_what_to_write() -> None:
    """The message repeats what was typed, names what was asked for, and shows a way out."""
    with pytest.raises(InputError) as found:
        length("twelve metres", what="cut position")
    message = str(found.value)
    assert "cut position 'twelve metres'" in message
    assert "6.1 m" in message
    assert message.endswith("[length-unreadable]")


def test_misspelt_unit_names_the_nearest() -> None:
    """A unit one letter off is answered with the unit that was probably meant."""
    assert "Did you mean 'inches'" in str(refused("20 inchs"))


@pytest.mark.parametrize("text", ["6 km", "6 nm.", "6 mn", "20 ftlb", "6 kgm"])
def test_only_units_of_length_are_suggested_for_a_length(text: str) -> None:
    """6 km is no 6 knm."""
    remedy = refused(text).remedy
    for name in re.findall(r"'([^']*)'", remedy):
        assert unit(name).dimension == LENGTH, remedy


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2 x 20 ft", "like 20 ft; parts to be cut from it are said with --part, like 20 ft*2"),
        ("20'-6\" x 3", "like 20'-6\"; parts"),
        ("20-6", "Write 20'-6\" for feet and inches"),
        ("16-22", "Write the longest with its unit, like 22 ft"),
    ],
)
def test_two_numbers_in_a_length_are_told_how_to_be_written(text: str, said: str) -> None:
    """More than one piece, or a dash without a unit: the remedy is what was typed, corrected."""
    assert said in refused(text).remedy


# --- fuzz -------------------------------------------------------------------------------------

PIECES = st.sampled_from(
    [*"0123456789", "12", "000", ".", ",", "/", "-", "+", " ", "'", '"', "ft", "in", "mm", "m",
     "cm", "e", "e9", "e-9", "x", "to", "½", "′", "″", "×", "\u00a0", "nan", "inf", "kg", "%", "−"]
)  # fmt: skip


def outcome(text: str) -> float | InputError | Question:
    """Read ``text``; anything but a length, an error or a question goes through."""
    try:
        return length(text)
    except InputError as fault:
        return fault
    except OpenQuestion as found:
        return found.question


def is_fair(found: float | InputError | Question) -> bool:
    """Say whether an outcome is a length in range, a registered error or a real question."""
    if isinstance(found, InputError):
        return found.code in ERROR_CODES and str(found).endswith(f"[{found.code}]")
    if isinstance(found, Question):
        return bool(found.text)
    return 0 < found <= LONGEST


@FUZZ
@given(st.text(max_size=300))
def test_any_text_gives_a_length_an_error_or_a_question(text: str) -> None:
    """No text at all makes the reader fail in any other way."""
    assert is_fair(outcome(text))


@FUZZ
@given(st.lists(PIECES, max_size=12).map("".join))
def test_length_like_text_gives_a_length_an_error_or_a_question(text: str) -> None:
    """Nor does text made of what lengths are made of."""
    assert is_fair(outcome(text))


@FUZZ
@given(st.lists(PIECES, max_size=8).map("".join))
def test_choices_of_any_question_are_read_without_another(text: str) -> None:
    """Every question, whatever text brought it up, can be settled by one of its choices."""
    found = outcome(text)
    if isinstance(found, Question):
        assert found.choices
        for choice in found.choices:
            assert 0 < length(choice) <= LONGEST


# --- numbers and other quantities -------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", Fraction(12)),
        ("0.280", Fraction(28, 100)),
        (".280", Fraction(28, 100)),
        ("3/8", Fraction(3, 8)),
        ("2-1/2", Fraction(5, 2)),
        ("1.200,5", Fraction(2401, 2)),
        ("1,200.5", Fraction(2401, 2)),
        ("1,234,567", Fraction(1_234_567)),
        ("1.234.567", Fraction(1_234_567)),
        ("12 000", Fraction(12_000)),
        ("1e3", Fraction(1000)),
        ("25e-2", Fraction(1, 4)),
    ],
)
def test_number_is_exact(text: str, value: Fraction) -> None:
    """Numbers become rational numbers without any rounding."""
    assert number(text) == value


@pytest.mark.parametrize("text", ["", "x", "1.2.3", "1,2,3", "12,00,000", "1/0", "--1", "1 2"])
def test_text_that_is_no_number_is_refused(text: str) -> None:
    """Half-read numbers do not exist."""
    with pytest.raises(InputError) as found:
        number(text)
    assert found.value.code == "number-unreadable"


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("2.1 kN", FORCE, 2100.0),
        ("2,1 kN", FORCE, 2100.0),
        ("100 lbf", FORCE, 444.82216152605),
        ("12 kg", MASS, 12.0),
        ("10 lb", MASS, 4.5359237),
        ("1.5 t", MASS, 1500.0),
        ("3 kN*m", TORQUE, 3000.0),
        ("3 kN·m", TORQUE, 3000.0),
        ("3 knm", TORQUE, 3000.0),
        ("35 ksi", STRESS, 241.31650526089),
        ("235 N/mm^2", STRESS, 235.0),
        ("235 N/mm²", STRESS, 235.0),
        ("2.2 kg m²", INERTIA, 2.2),
        ("12.5 %", NUMBER, 0.125),
        ("0.2", NUMBER, 0.2),
        ("1/8 in", LENGTH, 3.175),
        ("-3 mm", LENGTH, -3.0),
    ],
)
def test_quantity_in_its_canonical_unit(
    text: str, dimension: tuple[int, int, int], value: float
) -> None:
    """Quantities of every kind come out in the unit the program holds them in."""
    assert quantity(text, dimension) == pytest.approx(value, rel=1e-12)


def test_a_question_about_a_quantity_keeps_its_unit() -> None:
    """Both readings of 1,234 kg are masses, and can be typed."""
    with pytest.raises(OpenQuestion) as found:
        quantity("1,234 kg", MASS)
    assert [quantity(choice, MASS) for choice in found.value.question.choices] == [1.234, 1234]


@pytest.mark.parametrize(
    ("text", "dimension", "code"),
    [
        ("12", MASS, "unit-mismatch"),
        ("12 mm", MASS, "unit-mismatch"),
        ("12 kg", FORCE, "unit-mismatch"),
        ("12 %", FORCE, "unit-mismatch"),
        ("12 stone", MASS, "unit-unknown"),
        ("heavy", MASS, "number-unreadable"),
        ("nan kg", MASS, "number-unreadable"),
        ("inf kg", MASS, "number-unreadable"),
        ("1e999 kg", MASS, "value-range"),
        ("", MASS, "text-empty"),
        ("1" * 10_000, MASS, "text-too-long"),
    ],
)
def test_unusable_quantity_is_refused_by_code(
    text: str, dimension: tuple[int, int, int], code: str
) -> None:
    """A quantity without, with a wrong or with an unknown unit is refused as such."""
    with pytest.raises(InputError) as found:
        quantity(text, dimension)
    assert found.value.code == code


@pytest.mark.parametrize("dimension", [LENGTH, MASS, FORCE, STRESS, TORQUE, INERTIA, NUMBER])
@pytest.mark.parametrize("text", ["0.6 s", "0.6 parsecs", "nothing", "0.6"])
def test_a_remedy_can_be_typed_as_it_stands(text: str, dimension: Dimension) -> None:
    """What is shown between quotes is read; a pure number is never shown with a unit named 1."""
    if text == "0.6" and dimension == NUMBER:
        assert quantity(text, dimension) == 0.6
        return
    with pytest.raises(InputError) as found:
        quantity(text, dimension)
    remedy = found.value.remedy
    if shown := re.search(r"like '([^']+)'", remedy):
        assert quantity(shown[1], dimension) > 0
        return
    # Of a unit that is not known, those that can be written are named.
    names = re.findall(
        r"(?:Write|or|with|mean) '?([^\s',.?]+)", remedy.replace("the number alone, or with ", "")
    )
    assert text == "0.6 parsecs"
    assert [unit(name).dimension for name in names] == [dimension] * len(names)
    assert names
    assert "1" not in names


@FUZZ
@given(st.integers(0, 10**9), st.integers(0, 6))
def test_plain_and_careful_reading_agree(digits: int, places: int) -> None:
    """The short cut for plainly written quantities and the full reader give the same float."""
    text = f"{digits / 10**places:.{places}f}"
    assert quantity(f"{text} mm", LENGTH) == quantity(f"  {text}  MM ", LENGTH)
    assert quantity(f"{text} in", LENGTH) == quantity(f"  {text} inches", LENGTH)


@FUZZ
@given(
    whole=st.integers(0, 99_999),
    part=st.text("0123456789", max_size=9),
    name=st.sampled_from(["mm", "cm", "m", "in", "ft"]),
    gap=st.sampled_from(["", " "]),
)
def test_plain_decimals_are_read_as_exact_fractions(
    whole: int, part: str, name: str, gap: str
) -> None:
    """The quick way of reading gives what the careful one gives, or leaves the text to it."""
    text = f"{whole}{'.' if part else ''}{part}{gap}{name}"
    quick = lengths.plain_length(text)
    exact = Fraction(f"{whole}{'.' if part else ''}{part}") * unit(name).factor
    exact /= unit("mm").factor
    is_open = len(part) == 3 and whole < 1000
    if is_open or not 0 < exact < lengths.SURELY_SHORT:
        assert quick is None
    else:
        assert quick == float(exact)
    if not is_open:
        assert lengths._exact_length(text, "length", lengths.STOCK) == exact
