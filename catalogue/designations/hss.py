"""HSS of ASTM A500, by its sizes in inches or millimetres."""

from fractions import Fraction

from ..tables.reader import INCH
from ..tables.sections import Section
from .asked import BOXES, Asked


def hss_section(asked: Asked) -> Section:
    """Read an HSS.

    Raises:
        InputError: ``section-unknown``.
    """
    written, sizes = asked.written, asked.written.sizes
    if len(sizes) not in (2, 3):
        raise asked.unknown("HSS has two or three sizes", ["HSS 6x4x1/4", "HSS 6.625x0.280"])
    is_metric = max(size.value for size in sizes) > 36 or any(s.unit == "mm" for s in sizes)
    values = [size.mm("mm" if is_metric else "in") / INCH for size in sizes]
    is_round = len(values) == 2 and written.form != "square"
    height, width, wall = values[0], values[-2], values[-1]
    wanted = (max(height, width), min(height, width), wall)
    exact = asked.tables.hss.get((*wanted, is_round))
    if exact is not None and not is_metric:
        return exact.section
    slack = Fraction(3, 100) if is_metric else Fraction(6, 10_000)
    pool = asked.tables.pool("hss", shapes=("round",) if is_round else BOXES)
    near = pool.nearest([float(size * INCH) for size in wanted], 3)
    if near and all(
        abs(Fraction(a) / INCH - b) <= slack for a, b in zip(near[0].sizes, wanted, strict=True)
    ):
        section = near[0].section
        note = f"{written.text!r} is {section.designation}" if is_metric else ""
        return section._replace(note=note)
    raise asked.unknown(
        f"{written.text!r} is not in the ASTM A500 table", [row.designation for row in near]
    )
