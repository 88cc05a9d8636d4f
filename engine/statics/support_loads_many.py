"""How stock of many lengths that is not cut is carried: all lengths at once."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...catalogue.machines.model import UNSTATED, MachineModel
from ..arrays import GRAVITY, Bools, Floats
from ..inputs.figures import Figures
from ..jobs.job import Geometry
from ..tolerance import FULL
from .lowered_rests import turning_columns
from .seating import seated
from .stocks import Stocks, Usable
from .support_loads import HOPELESS, Carrier
from .support_plan_many import alone, plan_many


class CarriedMany(NamedTuple):
    """Stock of many lengths that is not cut: rows that are settled, and what rules read of them.

    Attributes:
        is_settled: of all rows; the others below are of those that are.
        stations, which: distinct stations, and which ones each row has.
        seat: how a round sits on these supports.
    """

    is_settled: Bools
    columns: dict[str, Floats]
    stations: tuple[tuple[float, ...], ...]
    which: NDArray[np.intp]
    seat: str


def carry_many(
    machine: MachineModel, usable: Usable, figures: Figures, length: Floats, stocks: Stocks
) -> CarriedMany:
    """Plan stock of many lengths that is not cut; what a :class:`Carrier` would find of each."""
    best = usable.best_seated()
    bed = Carrier(machine, Geometry(1.0), usable, figures).bed(best, ())
    limits = machine.limit("stock_length").absolute, machine.limit("stock_mass").absolute
    mass = stocks.weight * length / GRAVITY
    is_worth = ~((length > limits[0] * FULL) | (mass > limits[1] * HOPELESS))
    if best.supports:
        plan = plan_many(bed, length, stocks.weight, stocks.stiffness)
    else:
        # Nothing can stand under it, whatever it weighs: the chuck alone is what there is.
        plan, is_worth = alone(bed, length), np.ones(len(length), dtype=np.bool_)
    settled = np.flatnonzero(plan.is_settled & is_worth)
    is_settled = np.zeros(len(length), dtype=np.bool_)
    is_settled[settled] = True
    if not settled.size:
        return CarriedMany(is_settled, {}, (), settled, "good")
    some, count = stocks.take(settled), plan.supports[settled]
    unit = {name: values[settled] for name, values in plan.demands.items()}
    weight, rows = some.weight, len(settled)
    reaction, share = unit["support_reaction"], unit["support_share"]
    top = best.supports[0].reaction if best.supports else UNSTATED
    with np.errstate(divide="ignore", invalid="ignore"):
        rated = np.where(share > 0, reaction / share, top.rated)
        at_most = unit["absolute_share"]
        absolute = np.where(at_most > 0, reaction / at_most, top.absolute)
    sizes, back = np.unique(some.outside, return_inverse=True)
    # What has no support under it has no centre height either.
    centre = np.array(
        [
            seated(item, size, figures.seat_angles).centre
            for size in sizes.tolist()
            for item in best.supports[:1]
        ]
        or [math.nan] * len(sizes)
    )[back]
    centre = np.where(count > 0, centre, np.nan)
    distinct, which = np.unique(
        np.nan_to_num(plan.stations[settled], nan=-1.0), axis=0, return_inverse=True
    )
    every: list[list[float]] = distinct.tolist()
    columns = {
        "carried_span": unit["span"],
        "carried_overhang": unit["overhang"],
        "carried_sag": unit["sag"] * (weight / some.stiffness),
        "carried_chuck_reaction": weight * (unit["chuck_reaction"] + 0.0),
        "carried_chuck_moment": weight * unit["chuck_moment"] / 1e3,
        "carried_reaction": weight * reaction,
        "carried_lifted": np.zeros(rows),
        "carried_by_jaws": np.where(count == 0, weight * length[settled] ** 2 / 2e3, 0.0),
        "carried_alone": (count == 0).astype(np.float64),
        "stations_blocked": np.zeros(rows),
        "stations_spare": len(best.supports) - count.astype(np.float64),
        "parts_unheld": np.zeros(rows),
        "parts_tabbed": np.zeros(rows),
        "worst_tab_stress": np.full(rows, np.nan),
        "tab_strength": some.tubes.yield_strength / figures.tab_safety,
        "reaction_rated": rated,
        "reaction_absolute": absolute,
        "centre_low": centre,
        "centre_high": centre,
    }
    seat = best.seats[0] if best.seats[:1] in (("shallow",), ("wedged",)) else "good"
    stations = tuple(tuple(at for at in row if at >= 0) for row in every)
    columns |= turning_columns(
        stations, [best] * len(stations), which.ravel(), length[settled], (), 0.0, some
    )
    return CarriedMany(is_settled, columns, stations, which.ravel(), seat)
