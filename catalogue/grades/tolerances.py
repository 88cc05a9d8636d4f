"""Mill tolerances of product standards: how far a delivered piece may be off its nominal size."""

import math
from typing import Any, NamedTuple

from ..files.problems import Problems
from ..files.schema import Hole
from ..files.toml_lines import Path
from ..tables.sections import Section
from .schema import (
    BandTable,
    Deviation,
    ProductTable,
    ToleranceFile,
)


class Amount(NamedTuple):
    """A permitted deviation: a share of the size or a length, with bounds on the share."""

    share: float
    length: float
    at_least: float
    at_most: float

    def of(self, size: float) -> float:
        """Return the deviation in mm for a nominal ``size`` in mm."""
        if not self.share:
            return self.length
        return min(max(self.share * size, self.at_least), self.at_most)


class Band(NamedTuple):
    """One band of a tolerance: up to which size it goes, and what it permits."""

    outside_up_to: float
    wall_up_to: float
    ratio_up_to: float
    plus: Amount | None
    minus: Amount

    def covers(self, outside: float, wall: float) -> bool:
        """Say whether a section falls in this band."""
        return (
            outside <= self.outside_up_to + 1e-6
            and wall <= self.wall_up_to + 1e-6
            and wall / outside <= self.ratio_up_to + 1e-9
        )


class Product(NamedTuple):
    """A product standard: how far a delivered piece may be off its nominal size."""

    name: str
    source: str
    status: str
    size: tuple[Band, ...]
    size_shaped: tuple[Band, ...]
    wall: tuple[Band, ...]
    wall_shaped: tuple[Band, ...]
    mass_plus: float | None
    straightness: float | None
    mass_minus: float | None = None
    straightness_shaped: float | None = None
    seamless: bool = False

    def straight(self, shape: str) -> float | None:
        """Return the greatest bow over length of this shape; None where none is named."""
        if shape == "round" or self.straightness_shaped is None:
            return self.straightness
        return self.straightness_shaped


class MillRange(NamedTuple):
    """How far one section of one grade may be off, as ratios to nominal and as walls in mm.

    Attributes:
        size_ratio: greatest outside size / nominal.
        least_size_ratio: smallest outside size / nominal.
        mass_ratio: greatest mass per length / nominal.
        gyration_ratio: greatest square of the polar radius of gyration / nominal.
        thin_wall, thick_wall: wall at the ends of its range.
        straightness: greatest bow / length, NaN where the standard names none.
    """

    size_ratio: float
    least_size_ratio: float
    mass_ratio: float
    gyration_ratio: float
    thin_wall: float
    thick_wall: float
    straightness: float


def mill_range(section: Section, product: Product) -> MillRange:
    """Return the mill range of ``section`` made to ``product``.

    Where the standard tolerates mass, the heavy end is that mass spread over the largest
    size: inertia grows with mass and with size squared. Where it does not, the heavy end has
    the thick wall; there, mass follows size and wall.
    """
    outside, wall = section.height, section.wall
    shaped = section.shape != "round" and product.size_shaped
    size = _band(product.size_shaped if shaped else product.size, outside, wall)
    is_box = section.shape != "round" and product.wall_shaped
    thickness = _band(product.wall_shaped if is_box else product.wall, outside, wall)
    plus = size.plus.of(outside) if size.plus else 0.0
    size_ratio = 1 + plus / outside
    thin = wall - thickness.minus.of(wall)
    if product.mass_plus is not None:
        mass_ratio = 1 + product.mass_plus
        thick = section.wall_for_mass(mass_ratio)
        if thickness.plus is not None:
            thick = min(thick, wall + thickness.plus.of(wall))
    else:
        thick = wall + (thickness.plus.of(wall) if thickness.plus else 0.0)
        thick_ratio = thick / wall
        grown = thick * (outside * size_ratio - thick) / (wall * (outside - wall))
        # For other shapes the girth grows with size and the area with wall: no less than that.
        mass_ratio = grown if section.shape == "round" else thick_ratio * size_ratio
    straightness = product.straight(section.shape)
    return MillRange(
        size_ratio=size_ratio,
        least_size_ratio=1 - size.minus.of(outside) / outside,
        mass_ratio=mass_ratio,
        gyration_ratio=size_ratio**2,
        thin_wall=thin,
        thick_wall=max(thick, wall),
        straightness=math.nan if straightness is None else straightness,
    )


class MillSpread(NamedTuple):
    """Between what a round of one grade may be delivered.

    Attributes:
        outside: smallest and largest outside diameter, mm.
        wall: thinnest and thickest wall, mm, whatever the mass.
        area: least and greatest wall (outside - wall), mm^2, which mass goes with; 0 and infinite
            where the standard does not tolerate mass.
    """

    outside: tuple[float, float]
    wall: tuple[float, float]
    area: tuple[float, float]


def mill_spread(section: Section, product: Product) -> MillSpread | None:
    """Return between what a round made to ``product`` may be delivered.

    A standard that names no thick wall leaves it to the mass: the wall then lies as far above
    nominal as it may lie below, and what is too heavy is not delivered. None for a section that is
    no round, and where the standard bounds neither the thick wall nor the mass.
    """
    outside, wall = section.height, section.wall
    size, thickness = _band(product.size, outside, wall), _band(product.wall, outside, wall)
    if section.shape != "round" or (thickness.plus is None and product.mass_plus is None):
        return None
    nominal = wall * (outside - wall)
    minus = 1.0 if product.mass_minus is None else product.mass_minus
    plus = math.inf if product.mass_plus is None else product.mass_plus
    return MillSpread(
        (outside - size.minus.of(outside), outside + (size.plus.of(outside) if size.plus else 0.0)),
        (wall - thickness.minus.of(wall), wall + (thickness.plus or thickness.minus).of(wall)),
        (nominal * (1 - minus), nominal * (1 + plus)),
    )


def _band(bands: tuple[Band, ...], outside: float, wall: float) -> Band:
    return next(band for band in bands if band.covers(outside, wall))


def read_products(data: dict[str, Any], problems: Problems) -> dict[str, Product]:
    """Read the data of ``tolerances.toml``; what is wrong is noted."""
    file = problems.read(ToleranceFile, data)
    return {name: _product(name, table, problems) for name, table in file.products.items()}


def _product(name: str, table: ProductTable, problems: Problems) -> Product:
    def bands(
        key: str, rows: tuple[BandTable, ...], *, may_be_empty: bool = False
    ) -> tuple[Band, ...]:
        return _bands(("products", name, key), rows, problems, may_be_empty=may_be_empty)

    return Product(
        name=name,
        source=table.source,
        status=table.status,
        size=bands("size", table.size),
        size_shaped=bands("size_shaped", table.size_shaped, may_be_empty=True),
        wall=bands("wall", table.wall),
        wall_shaped=bands("wall_shaped", table.wall_shaped, may_be_empty=True),
        mass_plus=None if table.mass is None else table.mass.plus,
        straightness=table.straightness,
        mass_minus=None if table.mass is None else table.mass.minus,
        straightness_shaped=table.straightness_shaped,
        seamless=table.seamless,
    )


def _bands(
    path: Path, rows: tuple[BandTable, ...], problems: Problems, *, may_be_empty: bool
) -> tuple[Band, ...]:
    bands = tuple(
        Band(
            outside_up_to=_or_any(row.outside_up_to),
            wall_up_to=_or_any(row.wall_up_to),
            ratio_up_to=_or_any(row.ratio_up_to),
            plus=None if row.plus is None else _amount(row, row.plus),
            minus=_amount(row, row.minus),
        )
        for row in rows
    )
    is_readable = rows and not any(isinstance(value, Hole) for _, value in rows[-1])
    if isinstance(rows, Hole) or (may_be_empty and not bands) or (bands and not is_readable):
        return bands
    if not bands or not bands[-1].covers(1e9, 1e9 / 2):
        problems.note(path, "the last band must cover every size: give it no *_up_to.")
    return bands


def _or_any(bound: float | None) -> float:
    return math.inf if bound is None else bound


def _amount(row: BandTable, found: Deviation) -> Amount:
    at_least = 0.0 if row.at_least is None else row.at_least
    return Amount(found.share, found.length, at_least, _or_any(row.at_most))
