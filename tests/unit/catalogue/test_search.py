"""Finding sections by what people remember of them."""

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.search import find_sections
from hypothesis import given, settings
from hypothesis import strategies as st

FUZZ = settings(max_examples=30, deadline=None, derandomize=True, database=None)


def found(catalogue: Catalogue, text: str) -> list[str]:
    """Return the designations that ``text`` finds."""
    return [section.designation for section in find_sections(text, catalogue.tables)]


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("nps 6 sch 40", ["NPS 6 SCH 40"]),
        ("6 sch 40", ["NPS 6 SCH 40"]),
        ("s40 6", ["NPS 6 SCH 40"]),
        ("schedule 40, nps 6", ["NPS 6 SCH 40"]),
        ("xs 10", ["NPS 10 XS"]),
        ("168.3x7.11", ["NPS 6 SCH 40", "NPS 6 STD", "NPS 6 SCH 40S"]),
        ("168,3x7,11", ["NPS 6 SCH 40", "NPS 6 STD", "NPS 6 SCH 40S"]),
        ("DN 150 sch 40", ["NPS 6 SCH 40"]),
        ("dn65 sch 40", ["NPS 2-1/2 SCH 40"]),
        ("chs 168.3x8", ["CHS 168.3x8 cf", "CHS 168.3x8 hf"]),
        ("CHS 60.3x1.6", ["CHS 60.3x1.6"]),
        ("7.11 168.3", ["NPS 6 SCH 40", "NPS 6 STD", "NPS 6 SCH 40S"]),
        ("shs 100x5", ["SHS 100x5 cf", "SHS 100x5 hf"]),
        ("HSS 6x4x1/4", ["HSS 6x4x1/4"]),
        ("NPS 1/2 SCH 40", ["NPS 1/2 SCH 40"]),
        ("NPS 2-1/2 SCH 40", ["NPS 2-1/2 SCH 40"]),
        ("NPS 2½ SCH 40", ["NPS 2-1/2 SCH 40"]),
    ],
)
def test_words_find_what_has_all_of_them(catalogue: Catalogue, text: str, names: list[str]) -> None:
    """Words in any order find the sections that have every one of them, and no other."""
    assert found(catalogue, text) == names


def test_two_sides_find_no_other_sides(catalogue: Catalogue) -> None:
    """Hss 6x4 finds the walls of that rectangle; the 4 of a quarter inch wall is no side."""
    names = found(catalogue, "hss 6x4")
    assert "HSS 6x4x1/4" in names
    assert [name for name in names if not name.startswith("HSS 6x4x")] == []


@pytest.mark.parametrize(
    ("text", "standard"),
    [
        ("A500", "ASTM A500"),
        ("B36.19M", "ASME B36.19M"),
        ("EN 10219", "EN 10219-2"),
        ("en 10210-2", "EN 10210-2"),
    ],
)
def test_standard_finds_its_table(catalogue: Catalogue, text: str, standard: str) -> None:
    """The number of a standard finds the sections of that standard, and only them."""
    sections = find_sections(text, catalogue.tables)
    assert len(sections) > 50
    assert {section.standard for section in sections} == {standard}


def test_shape_and_size(catalogue: Catalogue) -> None:
    """A shape word and a size work together."""
    sections = find_sections("square 100", catalogue.tables)
    assert sections
    assert all(section.shape == "square" for section in sections)
    assert all(100 in (section.height, section.wall) for section in sections)


def test_decimal_comma_finds_what_a_point_finds(catalogue: Catalogue) -> None:
    """168,3 is one size; with a space after it a comma only parts words."""
    names = found(catalogue, "168,3")
    assert names
    assert names == found(catalogue, "168.3")
    assert found(catalogue, "nps 6, xs") == ["NPS 6 XS"]


@pytest.mark.parametrize(
    ("dn", "outsides"), [("150", {168.3}), ("125", {141.3, 139.7}), ("65", {73.0, 76.1})]
)
def test_dn_finds_the_pipe_of_both_worlds(
    catalogue: Catalogue, dn: str, outsides: set[float]
) -> None:
    """A DN finds ASME pipe and EN rounds of that size, and nothing that is no pipe."""
    sections = find_sections(f"dn {dn}", catalogue.tables)
    assert {section.height for section in sections} == outsides
    assert {section.shape for section in sections} == {"round"}
    assert find_sections(f"DN{dn}", catalogue.tables) == sections


def test_sizes_match_whole(catalogue: Catalogue) -> None:
    """6 finds NPS 6, and neither 16 nor 60.3."""
    names = found(catalogue, "NPS 6")
    assert names
    assert all(name.startswith("NPS 6 ") for name in names)


def test_order_is_that_of_the_tables(catalogue: Catalogue) -> None:
    """Results come in the order of the tables, each once."""
    every = [section.designation for section in catalogue.tables.every_section()]
    names = found(catalogue, "sch 40")
    assert len(set(names)) == len(names)
    assert names == [name for name in every if name in set(names)]


def test_any_printed_designation_finds_its_section(catalogue: Catalogue) -> None:
    """What a table prints can be searched for as it stands."""
    every = [section.designation for section in catalogue.tables.every_section()]
    lost = [name for name in every[:: len(every) // 40] if name not in found(catalogue, name)]
    assert lost == []


@pytest.mark.parametrize("text", ["zzz", "NPS 6 zzz", "NPS 7 SCH 40", "9999", "DN 155"])
def test_nothing_found_is_an_empty_list(catalogue: Catalogue, text: str) -> None:
    """Words that no section has find nothing, without an error."""
    assert found(catalogue, text) == []


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "text-empty"),
        ("   ", "text-empty"),
        (".", "text-empty"),
        ("x", "text-empty"),
        (", ;", "text-empty"),
        ("6" * 201, "text-too-long"),
        ("pipe " * 2000, "text-too-long"),
    ],
    ids=lambda value: repr(value[:12]),
)
def test_text_without_a_word_is_refused(catalogue: Catalogue, text: str, code: str) -> None:
    """A search for nothing does not list everything."""
    with pytest.raises(InputError) as fault:
        found(catalogue, text)
    assert fault.value.code == code


@FUZZ
@given(text=st.text(max_size=40))
def test_any_text_finds_sections_or_is_refused(catalogue: Catalogue, text: str) -> None:
    """No text makes the search fail in any other way."""
    try:
        names = found(catalogue, text)
    except InputError as fault:
        names = []
        code = fault.code
    else:
        code = "text-empty"
    assert code in ("text-empty", "text-too-long")
    assert len(names) <= sum(1 for _ in catalogue.tables.every_section())
