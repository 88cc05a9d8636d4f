"""The set-up of one job on one machine: stations, reactions, pieces, tabs, heights, sequence.

What the rules read of it joins the frame as columns; what the sheet shows stays here.
"""

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from ..catalogue.grades import mill_range
from ..catalogue.machines import MachineModel, Support
from .arrays import GRAVITY, Bools
from .cradle import Seated, seated
from .job import Job
from .plan import Bed, Bound, Plan, find_plan, rate
from .severing import Piece, TabRules, Tabs, Tube, pieces, tab_stress, tabs_for
from .statics import Bars, Carried, height_stiffness, height_tolerance, shape, solve

MOST_STATIONS: Final = 400


class Standing(NamedTuple):
    """One support in its place.

    Attributes:
        station: mm from the chuck face.
        support: what stands there.
        reaction: N, the worse of clamped and pinned chuck, heavy end.
        is_lifted: the stock lifts off it.
        centre: height of the stock's centre above the support datum, NaN where it has none.
        per_mm: N by which its load changes when it stands 1 mm too high or low.
    """

    station: float
    support: Support
    reaction: float
    is_lifted: bool
    centre: float
    per_mm: float


class SetUp(NamedTuple):
    """Where everything stands and what it carries.

    Attributes:
        standing: supports, from the chuck outward.
        is_given: the stations were given by the asker.
        level: ``rated`` or ``absolute`` where the planner found a plan, else ``none``.
        chuck_reaction, chuck_moment: N and N*m, heavy end, the worse chuck end; signed.
        sag, tip: mm; tip_slope the slope of the free end, downward positive.
        height_tolerance: mm that every support may be off.
        cuts: in the order they are made.
        pieces: what each cut frees; ``tabs`` what holds it, None where nothing needs to or can.
        safe_parts: lengths (from, to) that can be cut off the free end of the whole stock and
            stay on these supports; told where no parts are known.
        seat: how a round sits, the worst of its supports; ``none`` where none carries it.
        columns: what the rules read.
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
    columns: Mapping[str, float]


class Figures(NamedTuple):
    """The builder's figures for severing, from the rule files."""

    tab_counts: int
    tab_safety: float
    tab_widest: float
    tab_share: float
    stability_margin: float


# What rules read of a set-up, with the value that stands for "carried without trouble": used
# where only the rest of a job is asked about. Forces and moments are at the heavy end.
UNTROUBLED: Final[dict[str, float]] = {
    "carried_span": 0.0,
    "carried_overhang": 0.0,
    "carried_sag": 0.0,
    "carried_chuck_reaction": 0.0,
    "carried_chuck_moment": 0.0,
    "carried_reaction": 0.0,
    "carried_lifted": 0.0,
    "parts_fitting": math.nan,
    "stations_blocked": 0.0,
    "stations_spare": 0.0,
    "parts_unheld": 0.0,
    "parts_tabbed": 0.0,
    "worst_tab_stress": math.nan,
    "tab_strength": math.nan,
    "reaction_rated": 1e12,
    "reaction_absolute": 1e12,
    "centre_low": math.nan,
    "centre_high": math.nan,
}
BY_WEIGHT: Final = frozenset(
    {
        "carried_sag",
        "carried_chuck_reaction",
        "carried_chuck_moment",
        "carried_reaction",
        "worst_tab_stress",
    }
)
"""Columns in proportion to the mass per length."""


def cuts_of(job: Job, machine: MachineModel) -> tuple[float, ...]:
    """Return the cuts of a job, from the free end inward: as given, else from its parts.

    Parts follow each other from the free end, after the trim, with a kerf between them.
    """
    if job.cuts:
        return job.cuts
    cutting = machine.cutting
    found: list[float] = []
    place = job.front - cutting.trim
    for part in job.parts:
        for _ in range(part.count):
            place -= part.length
            if place <= 0:
                return tuple(found)
            found.append(place)
            place -= cutting.kerf
    return tuple(found)


def set_up(job: Job, machine: MachineModel, fitted: frozenset[str], figures: Figures) -> SetUp:
    """Plan, or judge given stations, and work out everything that follows."""
    bare = job._replace(assumptions=(), fitted=frozenset())
    return _set_up(bare, _Key(machine), fitted, figures)


class _Key:
    """A machine as a key: models are equal when their files are."""

    def __init__(self, machine: MachineModel) -> None:
        self.machine = machine

    def __hash__(self) -> int:
        return hash(self.machine.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.machine.digest == self.machine.digest


@lru_cache(maxsize=4096)
def _set_up(job: Job, key: _Key, fitted: frozenset[str], figures: Figures) -> SetUp:
    return _Planner(job, key.machine, fitted, figures).set_up()


class _Planner:
    def __init__(
        self, job: Job, machine: MachineModel, fitted: frozenset[str], figures: Figures
    ) -> None:
        section, grade = job.section, job.grade
        mill = mill_range(section, grade.product)
        self.job, self.machine, self.figures = job, machine, figures
        mass = grade.density * section.area / 1e6 * mill.mass_ratio  # kg/m
        self.weight = mass * GRAVITY / 1e3  # N/mm
        thin = section.wall_for_mass(1.0) if section.shape != "round" else section.wall
        least = min(section.second_moments)
        # Stiffness of the thin wall: the second moment falls nearly in proportion to the wall.
        self.stiffness = grade.elasticity * least * mill.thin_wall / thin
        self.tube = Tube(
            mean_radius=_mean_radius(job),
            wall=mill.thin_wall,
            girth=math.pi * section.height
            if section.shape == "round"
            else 2 * (section.height + section.width),
            yield_strength=grade.yield_strength,
            linear_mass=mass / 1e3,
        )
        self.usable = self._usable(fitted)
        self.cuts = tuple(cut for cut in cuts_of(job, machine) if cut < job.front)

    def _usable(self, fitted: frozenset[str]) -> list[tuple[Support, Seated]]:
        """Return supports fitted that carry this stock, best seat and strongest first."""
        section = self.job.section
        found: list[tuple[Support, Seated]] = []
        for support in self.machine.supports:
            if support.code not in fitted or section.shape not in support.carries:
                continue
            seat = seated(support, section.height)
            lifting = section.shape != "round"
            if lifting or seat.is_usable:
                found += [(support, seat)] * support.count
        order = {"good": 0, "flat": 0, "wedged": 1, "shallow": 2}
        found.sort(key=lambda item: (order.get(item[1].seat, 0), -item[0].reaction.rated))
        return found

    def tab_torque(self, length: float) -> float:
        """Return N*mm that starts a free piece turning with the stock."""
        section = self.job.section
        inertia = self.tube.linear_mass * length * section.polar_moment / section.area  # kg*mm^2
        return inertia / 1e3 * self.machine.rotary.acceleration

    def tabs(self, piece: Piece) -> Tabs | None:
        """Return tabs that hold a piece, None if none can."""
        figures = self.figures
        rules = TabRules(
            counts=tuple(range(3, figures.tab_counts + 1)),
            safety=figures.tab_safety,
            widest=figures.tab_widest,
            largest_share=figures.tab_share,
        )
        torque = self.tab_torque(piece.length)
        return tabs_for(self.tube, piece.length, torque, self.machine.cutting.kerf, rules)

    def pieces(self, stations: Sequence[float]) -> list[Piece]:
        """Return the pieces that come free; parts begin inside the trim of the free end."""
        cutting = self.machine.cutting
        end = self.job.front - (0.0 if self.job.cuts else cutting.trim)
        return pieces(end, self.cuts, stations, self.figures.stability_margin, cutting.kerf)

    def bed(self, supports: Sequence[tuple[Support, Seated]]) -> Bed:
        """Return the planning problem with these supports."""
        machine = self.machine
        free = self.pieces(())
        return Bed(
            length=self.job.front,
            weight=self.weight,
            stiffness=self.stiffness,
            grid=_grid(machine),
            ratings=tuple(
                Bound(item.reaction.rated, item.reaction.absolute)
                for item, _ in sorted(supports, key=lambda pair: -pair[0].reaction.rated)
            ),
            span=_bound(machine, "support_span"),
            overhang=_bound(machine, "overhang"),
            sag=_bound(machine, "sag"),
            chuck_reaction=_bound(machine, "chuck_reaction"),
            chuck_moment=_bound(machine, "chuck_moment", 1e3),
            keep_clear=machine.cutting.keep_clear,
            margin=self.figures.stability_margin,
            cuts=self.cuts,
            is_held=tuple(self.tabs(piece) is not None for piece in free),
            freed=tuple((piece.inner, piece.outer) for piece in free),
        )

    def set_up(self) -> SetUp:
        best_seat = [item for item in self.usable if item[1].seat == self.usable[0][1].seat and
                     item[0].code == self.usable[0][0].code]  # fmt: skip
        chosen, plan = best_seat, None
        if self.job.stations:
            chosen = self.usable
            stations = tuple(sorted(self.job.stations))
            plan = Plan(stations, math.nan, "given")
        else:
            for supports in (best_seat, self.usable) if self._is_worth_planning() else ():
                chosen = supports
                plan = find_plan(self.bed(supports))
                if plan is not None or len(supports) == len(self.usable):
                    break
        if plan is None:
            plan = Plan(self._spread(len(chosen)), math.nan, "none")
        return self._of(plan, chosen)

    def _is_worth_planning(self) -> bool:
        """Say whether the bed takes this stock at all; if not, no plan is sought."""
        machine, job = self.machine, self.job
        mass = self.weight * job.length / GRAVITY
        return not (
            job.front > machine.limit("stock_length").absolute * (1 + 1e-9)
            or mass > machine.limit("stock_mass").absolute * 1.5
        )

    def _spread(self, count: int) -> tuple[float, ...]:
        """Return stations as evenly as the bed allows, where no plan satisfies the limits."""
        free = [station for station in _grid(self.machine) if station < self.job.front]
        if not free or not count:
            return ()
        wanted = [self.job.front * (number + 1) / (count + 0.6) for number in range(count)]
        return tuple(sorted({min(free, key=lambda s, w=want: abs(s - w)) for want in wanted}))

    def _of(self, plan: Plan, supports: Sequence[tuple[Support, Seated]]) -> SetUp:
        bed = self.bed(supports)
        stations = np.array([plan.stations], dtype=np.float64)
        rating = rate(bed, stations)
        carried, bars, worst = self._statics(plan.stations)
        standing = self._standing(plan.stations, supports, carried, bars)
        free = self.pieces(plan.stations)
        tabs = tuple(None if p.behaviour == "stays" else self.tabs(p) for p in free)
        line = shape(bars, carried)
        tolerance = math.inf
        if standing and not carried.is_lifted.any():
            ratings = np.array([[item.support.reaction.rated for item in standing]] * 2)
            tolerance = float(height_tolerance(bars, carried.reactions, ratings).min())
        share = rating.support_share[0]
        strongest = max(bed.ratings, default=Bound(math.nan, math.nan))
        reaction = float(rating.support_reaction[0])
        rated = reaction / share if share > 0 else strongest.rated
        unheld = [
            piece for piece, tab in zip(free, tabs, strict=True)
            if piece.behaviour != "stays" and tab is None
        ]  # fmt: skip
        centres = [item.centre for item in standing if not math.isnan(item.centre)]
        held = [item for item in tabs if item is not None]
        rear = self.weight * self.job.behind
        columns = {
            "carried_span": float(rating.span[0]),
            "carried_overhang": float(rating.overhang[0]),
            "carried_sag": float(rating.sag[0]),
            # What stands behind the chuck hangs on it, unless a rear stand takes its end.
            "carried_chuck_reaction": float(rating.chuck_reaction[0]) + rear,
            "carried_chuck_moment": max(float(rating.chuck_moment[0]), rear * self.job.behind / 2)
            / 1e3,
            "carried_reaction": reaction,
            "carried_lifted": float(rating.lifts_off[0]),
            "parts_fitting": self._parts_fitting(),
            "stations_blocked": float(self._blocked(plan.stations)),
            "stations_spare": float(len(supports) - len(plan.stations)),
            "parts_unheld": float(len(unheld)),
            "parts_tabbed": float(len(held)),
            "worst_tab_stress": self._tab_stress(free, tabs),
            "tab_strength": self.tube.yield_strength / self.figures.tab_safety,
            "reaction_rated": rated,
            "reaction_absolute": rated * strongest.absolute / strongest.rated,
            "centre_low": min(centres, default=math.nan),
            "centre_high": max(centres, default=math.nan),
        }
        return SetUp(
            standing=standing,
            is_given=bool(self.job.stations),
            level=plan.level,
            chuck_reaction=float(carried.chuck_reaction[worst]),
            chuck_moment=float(carried.chuck_moment[0]) / 1e3,
            sag=float(line.sag.max()),
            tip=float(line.tip[np.argmax(np.abs(line.tip))]),
            tip_slope=float(line.tip_slope[np.argmax(np.abs(line.tip_slope))]),
            height_tolerance=tolerance,
            cuts=self.cuts,
            pieces=tuple(free),
            tabs=tabs,
            safe_parts=() if self.cuts else self._safe_parts(plan.stations),
            seat=self._seat(standing),
            columns=columns,
        )

    def _parts_fitting(self) -> float:
        """Return how many of the parts, in their order, come out of the stock; NaN if none."""
        machine, count = self.machine, 0
        if not self.job.parts:
            return math.nan
        left = self.job.front - machine.bed.stub - machine.cutting.trim
        for part in self.job.parts:
            for _ in range(part.count):
                left -= part.length + machine.cutting.kerf
                if left < -1e-6:
                    return float(count)
                count += 1
        return float(count)

    def _safe_parts(self, stations: Sequence[float]) -> tuple[tuple[float, float], ...]:
        """Return lengths that stay when cut off the free end, to the nearest 10 mm inward."""
        if not stations:
            return ()
        margin, clear = self.figures.stability_margin, self.machine.cutting.keep_clear
        longest = self.job.front - self.machine.bed.stub
        size = np.arange(10.0, longest + 1e-6, 10.0)[:, None]
        cut = self.job.front - size
        centre = cut + size / 2
        station = np.array([stations])
        is_under = (station > cut) & (station < self.job.front)
        stays = (is_under & (station <= centre - margin)).any(axis=1)
        stays &= (is_under & (station >= centre + margin)).any(axis=1)
        stays &= (np.abs(station - cut) >= clear).all(axis=1)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], stays, [False]]).astype(np.int8)))
        return tuple(
            (float(size[first, 0]), float(size[last - 1, 0]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        )

    def _blocked(self, stations: Sequence[float]) -> int:
        """Return how many stations lie nearer to a cut than supports may, or off the bed."""
        bed, clear = self.machine.bed, self.machine.cutting.keep_clear
        return sum(
            not bed.first_station - 1e-6 <= station <= bed.last_station + 1e-6
            or any(abs(station - cut) < clear - 1e-6 for cut in self.cuts)
            for station in stations
        )

    def _seat(self, standing: Sequence[Standing]) -> str:
        if not self.usable:
            return "none"
        seats = {seat.seat for item in standing for support, seat in self.usable
                 if support.code == item.support.code}  # fmt: skip
        return next((name for name in ("shallow", "wedged") if name in seats), "good")

    def _tab_stress(self, free: Sequence[Piece], tabs: Sequence[Tabs | None]) -> float:
        """Return the largest stress in tabs; where none hold, in the strongest there could be."""
        figures, worst = self.figures, math.nan
        for piece, tab in zip(free, tabs, strict=True):
            if piece.behaviour == "stays":
                continue
            if tab is not None:
                stress = tab.stress
            else:
                count, torque = figures.tab_counts, self.tab_torque(piece.length)
                width = min(figures.tab_widest, figures.tab_share * self.tube.girth / count)
                stress = tab_stress(self.tube, piece.length, torque, count, width)
            worst = stress if math.isnan(worst) else max(worst, stress)
        return worst

    def _statics(self, stations: Sequence[float]) -> tuple[Carried, Bars, int]:
        """Return the whole stock on these stations, clamped and pinned, and the worse row."""
        places = np.array([list(stations) or [math.nan]] * 2, dtype=np.float64)
        bars = Bars(
            np.full(2, self.job.front),
            np.full(2, self.weight),
            np.full(2, self.stiffness),
            places,
            np.zeros_like(places),
            np.array([True, not stations]),
        )
        carried = solve(bars)
        return carried, bars, int(np.argmax(np.abs(carried.chuck_reaction)))

    def _standing(
        self,
        stations: Sequence[float],
        supports: Sequence[tuple[Support, Seated]],
        carried: Carried,
        bars: Bars,
    ) -> tuple[Standing, ...]:
        """Deal supports to stations, the strongest where most is carried."""
        if not stations or not supports:
            return ()
        reactions = carried.reactions.max(axis=0)
        lifted: Bools = np.logical_or.reduce(carried.is_lifted, axis=0)
        strong = sorted(supports, key=lambda pair: -pair[0].reaction.rated)
        order = np.argsort(-reactions, kind="stable")
        stiff = np.abs(height_stiffness(bars)).max(axis=0)
        dealt: dict[int, tuple[Support, Seated]] = {
            int(place): strong[min(number, len(strong) - 1)] for number, place in enumerate(order)
        }
        return tuple(
            Standing(
                station,
                dealt[place][0],
                float(reactions[place]),
                bool(lifted[place]),
                dealt[place][1].centre,
                float(stiff[place, place]),
            )
            for place, station in enumerate(stations)
        )


def _mean_radius(job: Job) -> float:
    section = job.section
    if section.shape == "round":
        return (section.height - section.wall) / 2
    # Tabs of a box stand in its flats: the nearer pair decides.
    return (section.width - section.wall) / 2


def _grid(machine: MachineModel) -> tuple[float, ...]:
    bed = machine.bed
    count = math.floor((bed.last_station - bed.first_station) / bed.station_pitch + 1e-9) + 1
    return tuple(
        bed.first_station + number * bed.station_pitch
        for number in range(min(count, MOST_STATIONS))
    )


def _bound(machine: MachineModel, name: str, factor: float = 1.0) -> Bound:
    limit = machine.limit(name)
    return Bound(limit.rated * factor, limit.absolute * factor)
