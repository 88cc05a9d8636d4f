"""The set-up of one job on one machine as the sheet shows it: what stands where and carries what.

The numbers that rules read come from :mod:`.carry`; here the same plan is told in full.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, Literal, NamedTuple

import numpy as np

from ...catalogue.machines.model import MachineModel, Support
from ..arrays import Floats
from ..jobs.job import Job
from ..jobs.job_table import geometry_of
from ..statics.beam import Bars, Carried, height_stiffness, height_tolerance, shape, solve
from ..statics.lowered_rests import TURNING
from ..statics.part_release import Behaviour, Piece, Tabs
from ..statics.seating import seated
from ..statics.stocks import Keyed, Stocks, Usable, dealt, stock_numbers, stocks_of, usable_supports
from ..statics.support_loads import Carrier, Figures
from .steps import Step, tell_steps


class Standing(NamedTuple):
    """One support in its place.

    Attributes:
        station: mm from the chuck face.
        support: what stands there.
        reaction: N, the worse of clamped and pinned chuck, heavy end.
        is_lifted: the stock lifts off it.
        centre: height of the stock's centre above the support datum, NaN where it has none.
        per_mm: N by which its load changes when it stands 1 mm too high or low.
        is_catcher: it carries nothing while the stock turns, and then takes a part.
    """

    station: float
    support: Support
    reaction: float
    is_lifted: bool
    centre: float
    per_mm: float
    is_catcher: bool = False


class SetUp(NamedTuple):
    """Where everything stands and what it carries.

    Attributes:
        standing: supports, from the chuck outward.
        is_given: the stations were given by the asker.
        level: ``rated`` or ``absolute`` where the planner found a plan, ``given`` for the asker's
            stations, ``none`` where there is no plan, ``not-planned`` where something else
            refuses the job already.
        chuck_reaction, chuck_moment: N and N*m, heavy end, the worse chuck end; signed.
        sag, tip: mm; tip_slope the slope of the free end, downward positive.
        height_tolerance: mm that every support may be off.
        cuts: in the order they are made.
        pieces: what each cut frees; ``tabs`` what holds it, None where nothing needs to or can.
        safe_parts: lengths (from, to) that can be cut off the free end of the whole stock and
            stay on these supports; told where no parts are known.
        seat: how a round sits, the worst of its supports; ``none`` where none carries it.
        behaviours: what each piece does with all that catches it.
        takers: what takes a piece that is caught.
        steps: what is done before each cut.
    """

    standing: tuple[Standing, ...]
    is_given: bool
    level: str
    chuck_reaction: float
    chuck_moment: float
    sag: float
    tip: float
    tip_slope: float
    height_tolerance: float
    cuts: tuple[float, ...]
    pieces: tuple[Piece, ...]
    tabs: tuple[Tabs | None, ...]
    safe_parts: tuple[tuple[float, float], ...]
    seat: str
    behaviours: tuple[Behaviour, ...] = ()
    takers: tuple[Literal["supports", "bin"] | None, ...] = ()
    steps: tuple[Step, ...] = ()


NOT_PLANNED: Final = SetUp(
    standing=(), is_given=False, level="not-planned", chuck_reaction=math.nan,
    chuck_moment=math.nan, sag=math.nan, tip=math.nan, tip_slope=math.nan,
    height_tolerance=math.inf, cuts=(), pieces=(), tabs=(), safe_parts=(), seat="none",
)  # fmt: skip


def set_up(
    job: Job, machine: MachineModel, fitted: frozenset[str], coating_mass: float, figures: Figures
) -> SetUp:
    """Tell the set-up that :class:`.carry.Carrier` plans or judges for this job."""
    bare = job._replace(assumptions=(), fitted=frozenset())
    return _set_up(bare, Keyed(machine), fitted, coating_mass, figures)


@lru_cache(maxsize=1024)
def _set_up(
    job: Job, key: Keyed, fitted: frozenset[str], coating_mass: float, figures: Figures
) -> SetUp:
    section = job.section
    usable = usable_supports(key, fitted, section.shape, section.height, figures)
    numbers = stock_numbers(section, job.grade, coating_mass)
    stocks = stocks_of(np.array([numbers], dtype=np.float64))
    carrier = Carrier(key.model, geometry_of(job), usable, figures)
    return _Teller(carrier, stocks).set_up()


def _worse(standing: float, turning: float) -> float:
    """Return the larger by size; the second is NaN where turning changes nothing."""
    return turning if abs(turning) > abs(standing) else standing


class _Teller:
    def __init__(self, carrier: Carrier, stocks: Stocks) -> None:
        self.carrier, self.stocks = carrier, stocks
        self.weight, self.stiffness = float(stocks.weight[0]), float(stocks.stiffness[0])

    def set_up(self) -> SetUp:
        carrier = self.carrier
        carry = carrier.carry(self.stocks)
        choice, usable = carry.choices[0], carry.supports[0]
        stations = choice.stations
        carried, bars, worst = self._statics(stations)
        standing = self._standing(stations, usable, carried, bars)
        free = carrier.pieces(stations)
        line = shape(bars, carried)
        turning = {name: float(carry.columns[name][0]) for name in TURNING}
        tolerance = math.inf
        if standing and not carried.is_lifted.any():
            ratings = np.array([[item.support.reaction.rated for item in standing]] * 2)
            tolerance = self._tolerance(bars, carried.reactions, ratings)
        told = tell_steps(
            carrier, choice, usable, self.weight, free,
            [(item.station, item.support) for item in standing],
        )  # fmt: skip
        outside, angles = float(self.stocks.outside[0]), carrier.figures.seat_angles
        catchers = tuple(
            Standing(
                item.station, item.support, item.load, is_lifted=False,
                centre=seated(item.support, outside, angles).centre, per_mm=math.nan,
                is_catcher=True,
            )
            for item in told.catchers
        )  # fmt: skip
        return SetUp(
            standing=tuple(sorted((*standing, *catchers), key=lambda item: item.station)),
            is_given=bool(carrier.geometry.stations),
            level=choice.level,
            chuck_reaction=_worse(float(carried.chuck_reaction[worst]), turning["turning_load"]),
            chuck_moment=_worse(float(carried.chuck_moment[0]) / 1e3, -turning["turning_moment"]),
            sag=float(line.sag.max()),
            tip=float(line.tip[np.argmax(np.abs(line.tip))]),
            tip_slope=float(line.tip_slope[np.argmax(np.abs(line.tip_slope))]),
            height_tolerance=tolerance,
            cuts=carrier.cuts,
            pieces=tuple(free),
            tabs=tuple(
                None if behaviour in ("stays", "caught") else self._tabs(piece)
                for piece, behaviour in zip(free, told.behaviours, strict=True)
            ),
            safe_parts=() if carrier.cuts else self._safe_parts(stations),
            seat=carry.seats[0],
            behaviours=told.behaviours,
            takers=told.takers,
            steps=told.steps,
        )

    def _tabs(self, piece: Piece) -> Tabs | None:
        found = self.carrier.tabs(self.stocks, piece)
        count, width, stress = (float(column[0]) for column in found)
        if math.isnan(count):
            return None
        safety = self.carrier.figures.tab_safety
        return Tabs(int(count), width, stress, float(self.stocks.tubes.yield_strength[0]) / safety)

    def _safe_parts(self, stations: Sequence[float]) -> tuple[tuple[float, float], ...]:
        """Return lengths that stay when cut off the free end, to the nearest 10 mm inward."""
        machine, front = self.carrier.machine, self.carrier.geometry.front
        if not stations:
            return ()
        margin, clear = self.carrier.figures.stability_margin, machine.cutting.keep_clear
        longest = front - machine.bed.stub
        size = np.arange(10.0, longest + 1e-6, 10.0)[:, None]
        cut = front - size
        centre = cut + size / 2
        station = np.array([stations])
        is_under = (station > cut) & (station < front)
        stays = (is_under & (station <= centre - margin)).any(axis=1)
        stays &= (is_under & (station >= centre + margin)).any(axis=1)
        stays &= (np.abs(station - cut) >= clear).all(axis=1)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], stays, [False]]).astype(np.int8)))
        return tuple(
            (float(size[first, 0]), float(size[last - 1, 0]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        )

    def _statics(self, stations: Sequence[float]) -> tuple[Carried, Bars, int]:
        """Return the whole stock on these stations, clamped and pinned, and the worse row."""
        places = np.array([list(stations) or [math.nan]] * 2, dtype=np.float64)
        bars = Bars(
            np.full(2, self.carrier.geometry.front),
            np.full(2, self.weight),
            np.full(2, self.stiffness),
            places,
            np.zeros_like(places),
            np.array([True, not stations]),
        )
        carried = solve(bars)
        return carried, bars, int(np.argmax(np.abs(carried.chuck_reaction)))

    def _tolerance(self, bars: Bars, reactions: Floats, ratings: Floats) -> float:
        """Return how far supports may be off at the heavy end, and where weight is nominal.

        Lighter stock with its full stiffness lifts off sooner.
        """
        light = reactions * float(self.stocks.nominal_weight[0]) / self.weight
        stiff = bars._replace(stiffness=np.full(2, float(self.stocks.nominal_stiffness[0])))
        found = (
            height_tolerance(bars, reactions, ratings),
            height_tolerance(stiff, light, ratings),
        )
        return float(np.minimum(*found).min())

    def _standing(
        self,
        stations: Sequence[float],
        usable: Usable,
        carried: Carried,
        bars: Bars,
    ) -> tuple[Standing, ...]:
        """Deal supports to stations, the strongest where most is carried."""
        if not stations or not usable.supports:
            return ()
        reactions = carried.reactions.max(axis=0)
        lifted: list[bool] = np.logical_or.reduce(carried.is_lifted, axis=0).tolist()
        strong = dealt(usable, len(stations))
        outside = float(self.stocks.outside[0])
        angles = self.carrier.figures.seat_angles
        order = np.argsort(-reactions, kind="stable")
        stiff = np.abs(height_stiffness(bars)).max(axis=0)
        given: dict[int, Support] = {
            int(place): strong[number] for number, place in enumerate(order)
        }
        return tuple(
            Standing(
                station,
                given[place],
                float(reactions[place]),
                lifted[place],
                seated(given[place], outside, angles).centre,
                float(stiff[place, place]),
            )
            for place, station in enumerate(stations)
        )
