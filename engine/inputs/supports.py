"""What carries the stock: supports planned or judged for some rows, and put into their frame."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from ...catalogue.machines.model import MachineModel
from ...rules.model import RuleSet
from ..arrays import Codes, Floats
from ..jobs.job_table import Index, JobTable
from ..statics.lowered_rests import NOMINAL, TURNING
from ..statics.point_load import reach
from ..statics.stocks import (
    Keyed,
    Stocks,
    Usable,
    dealt,
    stock_numbers,
    stocks_of,
    usable_supports,
)
from ..statics.support_loads import BY_WEIGHT, UNTROUBLED, Carrier
from ..statics.support_loads_many import carry_many
from .figures import Figures, figures_of
from .frame import Frame
from .stock import coating_mass
from .turning import Planned, Under, turn

MANY: Final = 64
"""Rows from which stock that is not cut is planned for all its lengths at once."""


REACH: Final = ("reach_reaction", "reach_chuck", "reach_moment", "reach_sag")
"""What a load anywhere on the stock adds; zero where nothing is fixed to it."""

CARRIED_LIMITS: Final = ("limit.support_reaction.rated", "limit.support_reaction.absolute")
"""Limits that follow from the supports chosen."""


def carry_rows(
    frame: Frame,
    table: JobTable,
    machines: Sequence[MachineModel],
    machine: Index,
    rows: Index,
    rule_set: RuleSet,
) -> Frame:
    """Return the frame with the supports of some rows planned, or judged where given.

    Rows of one machine, geometry and choice of supports are planned together.
    """
    if not rows.size:
        return frame
    figures, vocabulary = figures_of(rule_set), rule_set.vocabulary
    zinc = rule_set.lookups["zinc_mass"]
    part = table.take(rows)
    machine = machine[rows]
    fitted = [
        [item.fitted_as_delivered | (codes & item.offered.keys()) for codes in table.fittings]
        for item in machines
    ]
    usable, use = usable_choices(part, machines, machine, fitted, figures)
    numbers = np.array(
        [
            stock_numbers(item.section, item.grade, coating_mass(item.section, item.coating, zinc))
            for item in table.stocks
        ]
    )
    stocks = stocks_of(numbers[part.stock])
    ends = [f"{name}{NOMINAL}" for name in TURNING]
    columns = {name: np.empty(len(rows)) for name in (*UNTROUBLED, *ends)}
    under = Under(len(rows))
    columns |= {name: np.zeros(len(rows)) for name in REACH}
    seats = vocabulary.facts["seat"].values
    seat = np.zeros(len(rows), dtype=np.int8)
    places: dict[tuple[float, ...], int] = {}
    place: Index = np.full(frame.rows, -1, dtype=np.intp)
    into = (columns, seat, places, place, rows, under)
    left = _carry_whole(part, stocks, machines, (machine, use), usable, rule_set, into)
    key = (machine * len(table.geometries) + part.geometry) * len(usable) + use
    _, first, back = np.unique(key[left], return_index=True, return_inverse=True)
    order = left[np.argsort(back, kind="stable")]
    first = left[first]
    ends = np.cumsum(np.bincount(back, minlength=len(first)))
    for number, row in enumerate(first.tolist()):
        members = order[(ends[number - 1] if number else 0) : ends[number]]
        carrier = Carrier(
            machines[int(machine[row])],
            table.geometries[int(part.geometry[row])],
            usable[int(use[row])],
            figures,
        )
        carry = carrier.carry(stocks.take(members))
        for name, column in carry.columns.items():
            columns[name][members] = column
        # Rules older than this answer without it.
        if "fitting_sweep" in vocabulary.measures:
            chosen = [choice.stations for choice in carry.choices]
            _reach(columns, part, stocks, members, chosen, carry.which)
        codes = [seats.index(name) if name in seats else 0 for name in carry.seats]
        seat[members] = np.array(codes, dtype=np.int8)[carry.which]
        numbers_of = [places.setdefault(item.stations, len(places)) for item in carry.choices]
        place[rows[members]] = np.array(numbers_of, dtype=np.intp)[carry.which]
        under.note(
            members,
            [
                dealt(supports, len(choice.stations)) if supports.supports else ()
                for choice, supports in zip(carry.choices, carry.supports, strict=True)
            ],
            carry.which,
        )
    columns |= turn(
        Planned(
            part, stocks, frame.given["straightness"][rows], machines, machine, tuple(places),
            place[rows], under,
        ),
        figures,
    )  # fmt: skip
    frame = _filled(frame, rows, columns)
    facts = dict(frame.facts)
    facts["seat"] = np.array(facts["seat"])
    facts["seat"][rows] = seat
    return frame._replace(facts=facts, places=tuple(places), place=place)


def _filled(frame: Frame, rows: Index, columns: dict[str, Floats]) -> Frame:
    """Return the frame with what rules read of the supports of some rows."""
    given, heavy, limits = dict(frame.given), dict(frame.heavy), dict(frame.numbers)
    nominal = _nominal_share(frame, rows)
    _put_turning(columns, rows, given, heavy)
    for name, column in columns.items():
        full = np.array(given[name])
        if name in BY_WEIGHT:
            at_heavy = np.array(full)
            at_heavy[rows] = column
            heavy[name] = at_heavy
        full[rows] = column * nominal if name in BY_WEIGHT else column
        given[name] = full
    for bound in ("rated", "absolute"):
        limits[f"limit.support_reaction.{bound}"] = given[f"reaction_{bound}"]
    is_carried = frame.is_carried.copy()
    is_carried[rows] = True
    return frame._replace(given=given, heavy=heavy, numbers=limits, is_carried=is_carried)


def _put_turning(
    columns: dict[str, Floats], rows: Index, given: dict[str, Floats], heavy: dict[str, Floats]
) -> None:
    """Take what is known of rests while the section turns out of the columns, for both ends."""
    for name in TURNING:
        lighter, heavier = columns.pop(f"{name}{NOMINAL}"), columns.pop(name)
        # Few machines have rests that carry less while the section turns.
        if not np.isfinite(heavier).any():
            continue
        for into, values in ((heavy, heavier), (given, lighter)):
            full = np.array(given[name])
            full[rows] = values
            into[name] = full


Into = tuple[dict[str, Floats], Codes, dict[tuple[float, ...], int], Index, Index, Under]
"""Columns, seats, distinct stations, which ones a row has, the rows of the frame, and what stands
under them."""


def _carry_whole(
    part: JobTable,
    stocks: Stocks,
    machines: Sequence[MachineModel],
    who: tuple[Index, Index],
    usable: Sequence[Usable],
    rule_set: RuleSet,
    into: Into,
) -> Index:
    """Plan stock that is not cut, of many lengths at once; return the rows that are left."""
    columns, seat, places, place, rows, under = into
    machine, use = who
    figures, seats = figures_of(rule_set), rule_set.vocabulary.facts["seat"].values
    is_whole = np.array(
        [not (g.parts or g.cuts or g.stations or g.behind) for g in part.geometries], dtype=np.bool_
    )[part.geometry] & ~(part.off_axis_mass > 0)
    length = np.array([item.length for item in part.geometries])[part.geometry]
    is_left = np.ones(len(rows), dtype=np.bool_)
    kind = machine * len(usable) + use
    # Not numpy's unique: it imports masked arrays, a thirtieth of a cold start.
    kinds: list[int] = np.flatnonzero(np.bincount(kind[is_whole])).tolist()
    for number in kinds:
        mine = np.flatnonzero(is_whole & (kind == number))
        model, supports = machines[number // len(usable)], usable[number % len(usable)]
        if len(mine) < MANY:
            continue
        planned = carry_many(model, supports, figures, length[mine], stocks.take(mine))
        settled = mine[planned.is_settled]
        if not settled.size:
            continue
        is_left[settled] = False
        for name, column in planned.columns.items():
            columns[name][settled] = column
        # A seat is that of a support that is used; the chuck alone is no bad seat.
        codes = [0, seats.index(planned.seat)]
        used = np.array([bool(item) for item in planned.stations], dtype=np.intp)[planned.which]
        seat[settled] = np.array(codes, dtype=np.int8)[used]
        numbers = [places.setdefault(item, len(places)) for item in planned.stations]
        place[rows[settled]] = np.array(numbers, dtype=np.intp)[planned.which]
        best = supports.best_seated()
        stands = [dealt(best, len(item)) if best.supports else () for item in planned.stations]
        under.note(settled, stands, planned.which)
    return np.flatnonzero(is_left)


def _reach(
    columns: dict[str, Floats],
    part: JobTable,
    stocks: Stocks,
    members: Index,
    stations: Sequence[tuple[float, ...]],
    which: Index,
) -> None:
    """Fill in what a load on the stock adds, for rows of one geometry with something fixed."""
    for number, row in enumerate(members.tolist()):
        if part.off_axis_mass[row] > 0:
            front = part.geometries[int(part.geometry[row])].front
            found = reach(front, stations[int(which[number])])
            columns["reach_reaction"][row] = found.reaction
            columns["reach_chuck"][row] = found.chuck_reaction
            columns["reach_moment"][row] = found.chuck_moment
            columns["reach_sag"][row] = found.sag / stocks.stiffness[row]


def _nominal_share(frame: Frame, rows: Index) -> Floats:
    """Return nominal / heavy mass per length of some rows."""
    zinc = frame.given["coating_mass"][rows]
    return (frame.given["bare_mass"][rows] + zinc) / (frame.heavy["bare_mass"][rows] + zinc)


def usable_choices(
    table: JobTable,
    machines: Sequence[MachineModel],
    machine: Index,
    fitted: Sequence[Sequence[frozenset[str]]],
    figures: Figures,
) -> tuple[tuple[Usable, ...], Index]:
    """Return the distinct choices of supports, and which one each row has."""
    shapes = [(item.section.shape, item.section.height) for item in table.stocks]
    kinds = {kind: number for number, kind in enumerate(dict.fromkeys(shapes))}
    kind_of = np.array([kinds[item] for item in shapes], dtype=np.intp)
    kind = list(kinds)
    key = (machine * len(table.fittings) + table.fitting) * len(kind) + kind_of[table.stock]
    values, back = np.unique(key, return_inverse=True)
    found: dict[Usable, int] = {}
    place: list[int] = []
    every: list[int] = values.tolist()
    for value in every:
        rest, which_kind = divmod(value, len(kind))
        which_machine, which_fitting = divmod(rest, len(table.fittings))
        usable = usable_supports(
            Keyed(machines[which_machine]),
            fitted[which_machine][which_fitting],
            *kind[which_kind],
            figures,
        )
        place.append(found.setdefault(usable, len(found)))
    return tuple(found), np.array(place, dtype=np.intp)[back]
