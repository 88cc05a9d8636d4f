"""Cross-sections: dimensions are data, properties are computed in closed form.

Lengths in mm, areas in mm^2, second moments in mm^4. Rectangles have their own outer and
inner corner radii, because the tables of EN 10210-2 and EN 10219-2 and the nominal weights
of ASTM A500 sections only come out with them.
"""

import math
from fractions import Fraction
from typing import Final, Literal, NamedTuple

from ..errors import InputError

Shape = Literal["round", "square", "rectangular"]

INCH: Final = 25.4
"""mm, exact by definition (1959)."""

# One rounded corner, as a share of the sharp one: area it lacks, distance of that area's
# centroid from the edge, and its own second moment (EN 10219-2 Annex B; follows from
# integrating the quarter circle).
_LACK = 1 - math.pi / 4
_CENTROID = (10 - 3 * math.pi) / (12 - 3 * math.pi)
_OWN = 1 / 3 - math.pi / 16 - 1 / (3 * (12 - 3 * math.pi))


class Section(NamedTuple):
    """One cross-section of a pipe or tube.

    Attributes:
        designation: as the trade writes it, e.g. ``NPS 6 SCH 40``.
        shape: ``round``, ``square`` or ``rectangular``.
        height, width: outside dimensions; both are the outside diameter of a round.
        wall: nominal wall.
        outer_radius, inner_radius: corner radii that give the nominal mass (0 for rounds).
        sweep_radius: the smallest outside corner radius the standard permits, so that the
            swept circle is never understated; 0 means a sharp corner (and rounds).
        standard: the dimensional standard, or a plain description.
        note: what was taken for granted when the text was read; empty if nothing.
        inches: height, width and wall as printed, or typed, in inches; None for a section that
            its standard prints in millimetres only. It is a column of its own, not a conversion:
            NPS 18 is printed 457 mm and 18.000 in, which is 457.2 mm.
    """

    designation: str
    shape: Shape
    height: float
    width: float
    wall: float
    outer_radius: float
    inner_radius: float
    sweep_radius: float
    standard: str
    note: str = ""
    inches: tuple[float, float, float] | None = None

    @property
    def sizes(self) -> tuple[float, float, float]:
        """Height, width and wall in mm."""
        return self.height, self.width, self.wall

    @property
    def by_inches(self) -> "Section":
        """The section whose millimetres are the printed inches times 25.4.

        It is compared with limits that were written in inches; masses stay those of the
        millimetres. Itself where no inches are printed.
        """
        if self.inches is None:
            return self
        height, width, wall = (size * INCH for size in self.inches)
        return self._replace(height=height, width=width, wall=wall)

    def printed(self, system: Literal["si", "us"]) -> str:
        """Return outside and wall as the standard prints them in the unit asked for.

        ``12.75 in x 0.5 in``; ``6 in x 4 in x 0.1875 in``; ``323.8 mm x 12.7 mm``. A size that
        is not printed in that unit is converted: to 0.001 in or 0.01 mm.
        """
        unit = "mm" if system == "si" else "in"
        texts = [f"{text} {unit}" for text in self.printed_sizes(system)]
        return " x ".join(texts)

    def printed_sizes(self, system: Literal["si", "us"]) -> tuple[str, ...]:
        """Return the numbers of :meth:`printed`: outside diameter, or height and width; wall."""
        if system == "si":
            texts = [_trimmed(size, 2) for size in self.sizes]
        elif self.inches is not None:
            texts = [_trimmed(size, 4) for size in self.inches]
        else:
            texts = [_trimmed(size / INCH, 3) for size in self.sizes]
        return (texts[0], texts[2]) if self.shape == "round" else tuple(texts)

    @property
    def outside_diameter(self) -> float | None:
        """Outside diameter of a round, None for other shapes."""
        return self.height if self.shape == "round" else None

    @property
    def swept_diameter(self) -> float:
        """Diameter of the circle the section sweeps when it turns."""
        if self.shape == "round":
            return self.height
        radius = self.sweep_radius
        half = math.hypot(self.height / 2 - radius, self.width / 2 - radius)
        return 2 * (half + radius)

    @property
    def area(self) -> float:
        """Area of the wall."""
        return self._area(self.wall)

    @property
    def second_moments(self) -> tuple[float, float]:
        """Second moments about the axis across the height and the one across the width."""
        if self.shape == "round":
            moment = math.pi / 64 * (self.height**4 - (self.height - 2 * self.wall) ** 4)
            return moment, moment
        inner_height, inner_width = self.height - 2 * self.wall, self.width - 2 * self.wall
        outer, inner = self.outer_radius, self.inner_radius
        return (
            _second_moment(self.height, self.width, outer)
            - _second_moment(inner_height, inner_width, inner),
            _second_moment(self.width, self.height, outer)
            - _second_moment(inner_width, inner_height, inner),
        )

    @property
    def polar_moment(self) -> float:
        """Iy + Iz: what resists turning. Never the torsion constant."""
        return sum(self.second_moments)

    @property
    def surface(self) -> float:
        """Outside and inside girth together: area to be coated per unit length."""
        if self.shape == "round":
            return math.pi * (2 * self.height - 2 * self.wall)
        outer, inner = self.outer_radius, self.inner_radius
        sides = 4 * (self.height + self.width - 2 * self.wall)
        return sides - (8 - 2 * math.pi) * (outer + inner)

    def wall_for_mass(self, ratio: float) -> float:
        """Wall at which a round has ``ratio`` times its nominal area, size unchanged.

        For other shapes the wall is scaled, which is exact enough for thin corners and on
        the thick side.
        """
        if self.shape != "round":
            return self.wall * ratio
        free = self.height**2 - 4 * ratio * self.wall * (self.height - self.wall)
        return (self.height - math.sqrt(max(free, 0.0))) / 2

    def _area(self, wall: float) -> float:
        if self.shape == "round":
            return math.pi * wall * (self.height - wall)
        return _rounded_area(self.height, self.width, self.outer_radius) - _rounded_area(
            self.height - 2 * wall, self.width - 2 * wall, self.inner_radius
        )


def inches_of(section: Section) -> dict[str, dict[str, float]]:
    """Return ``inches``: height, width and wall as printed, for JSON; nothing where not printed."""
    if section.inches is None:
        return {}
    return {"inches": dict(zip(("height", "width", "wall"), section.inches, strict=True))}


def _trimmed(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".")


def with_inches(section: Section, *sizes: Fraction) -> Section:
    """Return a section with the inches it is printed in: outside, or height and width; wall.

    Of two sides the larger is the height, as in the millimetres.
    """
    *sides, wall = (float(size) for size in sizes)
    return section._replace(inches=(max(sides), min(sides), wall))


def _rounded_area(height: float, width: float, radius: float) -> float:
    return height * width - 4 * _LACK * radius**2


def _second_moment(height: float, width: float, radius: float) -> float:
    """Second moment of a rounded rectangle about the axis across its height."""
    lever = height / 2 - _CENTROID * radius
    return width * height**3 / 12 - 4 * (_OWN * radius**4 + _LACK * radius**2 * lever**2)


def round_section(designation: str, diameter: float, wall: float, standard: str) -> Section:
    """Build a round section.

    Raises:
        InputError: ``section-impossible``.
    """
    _check(designation, diameter, diameter, wall)
    return Section(designation, "round", diameter, diameter, wall, 0.0, 0.0, 0.0, standard)


def hollow_section(
    designation: str,
    height: float,
    width: float,
    wall: float,
    standard: str,
    *,
    corners: "Corners",
) -> Section:
    """Build a square or rectangular section; ``height`` is the longer side.

    Raises:
        InputError: ``section-impossible``.
    """
    height, width = max(height, width), min(height, width)
    _check(designation, height, width, wall)
    outer = min(corners.outer(wall), width / 2)
    inner = min(corners.inner(wall), width / 2 - wall)
    sweep = min(corners.smallest(wall), width / 2)
    shape: Shape = "square" if height == width else "rectangular"
    return Section(designation, shape, height, width, wall, outer, inner, sweep, standard)


def _check(designation: str, height: float, width: float, wall: float) -> None:
    smallest = min(height, width)
    if not (wall > 0 and smallest > 0 and height <= 3000):
        raise InputError(
            "section-impossible",
            f"{designation}: sizes must be above zero and at most 3 m",
            remedy="Check the numbers and their units.",
        )
    if 2 * wall >= smallest:
        raise InputError(
            "section-impossible",
            f"{designation}: a wall of {wall:g} mm does not fit in {smallest:g} mm outside",
            remedy="The wall must be below half of the outside; check units and order.",
        )


class Corners(NamedTuple):
    """Corner radii as multiples of the wall, by wall thickness.

    Attributes:
        outer_inner: pairs (outer, inner) for wall up to 6 mm, up to 10 mm, and above.
        smallest_outer: smallest outer radius the standard permits in the same bands; zeros
            where it states only a largest one.
    """

    outer_inner: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    smallest_outer: tuple[float, float, float]

    def outer(self, wall: float) -> float:
        """Outer radius that gives the tabulated mass."""
        return self.outer_inner[_band(wall)][0] * wall

    def inner(self, wall: float) -> float:
        """Inner radius that gives the tabulated mass."""
        return self.outer_inner[_band(wall)][1] * wall

    def smallest(self, wall: float) -> float:
        """Smallest outer radius permitted."""
        return self.smallest_outer[_band(wall)] * wall


def _band(wall: float) -> int:
    return 0 if wall <= 6 else 1 if wall <= 10 else 2


# EN 10219-2: Annex B radii for the tabulated values, 6.4 / Table 3 for the permitted range.
COLD_FORMED = Corners(((2.0, 1.0), (2.5, 1.5), (3.0, 2.0)), (1.6, 2.0, 2.4))
# EN 10210-2: Annex B; the permitted outer radius has only an upper bound (3T).
HOT_FINISHED = Corners(((1.5, 1.0), (1.5, 1.0), (1.5, 1.0)), (0.0, 0.0, 0.0))
# ASTM A500 states only a largest outer radius (3t); nominal weights come out with 2t and t.
A500 = Corners(((2.0, 1.0), (2.0, 1.0), (2.0, 1.0)), (0.0, 0.0, 0.0))
