"""Measures of the stock itself: mass, inertia, sizes, lengths, parts."""

import numpy as np

from ..arrays import Floats
from .registry import measure


@measure(
    title="mass per length",
    unit="kg/m",
    heavy="more",
    formula="m' = rho A + zinc; heavy: rho A (1 + mass tolerance) + zinc",
    source="EN 10220 / ASME B36.10M mass formula; density of the grade",
)
def linear_mass(bare_mass: Floats, coating_mass: Floats) -> Floats:
    """Mass of one metre, from the nominal wall."""
    return bare_mass + coating_mass


@measure(
    title="stock mass",
    unit="kg",
    heavy="more",
    formula="m = m' L + off-axis mass",
    source="definition",
)
def stock_mass(linear_mass: Floats, length: Floats, off_axis_mass: Floats) -> Floats:
    """Mass of the piece as loaded, with anything fixed to it."""
    return linear_mass * length / 1e3 + off_axis_mass


@measure(
    title="rotary inertia",
    unit="kg*m^2",
    heavy="more",
    formula=(
        "J = m' L (Iy + Iz) / A + m_off (e^2 + s^2 / 8), on the axis m_off (s^2 + swept^2) / 8; "
        "heavy: J (1 + mass tol.) (1 + size tol.)^2"
    ),
    source="mechanics: rho (Iy + Iz) L, never the torsion constant; a disc, or a ring on the axis",
)
def rotary_inertia(
    linear_mass: Floats,
    gyration_squared: Floats,
    length: Floats,
    off_axis_mass: Floats,
    off_axis_distance: Floats,
    off_axis_size: Floats,
    swept_size: Floats,
) -> Floats:
    """Polar mass moment of inertia of the whole piece about the axis it turns on."""
    own = linear_mass * length / 1e3 * gyration_squared / 1e6
    return own + fitting_inertia(off_axis_mass, off_axis_distance, off_axis_size, swept_size)


def fitting_inertia(mass: Floats, distance: Floats, size: Floats, swept: Floats) -> Floats:
    """Return the inertia of what is fixed to the stock about its axis, kg*m^2.

    A disc as wide as the fitting about its own centre; on the axis a ring around the stock.
    A width that is not said is left out.
    """
    wide = np.nan_to_num(size) ** 2
    wide = np.where((distance > 0) | (wide == 0), wide, wide + swept**2)
    return mass * (distance**2 + wide / 8) / 1e6


@measure(
    title="outside diameter",
    unit="mm",
    heavy="more",
    formula="D; heavy: D + size tolerance",
    source="section table; product standard",
)
def round_diameter(round_size: Floats) -> Floats:
    """Outside diameter of a round; it has no value for other shapes."""
    return round_size


@measure(
    title="swept diameter",
    unit="mm",
    heavy="more",
    formula="2 (hypot(H/2 - r, B/2 - r) + r), r the smallest corner radius permitted",
    source="geometry; EN 10219-2 corner radii; sharp corner where only a largest is stated",
)
def swept_diameter(swept_size: Floats) -> Floats:
    """Circle that the section sweeps as it turns; of a round, its diameter."""
    return swept_size


@measure(
    title="wall",
    unit="mm",
    heavy="more",
    formula="t; heavy: thick end of the mill tolerance",
    source="product standard",
)
def wall(nominal_wall: Floats) -> Floats:
    """Wall that the torch must pierce and cut."""
    return nominal_wall


@measure(
    title="thinnest wall",
    unit="mm",
    heavy="none",
    formula="t - wall tolerance",
    source="product standard",
)
def thin_wall(thin_wall_size: Floats) -> Floats:
    """Wall at the thin end of the mill tolerance, for stiffness and crushing."""
    return thin_wall_size


@measure(
    title="stock length",
    unit="mm",
    heavy="none",
    formula="L - length behind the chuck",
    source="given",
)
def stock_length(length: Floats, behind: Floats) -> Floats:
    """Length of the stock in front of the chuck face; all of it unless some passes through."""
    return length - behind


@measure(
    title="length behind the chuck",
    unit="mm",
    heavy="none",
    formula="length behind the chuck face",
    source="given",
)
def length_behind(behind: Floats) -> Floats:
    """Length that passes through the bore and turns behind the chuck."""
    return behind


@measure(
    title="bore needed",
    unit="mm",
    heavy="more",
    formula="swept diameter + bow; no value for stock that does not pass through",
    source="geometry; heavy: size tolerance and usual bow",
)
def bore_needed(swept_size: Floats, bow: Floats, behind: Floats) -> Floats:
    """Bore that the stock needs to pass through the chuck."""
    return np.where(behind > 0, swept_size + bow, np.nan)


@measure(
    title="inside diameter",
    unit="mm",
    heavy="none",
    formula="D - 2 t",
    source="section table",
)
def inside_diameter(inside_size: Floats) -> Floats:
    """Inside diameter of a round, where jaws may hold it from within."""
    return inside_size


@measure(
    title="usable length",
    unit="mm",
    heavy="none",
    formula="L - length behind - stub - trim",
    source="machine file",
)
def usable_length(length: Floats, behind: Floats, stub: Floats, trim: Floats) -> Floats:
    """Length that can become parts and kerfs."""
    return np.maximum(length - behind - stub - trim, 0.0)


@measure(
    title="length the parts need",
    unit="mm",
    heavy="none",
    formula="sum of parts + number of parts x kerf",
    source="machine file",
)
def needed_length(part_total: Floats, part_count: Floats, kerf: Floats) -> Floats:
    """Length that the parts and the cuts behind them take; no value without parts."""
    return part_total + part_count * kerf


@measure(
    title="heaviest part",
    unit="kg",
    heavy="more",
    formula="m' x longest part",
    source="definition",
)
def part_mass(linear_mass: Floats, longest_part: Floats) -> Floats:
    """Mass of the heaviest piece that comes free; no value without parts or cuts."""
    return linear_mass * longest_part / 1e3
