"""Chances that delivered stock is over a limit, for every row of a decision.

They rank and word; no rule reads them, so that none can lift what the heaviest piece asks for.
"""

from functools import lru_cache
from typing import Final, Literal

import numpy as np

from ...catalogue.grades.tolerances import mill_spread
from ...catalogue.tables.sections import Section
from ...rules.model import RuleSet
from ..arrays import Floats
from ..inputs.stock import coating_mass
from ..jobs.job_table import Stock
from ..measures.stock import fitting_inertia
from .decide import Decision
from .mill_chance import (
    LAWS,
    WALL,
    Law,
    Quantity,
    chance_over,
    inertia_per_length,
    mass_per_length,
)

Bound = Literal["rated", "absolute"]
BOUNDS: Final[tuple[Bound, ...]] = ("rated", "absolute")
MEASURES: Final = ("rotary_inertia", "stock_mass", "wall")
"""Measures whose limits a chance is told of."""


def column_name(measure: str, bound: Bound, law: Law) -> str:
    """Return the name of a column of chances."""
    return f"chance_{measure}_{bound}_{law}"


COLUMNS: Final = tuple(
    column_name(measure, bound, law) for measure in MEASURES for bound in BOUNDS for law in LAWS
)
"""All columns of chances, in their order."""


def no_chance(stock: Stock) -> str:
    """Say why no chance is worked out for a stock; empty where it is."""
    if stock.section.shape != "round":
        return "only rounds have a size and a wall that can be drawn together"
    if mill_spread(stock.section, stock.grade.product) is None:
        return f"{stock.grade.product.name} bounds neither the thick wall nor the mass"
    return ""


def chances(rule_set: RuleSet, decision: Decision) -> dict[str, Floats]:
    """Return the columns of chances, 0 to 1; NaN where there is no limit or none is worked out."""
    frame, rows = decision.frame, decision.frame.rows
    limits = {
        (measure, bound): _limits_per_length(decision, measure, bound)
        for measure in MEASURES
        for bound in BOUNDS
    }
    found = {name: np.full(rows, np.nan) for name in COLUMNS}
    order = np.argsort(frame.stock, kind="stable")
    ends = np.searchsorted(frame.stock[order], np.arange(len(frame.stocks) + 1))
    for number, stock in enumerate(frame.stocks):
        mine = order[ends[number] : ends[number + 1]]
        spread = mill_spread(stock.section, stock.grade.product)
        if spread is None or not mine.size:
            continue
        zinc = coating_mass(stock.section, stock.coating, rule_set.lookups["zinc_mass"])
        for measure, quantity in _quantities(stock.grade.density, zinc).items():
            for bound in BOUNDS:
                wanted, place = np.unique(limits[measure, bound][mine], return_inverse=True)
                for law in LAWS:
                    told = chance_over(spread, quantity, wanted, law)
                    found[column_name(measure, bound, law)][mine] = told[place]
    return found


@lru_cache(maxsize=4096)
def _quantities(density: float, zinc: float) -> dict[str, Quantity]:
    return {
        "rotary_inertia": inertia_per_length(density, zinc),
        "stock_mass": mass_per_length(density, zinc),
        "wall": WALL,
    }


def _limits_per_length(decision: Decision, measure: str, bound: Bound) -> Floats:
    """Return what is left of a limit for the stock alone, in the unit of its quantity.

    Mass in kg/m and inertia in kg mm^2/m, less what is fixed beside the axis; wall in mm, where a
    limit in inches is set against the inches that the wall is printed in.
    """
    scope, given = decision.scope, decision.frame.given
    name = f"limit.{measure}.{bound}"
    limit = scope.numbers[name]
    if measure == "wall":
        if name not in scope.in_inches:
            return limit
        printed = np.array([_inch_share(item.section) for item in decision.frame.stocks])
        return np.where(scope.in_inches[name], limit / printed[decision.frame.stock], limit)
    metres = given["length"] / 1e3
    mass, distance = given["off_axis_mass"], given["off_axis_distance"]
    if measure == "stock_mass":
        return (limit - mass) / metres
    own = fitting_inertia(mass, distance, given["off_axis_size"], given["swept_size"])
    return (limit - own) * 1e6 / metres


def _inch_share(section: Section) -> float:
    """Return the wall as printed in inches over the wall as printed in millimetres."""
    return section.by_inches.wall / section.wall
