"""A section table is data: one CSV file and its entry, and everything of the tool knows it."""

import re
import shutil
from pathlib import Path

import pytest
from cuttable.catalogue.errors import FileError, InputError
from cuttable.catalogue.files.file_source import KeptFiles
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.families import members_of
from cuttable.catalogue.tables.reader import SectionTables
from cuttable.catalogue.tables.search import find_sections
from cuttable.engine.answer.document import plain
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText

SHIPPED = Path(__file__).resolve().parents[3] / "catalogue"

# An invented standard: rounds printed in both units, and boxes with corners of its own.
ENTRY = """
[tables.orrin]
file = "orrin.csv"
title = "Invented hollow sections"
standard = "ORRIN 7"
edition = "1"
obtained = "invented for this test"
checked = "nothing to check"
columns = ["code", "kind", "high_mm", "wide_mm", "od_in", "thick_mm", "thick_in"]

[[tables.orrin.sections]]
when = { kind = ["R"] }
shape = "round"
outside = { mm = "high_mm", in = "od_in" }
wall = { mm = "thick_mm", in = "thick_in" }
designation = "OR-R {code}/{thick_mm:g}"
also_written = ["Orrin Round {od_in} x {thick_in}"]
range = { family = "orrin", size = "OR-R {code}", wall = "{thick_mm:g} mm" }

[[tables.orrin.sections]]
shape = "rectangular"
height = { mm = "high_mm" }
width = { mm = "wide_mm" }
wall = { mm = "thick_mm" }
corners = { outer = 1.75, inner = 0.75, smallest_outer = 1.25 }
designation = "OR-B {high_mm:g}|{wide_mm:g}|{thick_mm:g}"
note = "box {code}"
"""
ROWS = """code,kind,high_mm,wide_mm,od_in,thick_mm,thick_in
K,R,90.2,90.2,3.552,4.50,0.178
K,R,90.2,90.2,3.552,6.00,0.238
Q2,B,140.0,60,-,5,-
"""


def folder(tmp_path: Path, entry: str = ENTRY, rows: str = ROWS) -> Path:
    """Return the shipped catalogue with one more table, as data only."""
    shutil.copytree(SHIPPED, tmp_path / "catalogue", ignore=shutil.ignore_patterns("*.py", "__*"))
    tables = tmp_path / "catalogue" / "tables"
    (tables / "orrin.csv").write_text(rows, encoding="utf-8")
    with (tables / "index.toml").open("a", encoding="utf-8") as index:
        index.write(entry)
    return tmp_path / "catalogue"


@pytest.fixture
def orrin(tmp_path: Path) -> Catalogue:
    """A catalogue with the invented table."""
    return Catalogue(folder(tmp_path))


@pytest.mark.parametrize(
    ("typed", "designation"),
    [
        ("OR-R K/4.5", "OR-R K/4.5"),
        ("or-r  k/6", "OR-R K/6"),
        ("Orrin round 3.552 × 0.238", "OR-R K/6"),
        ("OR-B 140|60|5", "OR-B 140|60|5"),
    ],
)
def test_what_the_table_prints_can_be_typed(orrin: Catalogue, typed: str, designation: str) -> None:
    """Every form of its entry, whatever the case, the spaces and the kind of x."""
    assert orrin.section(typed).designation == designation


def test_sizes_corners_and_both_columns_are_those_of_the_entry(orrin: Catalogue) -> None:
    """A round keeps its printed inches; a box its radii; the note names its column."""
    round_one, box = orrin.section("OR-R K/4.5"), orrin.section("OR-B 140|60|5")
    assert (round_one.height, round_one.wall, round_one.standard) == (90.2, 4.5, "ORRIN 7")
    assert round_one.inches == (3.552, 3.552, 0.178)
    assert (box.shape, box.height, box.width, box.inches) == ("rectangular", 140, 60, None)
    assert (box.outer_radius, box.inner_radius, box.sweep_radius) == (8.75, 3.75, 6.25)
    assert box.note == "box Q2"


def test_the_whole_tool_knows_the_table(orrin: Catalogue) -> None:
    """It is checked, searched, listed, shown in a range, and has a part in the digest."""
    assessor = AssessorCore(orrin)
    answer = assessor.ask(JobText("OR-R K/6", "3 m"), ["rowan-150"]).verdicts[0]
    told = plain(answer)
    assert told["job"]["section"]["designation"] == "OR-R K/6"
    assert told["job"]["section"]["inches"] == {"outside_diameter": 3.552, "wall": 0.238}
    assert told["measures"]["round_diameter"]["value"] == 90.2
    assert told["verdict"] == "in-range"
    assert [item.designation for item in find_sections("orrin 90.2", orrin.tables)] == [
        "OR-R K/4.5", "OR-R K/6",
    ]  # fmt: skip
    every = {section.designation for section in orrin.tables.every_section()}
    assert {"OR-R K/4.5", "OR-R K/6", "OR-B 140|60|5"} <= every
    members = members_of("orrin", orrin.tables)
    assert {item.size for item in members} == {"OR-R K"}
    assert [item.wall for item in members] == ["4.5 mm", "6 mm"]
    assert orrin.digest != Catalogue().digest


def test_an_entry_that_is_changed_changes_the_digest(tmp_path: Path) -> None:
    """What decides a section has a part in the name of what an answer rests on."""
    first = Catalogue(folder(tmp_path / "a"))
    second = Catalogue(folder(tmp_path / "b", ENTRY.replace("1.75", "1.5")))
    assert first.digest != second.digest


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('"code", "kind"', '"kind"', "tables.orrin.sections[0].designation: 'code' is not one"),
        ('mm = "high_mm", in', 'mm = "tall", in', "tables.orrin.sections[0].outside: 'tall' is"),
        ("{ kind =", "{ sort =", "tables.orrin.sections[0].when: 'sort' is not one"),
        ('["R"]', '"R"', "tables.orrin.sections[0].when.kind: must be a list of texts"),
        ('shape = "round"', 'shape = "oval"', "tables.orrin.sections[0].shape: 'oval' is not one"),
        ("corners =", "corner =", "tables.orrin.sections[1].corners: is missing"),
        ("inner = 0.75", "inner = 9", "tables.orrin.sections[1].corners.inner: must be a number"),
        ("also_written =", "also_writen =", "tables.orrin.sections[0].also_writen: is not a known"),
        ('edition = "1"\n', "", "tables.orrin.edition: is missing"),
        ('edition = "1"', 'edition = "1"\nrole = "pip"', "tables.orrin.role: 'pip' is not one of"),
        ('edition = "1"', 'edition = "1"\nunless_in = ["en"]', "tables.orrin.unless_in: 'en'"),
        ('{ mm = "wide_mm" }', "{}", "tables.orrin.sections[1].width: must name a column"),
    ],
)  # fmt: skip
def test_an_entry_that_is_wrong_says_where(
    tmp_path: Path, old: str, new: str, problem: str
) -> None:
    """Every problem with its dotted key."""
    assert old in ENTRY
    catalogue = Catalogue(folder(tmp_path, ENTRY.replace(old, new, 1)))
    with pytest.raises(FileError) as caught:
        catalogue.section("OR-R K/6")
    assert caught.value.code == "file-problems"
    assert any(item.startswith(problem) for item in caught.value.problems), caught.value.problems


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("4.50,0.178", "4.5O,0.178", "row is wrong"),
        ("4.50,0.178", "4.50", "more or fewer cells"),
        ("4.50,0.178", "0,0.178", "sizes must be above zero"),
        ("4.50,0.178", "45.1,0.178", "does not fit"),
        ("3.552,4.50", "3/0,4.50", "row is wrong"),
        ("code,kind", "kind,code", "under the columns code, kind"),
    ],
)
def test_a_row_that_is_wrong_says_which(tmp_path: Path, old: str, new: str, what: str) -> None:
    """File and line, wherever the table is read."""
    catalogue = Catalogue(folder(tmp_path, rows=ROWS.replace(old, new, 1)))
    with pytest.raises(FileError) as caught:
        list(catalogue.tables.every_section())
    assert caught.value.code == "file-damaged"
    assert what in caught.value.what
    assert "orrin.csv" in caught.value.where
    if "columns" not in what:
        assert caught.value.where.endswith(("2", "line 2"))


def test_two_sections_written_alike_are_refused(tmp_path: Path) -> None:
    """A designation that does not name what tells sections apart would be a guess."""
    alike = ENTRY.replace("{code}/{thick_mm:g}", "{code}", 1)
    catalogue = Catalogue(folder(tmp_path / "a", alike))
    with pytest.raises(FileError, match="written like another section"):
        catalogue.section("OR-R K")
    taken = ENTRY.replace("OR-R {code}/{thick_mm:g}", "NPS {code} SCH 40", 1)
    other = Catalogue(folder(tmp_path / "b", taken, ROWS.replace("K,R", "6,R", 1)))
    with pytest.raises(FileError, match="written like another section"):
        list(other.tables.every_section())


def test_a_row_of_no_kind_is_refused(tmp_path: Path) -> None:
    """A kind that is misspelt in the file is no silent default."""
    entry = ENTRY.replace('shape = "rectangular"', 'when = { kind = ["B"] }\nshape = "rectangular"')
    catalogue = Catalogue(folder(tmp_path, entry, ROWS.replace("Q2,B", "Q2,X")))
    with pytest.raises(FileError, match="of no kind"):
        catalogue.section("OR-B 140|60|5")


def test_without_its_entry_the_designation_is_unknown() -> None:
    """The shipped tables alone do not have it."""
    with pytest.raises(InputError):
        Catalogue().section("OR-R K/6")


def test_an_index_kept_before_entries_said_their_columns_is_read() -> None:
    """A ledger keeps the index of its day: its tables are read as they were, same digest."""
    tables = SHIPPED / "tables"
    old = "".join(
        f'[tables.{path.stem}]\nfile = "{path.name}"\ntitle = "t"\nstandard = "s"\n'
        'edition = "e"\nobtained = "o"\nchecked = "c"\n'
        for path in sorted(tables.glob("*.csv"))
    )
    contents = {path.name: path.read_bytes() for path in tables.glob("*.csv")}
    kept = SectionTables(KeptFiles({**contents, "index.toml": old.encode()}, "ledger"))
    assert not kept.are_described
    shipped = SectionTables()
    assert shipped.are_described
    assert sorted(kept.every_section()) == sorted(shipped.every_section())
    files = {f"tables/{name}": content for name, content in contents.items()}
    files |= {name: (SHIPPED / name).read_bytes() for name in ("grades.toml", "tolerances.toml")}
    before = Catalogue(KeptFiles({**files, "tables/index.toml": old.encode()}, "ledger"))
    other = Catalogue(KeptFiles({**files, "tables/index.toml": old.encode() + b"# x\n"}, "ledger"))
    assert before.digest == other.digest != Catalogue().digest


def test_an_unknown_table_of_an_old_index_is_told(tmp_path: Path) -> None:
    """Nothing says what its columns are."""
    entry = ENTRY[: ENTRY.index("columns")]
    catalogue = Catalogue(folder(tmp_path, entry))
    with pytest.raises(FileError) as caught:
        catalogue.section("NPS 6 SCH 40")
    assert [re.sub(r" \(line \d+\)$", "", told) for told in caught.value.problems] == [
        "tables.orrin.columns: is missing; a list of the columns is required."
    ]
