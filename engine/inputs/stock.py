"""What stock and job alone bring into a frame: sizes, masses and lengths, at both mill ends."""

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from ...catalogue.grades.grades import Grade
from ...catalogue.grades.tolerances import MillRange, mill_range
from ...catalogue.tables.sections import Section
from ...rules.model import Lookup
from ..arrays import Floats
from ..jobs.job import Geometry
from ..jobs.job_table import JobTable, part_total
from .figures import StockFigures


def coating_mass(section: Section, coating: str, zinc: Lookup) -> float:
    """Return the mass of zinc in kg/m; 0 where the stock is not galvanised.

    ``zinc`` is the mass on one face by the wall, kg/m^2.
    """
    if coating != "galvanised":
        return 0.0
    return zinc.at(section.wall) * section.surface / 1000


@lru_cache(maxsize=65536)
def size_inputs(section: Section, grade: Grade, *, by_inches: bool = False) -> dict[str, float]:
    """Return the inputs that are sizes, mm; heavy ones as ``h.name``.

    ``by_inches`` takes the printed inches times 25.4 in place of the printed millimetres; the
    mill tolerance keeps its share of the size.
    """
    mill = mill_range(section, grade.product)
    thick = mill.thick_wall
    if by_inches:
        thick *= section.by_inches.wall / section.wall
        section = section.by_inches
    is_round = section.shape == "round"
    outside = section.height if is_round else math.nan
    swept = section.swept_diameter
    return {
        "round_size": outside,
        "h.round_size": outside * mill.size_ratio,
        "swept_size": swept,
        "h.swept_size": swept * mill.size_ratio,
        "nominal_wall": section.wall,
        "h.nominal_wall": thick,
        "inside_size": outside - 2 * section.wall,
    }


@lru_cache(maxsize=65536)
def _stock_inputs(
    section: Section, grade: Grade, coating: str, figures: StockFigures
) -> dict[str, float]:
    """Return inputs that depend on section, grade and coating only; heavy ones as ``h.name``."""
    mill: MillRange = mill_range(section, grade.product)
    area, polar = section.area, section.polar_moment
    bare = grade.density * area / 1e6
    is_round = section.shape == "round"
    shorter = min(section.height, section.width)
    corner = math.nan if is_round else (section.swept_diameter - shorter) / 2
    straightness = mill.straightness
    if math.isnan(straightness):
        straightness = figures.straightness
    return size_inputs(section, grade) | {
        "bare_mass": bare,
        "h.bare_mass": bare * mill.mass_ratio,
        "coating_mass": coating_mass(section, coating, figures.zinc_mass),
        "gyration_squared": polar / area,
        "h.gyration_squared": polar / area * mill.gyration_ratio,
        "thin_wall_size": mill.thin_wall,
        "crush_wall": section.wall,
        "h.crush_wall": mill.thin_wall,
        "mean_radius": (section.height - section.wall) / 2 if is_round else math.nan,
        "grip_radius": shorter / 2,
        "corner_size": corner,
        "h.corner_size": corner * mill.size_ratio,
        "yield_strength": grade.yield_strength,
        "elasticity": grade.elasticity,
        "eccentricity": 0.0,
        "h.eccentricity": eccentricity(section, grade, figures.eccentricity),
        "unsaid_width": 0.0,
        "h.unsaid_width": 1.0,
        "usual_bow_share": 0.0,
        "h.usual_bow_share": straightness,
        "straightness": straightness,
    }


def eccentricity(section: Section, grade: Grade, share: float) -> float:
    """Return how far the centre of mass lies off the axis by an eccentric wall, mm.

    Of rounds that may be seamless: the bore lies beside the outside by ``share`` of the wall, so
    the centre of mass lies share t Ri^2 / (Ro^2 - Ri^2) off (statics of a disc with a hole).
    """
    if section.shape != "round" or not grade.product.seamless:
        return 0.0
    outer = section.height / 2
    inner = outer - section.wall
    return share * section.wall * inner**2 / (outer**2 - inner**2)


def stock_columns(
    table: JobTable, figures: StockFigures
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Compute each distinct stock once and spread it over the rows."""
    inputs = [_stock_inputs(*stock, figures) for stock in table.stocks]
    given: dict[str, Floats] = {}
    heavy: dict[str, Floats] = {}
    for name in inputs[0] if inputs else ():
        column = np.array([item[name] for item in inputs], dtype=np.float64)[table.stock]
        if name.startswith("h."):
            heavy[name[2:]] = column
        else:
            given[name] = column
    return given, heavy


def job_columns(table: JobTable) -> dict[str, Floats]:
    """Return what a job itself states, one value a row: lengths in mm, masses in kg."""
    geometries = table.geometries

    def spread(values: Sequence[float]) -> Floats:
        return np.array(values, dtype=np.float64)[table.geometry]

    return {
        "length": spread([item.length for item in geometries]),
        "behind": spread([item.behind for item in geometries]),
        "bow_stated": table.bow,
        "off_axis_mass": table.off_axis_mass,
        "off_axis_distance": table.off_axis_distance,
        "off_axis_size": table.off_axis_size,
        "part_total": spread([part_total(item) for item in geometries]),
        "part_count": spread([sum(part.count for part in item.parts) for item in geometries]),
        "longest_part": spread([longest_part(item) for item in geometries]),
    }


def longest_part(geometry: Geometry) -> float:
    """Return the longest piece that comes free, NaN where no part or cut is known."""
    if not geometry.parts and not geometry.cuts:
        return math.nan
    pieces = [part.length for part in geometry.parts]
    ends = (geometry.front, *geometry.cuts)
    pieces += [outer - inner for outer, inner in pairwise(ends)]
    return max(pieces, default=math.nan)
