"""What a machine file states that cannot be true together, though every key of it is valid.

Machines that are known already are not refused for it: their answers stand. Whoever writes or
checks a file is told.
"""

import math
from itertools import pairwise
from typing import Final

from ...catalogue.files.toml_lines import Path
from ...catalogue.machines.model import MachineModel, Support
from ..inputs.figures import SeatAngles
from ..tolerance import TOLERANCE
from .seating import seated

STEP: Final = 1.0
"""mm from one diameter that is tried to the next."""
_ANY_SEAT: Final = SeatAngles(0.0, math.pi)
"""Wedged and shallow seats are for the rules to judge: here it counts that there is one."""


def contradictions(machine: MachineModel) -> list[tuple[Path, str]]:
    """Return keys and what is wrong with them, with the numbers."""
    return [*_head(machine), *_seats(machine)]


def _head(machine: MachineModel) -> list[tuple[Path, str]]:
    """Find rounds that are allowed and do not pass under the head."""
    largest = machine.limit("round_diameter").absolute
    clear = machine.limit("swept_diameter").absolute
    # False too where one of them is not stated.
    if not largest > clear * (1 + TOLERANCE):
        return []
    what = (
        f"{_mm(largest)} is beyond limits.swept_diameter.absolute, {_mm(clear)}: a round sweeps "
        "its own diameter, and more with a bow. Lower this one, or raise the other if the "
        "head clears."
    )
    return [(("limits", "round_diameter", "absolute"), what)]


def _seats(machine: MachineModel) -> list[tuple[Path, str]]:
    """Find diameters within the limits that none of the supports can seat."""
    limit = machine.limit("round_diameter")
    supports = [item for item in machine.supports if "round" in item.carries]
    least = limit.minimum if math.isfinite(limit.minimum) else STEP
    if not supports or not limit.absolute >= least:
        return []
    sizes = _sizes(supports, least, limit.absolute)
    is_bad = [not any(_seats_at(item, size, machine) for item in supports) for size in sizes]
    found: list[tuple[Path, str]] = []
    for first, last in _runs(is_bad):
        end = "minimum" if first == 0 else "absolute" if last == len(sizes) - 1 else ""
        key = ("limits", "round_diameter", end) if end else ("limits", "round_diameter")
        bed = machine.bed
        found.append((key, (
            f"no support seats a round of {_mm(sizes[first])} to {_mm(sizes[last])}: it falls "
            "through, does not go in, or its centre comes outside bed.centre_height, "
            f"{_mm(bed.lowest_centre)} to {_mm(bed.highest_centre)}."
        )))  # fmt: skip
    return found


def _sizes(supports: list[Support], least: float, largest: float) -> list[float]:
    """Return diameters in steps, and those at which a round falls through or goes in no more."""
    edges = [item.ring_bore for item in supports]
    edges += [item.roller_spacing - 2 * item.roller_radius for item in supports]
    steps = [least + number * STEP for number in range(math.ceil((largest - least) / STEP))]
    return sorted({*steps, largest, *(edge for edge in edges if least < edge < largest)})


def _seats_at(support: Support, size: float, machine: MachineModel) -> bool:
    seat, bed = seated(support, size, _ANY_SEAT), machine.bed
    if not seat.is_usable:
        return False
    # A rest without rollers, V or ring has no centre height of its own.
    within = bed.lowest_centre - TOLERANCE * bed.lowest_centre, bed.highest_centre * (1 + TOLERANCE)
    return math.isnan(seat.centre) or within[0] <= seat.centre <= within[1]


def _runs(flags: list[bool]) -> list[tuple[int, int]]:
    """Return first and last place of every run of true."""
    edges = [number for number, (a, b) in enumerate(pairwise([False, *flags, False])) if a != b]
    return [(start, end - 1) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def _mm(value: float) -> str:
    return f"{value:.5g} mm"
