"""CHS, SHS and RHS of EN 10210-2 and EN 10219-2."""

from ..errors import InputError
from ..tables.sections import Section
from .asked import BOXES, Asked, plain_name


def en_section(asked: Asked, family: str) -> Section:
    """Read a CHS, SHS or RHS.

    Raises:
        InputError: ``section-unknown``.
    """
    written, sizes = asked.written, asked.written.sizes
    is_square = family == "shs" or (family == "rhs" and len(sizes) == 2)
    if (family == "chs" and len(sizes) != 2) or len(sizes) not in (2, 3):
        raise asked.unknown(
            f"{family.upper()} has another number of sizes",
            ["CHS 168.3x8", "SHS 100x5", "RHS 150x100x6"],
        )
    values = [float(size.mm("mm")) for size in sizes]
    wanted = (values[0], values[0] if is_square or family == "chs" else values[1], values[-1])
    if is_square and len(sizes) == 3 and values[0] != values[1]:
        raise asked.unknown(f"{written.text!r} is not square", [f"RHS {written.text[3:]}"])
    return from_en(asked, wanted, family)


def from_en(asked: Asked, wanted: tuple[float, float, float], family: str) -> Section:
    """Find a metric hollow section; of hot and cold the more demanding one is taken.

    Args:
        asked: says the finish, where one was typed.
        wanted: height, width and wall in mm; of a round the outside twice.
        family: ``chs``, ``shs`` or ``rhs``.

    Raises:
        InputError: ``section-unknown``.
    """
    is_round, finish = family == "chs", asked.written.finish
    found = [
        row.section
        for row in asked.tables.metric(*wanted, is_round=is_round)
        if not finish or row.form.finish == finish
    ]
    if not found:
        raise _unknown_en(asked, wanted, family)
    if len(found) == 1:
        return found[0]
    more = "of the heavier tolerance" if is_round else "the heavier and wider sweeping"
    note = f"hot finished (EN 10210-2) was taken, {more}; add 'cf' for cold formed (EN 10219-2)"
    return found[0]._replace(note=note)


def _unknown_en(asked: Asked, wanted: tuple[float, float, float], family: str) -> InputError:
    shapes = {"chs": ("round",), "shs": ("square",)}.get(family, BOXES)
    finish = asked.written.finish
    height, width, wall = max(wanted[:2]), min(wanted[:2]), wanted[2]
    pool = asked.tables.pool("hollow", "round", shapes=shapes, finish=finish)
    names = [row.designation for row in pool.nearest((height, width, wall), 6)]
    if not finish:
        names = [plain_name(name) for name in names]
    sides = f"{height:g}" if family == "chs" else f"{height:g} x {width:g}"
    own = [f"tube {sides} x {wall:g} mm"] if 0 < 2 * wall < width else []
    return asked.unknown(
        f"{asked.written.text!r} is not in the EN tables",
        [*list(dict.fromkeys(names))[:3], *own],
    )
