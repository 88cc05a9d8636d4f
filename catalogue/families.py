"""Sections in the order in which a range is read: by size, then by wall."""

from collections.abc import Callable
from typing import Final, Literal, NamedTuple

from .sections import Section, round_section
from .tables import SectionTables, schedule_name

Family = Literal["pipe", "tube", "chs", "shs", "rhs", "hss"]
"""Names of families."""


class Member(NamedTuple):
    """One section of a family: its size, what tells it from others of that size, itself."""

    size: str
    wall: str
    section: Section


def _pipe(tables: SectionTables) -> list[Member]:
    rows = [row for row in tables.pipes.values() if row.standard == "ASME B36.10M"]
    rows.sort(key=lambda row: (row.od_in, row.wall_in))
    return [Member(f"NPS {row.nps}", schedule_name(row.schedule), row.section()) for row in rows]


def _tube(tables: SectionTables) -> list[Member]:
    found: list[Member] = []
    for outside, wall in sorted(tables.metric_tubes):
        size, thick = f"{float(outside):g}", f"{float(wall):g}"
        section = round_section(
            f"tube {size} x {thick} mm", float(outside), float(wall), "by outside diameter and wall"
        )
        found.append(Member(f"tube {size} mm", f"{thick} mm", section))
    return found


def _shape(kind: str) -> Callable[[SectionTables], list[Member]]:
    def members(tables: SectionTables) -> list[Member]:
        found = [item for item in tables.cold_formed if item.designation.startswith(f"{kind} ")]
        found.sort(key=lambda item: (item.height, item.width, item.wall))
        return [
            Member(f"{item.designation.rsplit('x', 1)[0]} cf", f"{item.wall:g} mm", item)
            for item in found
        ]

    return members


def _hss(tables: SectionTables) -> list[Member]:
    found = sorted(tables.hss.values(), key=lambda item: (item.height, item.width, item.wall))
    found_members: list[Member] = []
    for item in found:
        size, _, wall = item.designation.rpartition("x")
        found_members.append(Member(size, wall, item))
    return found_members


FAMILIES: Final[dict[str, Callable[[SectionTables], list[Member]]]] = {
    "pipe": _pipe,
    "tube": _tube,
    "chs": _shape("CHS"),
    "shs": _shape("SHS"),
    "rhs": _shape("RHS"),
    "hss": _hss,
}
"""ASME pipe, metric tube, EN 10219-2 hollow sections, ASTM A500 hollow sections."""
