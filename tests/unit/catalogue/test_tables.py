"""Physics on every row of every table, and what the index says of them."""

import csv
import math
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from cuttable.catalogue.store import Catalogue
from cuttable.catalogue.tables.reader import SectionTables
from cuttable.catalogue.tables.sections import Section
from cuttable.catalogue.tables.table_rows import inches

TABLES = Path(__file__).resolve().parents[3] / "catalogue" / "tables"
NAMES = sorted(path.stem for path in TABLES.glob("*.csv"))


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table as they stand in the file."""
    with (TABLES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_table_says_where_it_comes_from() -> None:
    """The index has standard, edition, origin and check of every file, and no other."""
    index = tomllib.loads((TABLES / "index.toml").read_text(encoding="utf-8"))["tables"]
    assert sorted(index) == NAMES
    for entry in index.values():
        told = {"file", "title", "standard", "edition", "obtained", "checked", "columns"}
        assert told <= set(entry) <= told | {"role", "finish", "unless_in", "sections"}
        assert all(entry.values())
        assert (TABLES / entry["file"]).is_file()


@pytest.mark.parametrize("name", NAMES)
def test_no_row_is_there_twice(name: str) -> None:
    """A size that stands twice would hide a typing error."""
    counts = Counter(tuple(row.values()) for row in rows(name))
    assert max(counts.values()) == 1
    assert len(counts) > 20


def test_every_section_of_every_table_is_physically_possible(catalogue: Catalogue) -> None:
    """Wall below half the outside, nothing hollow inside out, no NaN, moments in order."""
    count = 0
    for section in catalogue.tables.every_section():
        _check_physics(section)
        count += 1
    assert count > 4500


def _check_physics(section: Section) -> None:
    name = section.designation
    smallest = min(section.height, section.width)
    assert section.height >= section.width > 0, name
    assert 0 < 2 * section.wall < smallest, name
    solid = section.height * section.width
    assert 0 < section.area < solid, name
    across, along = section.second_moments
    assert across >= along > 0, name
    assert section.polar_moment == pytest.approx(across + along), name
    gyration = math.sqrt(section.polar_moment / section.area)
    assert smallest / 2 - section.wall < gyration * math.sqrt(2), name
    assert gyration < section.swept_diameter / 2, name
    assert section.height <= section.swept_diameter <= math.hypot(section.height, section.width), (
        name
    )
    assert section.surface > 0, name
    if section.shape == "round":
        inner = section.height - 2 * section.wall
        assert section.area == pytest.approx(math.pi / 4 * (section.height**2 - inner**2)), name


@pytest.mark.parametrize("name", ["asme_b36_10m", "asme_b36_19m"])
def test_pipe_rows_agree_in_both_unit_systems(name: str) -> None:
    """Printed millimetres are the inches, rounded; one outside diameter a size; DN in order."""
    outside: dict[str, set[str]] = {}
    for row in rows(name):
        assert float(row["od_mm"]) == pytest.approx(float(row["od_in"]) * 25.4, abs=0.45)
        assert float(row["wall_mm"]) == pytest.approx(float(row["wall_in"]) * 25.4, abs=0.013)
        outside.setdefault(row["nps"], set()).add(row["od_mm"])
        size = inches(row["nps"])
        assert float(row["od_in"]) == size if size >= 14 else float(row["od_in"]) > size
        assert abs(float(row["dn"]) - float(size) * 25.4) <= max(4, 0.02 * float(row["dn"]))
    assert all(len(sizes) == 1 for sizes in outside.values())


@pytest.mark.parametrize("name", ["asme_b36_10m", "asme_b36_19m"])
def test_schedules_grow_with_number_and_size(name: str) -> None:
    """Within a schedule the outside grows with NPS; within a size the wall grows with number."""
    by_schedule: dict[str, list[tuple[float, float]]] = {}
    by_size: dict[str, list[tuple[int, float]]] = {}
    for row in rows(name):
        by_schedule.setdefault(row["schedule"], []).append(
            (float(inches(row["nps"])), float(row["od_mm"]))
        )
        digits = row["schedule"].removesuffix("S")
        if digits.isdigit():
            by_size.setdefault(row["nps"], []).append((int(digits), float(row["wall_mm"])))
    for sizes in by_schedule.values():
        ordered = sorted(sizes)
        assert [od for _, od in ordered] == sorted(od for _, od in ordered)
    for walls in by_size.values():
        ordered = sorted(walls)
        assert [wall for _, wall in ordered] == sorted(wall for _, wall in ordered)


def test_named_weights_against_schedules() -> None:
    """STD is 40 to NPS 10, XS is 80 to NPS 8, XXS thinner than 160 from NPS 8 (B36.10M)."""
    walls = {(row["nps"], row["schedule"]): float(row["wall_mm"]) for row in rows("asme_b36_10m")}
    sizes = {nps for nps, _ in walls}
    for nps in sizes:
        size = inches(nps)
        if size <= 10:
            assert walls[nps, "STD"] == walls[nps, "40"], nps
        if size <= 8:
            assert walls[nps, "XS"] == walls[nps, "80"], nps
        if size in (8, 10, 12):
            assert walls[nps, "XXS"] <= walls[nps, "160"], nps
    assert walls["12", "STD"] < walls["12", "40"]
    assert walls["10", "XS"] < walls["10", "80"]
    assert walls["6", "XXS"] > walls["6", "160"]


def test_every_hollow_section_can_be_written_and_read(catalogue: Catalogue) -> None:
    """What a table prints reads back to the same section."""
    for section in catalogue.tables.every_section():
        if section.standard == "ASME B36.19M" or section.designation.startswith("tube"):
            continue
        again = catalogue.section(section.designation)
        assert (again.height, again.width, again.wall) == (
            section.height,
            section.width,
            section.wall,
        )


@pytest.mark.parametrize("system", ["bwg", "sheet-steel", "stainless", "aluminium-awg"])
def test_gauges_fall_with_their_number(system: str) -> None:
    """A higher gauge is a thinner wall, and no wall stands twice."""
    walls = [float(row["wall_in"]) for row in rows("gauges") if row["system"] == system]
    assert len(walls) >= 20
    assert walls == sorted(set(walls), reverse=True)


def test_inch_tube_gauges_are_those_of_the_gauge_table() -> None:
    """The gauge beside a wall is the Birmingham gauge of that wall."""
    gauges = {row["gauge"]: row["wall_in"] for row in rows("gauges") if row["system"] == "bwg"}
    for row in rows("tube_inch"):
        if row["gauge_bwg"]:
            assert float(gauges[row["gauge_bwg"]]) == float(row["wall_in"])


@pytest.mark.parametrize("count", [1, 3, 6, 10_000])
def test_the_nearest_rows_are_those_of_a_plain_sort(count: int) -> None:
    """The first of equally near ones stands first, also where the count ends among them."""
    tables = SectionTables()
    pool = tables.pool("hollow", "round", shapes=("square",))
    every = [row for row in tables.of_role("hollow") if row.kind.shape == "square"]
    every.sort(key=lambda row: row.form.finish, reverse=True)
    for wanted in ((100.0, 100.0, 5.0), (101.0, 101.0, 4.5), (95.0, 95.0, 5.0), (1.0, 1.0, 1.0)):
        apart = [
            round(sum(abs(a - b) / b for a, b in zip(row.sizes, wanted, strict=True)), 9)
            for row in every
        ]
        order = sorted(range(len(every)), key=apart.__getitem__)[:count]
        found = [row.designation for row in pool.nearest(wanted, count)]
        assert found == [every[place].designation for place in order]
