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
from ..tolerance import FULL, TOLERANCE
from .seating import seated

STEP: Final = 1.0
"""mm from one diameter that is tried to the next."""
_ANY_SEAT: Final = SeatAngles(0.0, math.pi)
"""Wedged and shallow seats are for the rules to judge: here it counts that there is one."""


def contradictions(machine: MachineModel) -> list[tuple[Path, str]]:
    """Return keys and what is wrong with them, with the numbers."""
    return [*_head(machine), *_seats(machine), *_turning(machine), *_jaws(machine)]


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


def _jaws(machine: MachineModel) -> list[tuple[Path, str]]:
    """Find a least jaw force above the full one."""
    lowest, full = machine.chuck.lowest_jaw_force, machine.chuck.jaw_force
    # False too where it is not stated.
    if not lowest > full * FULL:
        return []
    what = f"{lowest:.5g} N is above chuck.jaw_force, {full:.5g} N: nothing could be set."
    return [(("chuck", "lowest_jaw_force"), what)]


def _turning(machine: MachineModel) -> list[tuple[Path, str]]:
    """Find rests that state what does not go with what they do while a section turns."""
    found: list[tuple[Path, str]] = []
    for number, item in enumerate(machine.supports):
        key = ("supports", number)
        does = _DOES[item.turns]
        if item.turns is not None and set(item.carries) <= {"round"}:
            what = f"{item.turns!r} is for rests that carry squares or rectangles: a round turns "
            found.append(((*key, "turns"), f"{what}on its support, which carries it all the time."))
        if math.isfinite(item.lowered_by) and item.turns != "lowered":
            what = f"{_mm(item.lowered_by)}, but this rest {does}. Remove it, or write turns = "
            found.append(((*key, "lowered_by"), f"{what}'lowered'."))
        if math.isfinite(item.follow_force) and item.turns != "follows":
            what = f"{item.follow_force:.5g} N, but this rest {does}. Remove it, or write turns = "
            found.append(((*key, "follow_force"), f"{what}'follows'."))
        if item.turns == "follows" and item.follow_force > item.reaction.absolute * FULL:
            found.append(((*key, "follow_force"), (
                f"{item.follow_force:.5g} N is more than reaction.absolute, "
                f"{item.reaction.absolute:.5g} N: it would push harder than it may be loaded."
            )))  # fmt: skip
        found += _drop(machine, item, key)
    return found


_DOES: Final = {
    None: "does not say what it does while a section turns",
    "with-section": "turns with the section",
    "follows": "follows the section",
    "lowered": "is lowered",
}


def _drop(machine: MachineModel, rest: Support, key: Path) -> list[tuple[Path, str]]:
    """Find a drop that the corners of the largest square allowed do not clear.

    A square with sharp corners that sweeps D comes D / 2 - D / (2 sqrt 2) lower on its corner; a
    rectangle of the same circle lower still.
    """
    swept = machine.limit("swept_diameter").absolute
    corner = swept / 2 * (1 - math.sqrt(0.5))
    if rest.turns != "lowered" or not corner > rest.lowered_by * FULL:
        return []
    what = (
        f"{_mm(rest.lowered_by)} does not clear limits.swept_diameter.absolute, {_mm(swept)}: a "
        f"square that sweeps it comes {_mm(corner)} lower on its corner than on its flat."
    )
    return [((*key, "lowered_by"), what)]


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
