"""What turns on which supports, row by row, for :mod:`cuttable.engine.statics.turning`."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ...catalogue.machines.model import MachineModel, Support
from ..arrays import Floats
from ..jobs.job_table import Index, JobTable
from ..statics.elastic_supports import influence
from ..statics.seating import seated
from ..statics.stocks import Stocks, cuts_of
from ..statics.turning import GIVE, LEVELLING, UNTROUBLED, Turned, stated_or, turning_columns
from .figures import Figures


class Under:
    """Which supports stand under each of some rows, strongest first."""

    def __init__(self, rows: int) -> None:
        self._kinds: dict[tuple[Support, ...], int] = {(): 0}
        self.which: Index = np.zeros(rows, dtype=np.intp)

    def note(self, rows: Index, supports: Sequence[tuple[Support, ...]], which: Index) -> None:
        """Say what stands under some rows: some supports, and which of them each row has."""
        numbers = [self._kinds.setdefault(item, len(self._kinds)) for item in supports]
        self.which[rows] = np.array(numbers, dtype=np.intp)[which]

    @property
    def kinds(self) -> tuple[tuple[Support, ...], ...]:
        """The distinct ones, by number."""
        return tuple(self._kinds)


class Planned(NamedTuple):
    """Rows whose supports stand.

    Attributes:
        jobs: the rows of the jobs, of which stocks and machine are told beside.
        stocks: (rows,).
        straightness: (rows,) bow / length that this kind of stock may be sold with.
        machines, machine: the machines, and which one each row is asked on.
        stations, place: distinct stations, and which ones each row has.
        under: what stands there.
    """

    jobs: JobTable
    stocks: Stocks
    straightness: Floats
    machines: Sequence[MachineModel]
    machine: Index
    stations: Sequence[tuple[float, ...]]
    place: Index
    under: Under


def turn(planned: Planned, figures: Figures) -> dict[str, Floats]:
    """Return what rules read of turning, one value a row; see :func:`.turning_columns`."""
    count = np.array([len(item) for item in planned.stations], dtype=np.intp)[planned.place]
    rows = np.flatnonzero((count > 1) & (planned.under.which > 0))
    found = {name: np.full(len(count), value) for name, value in UNTROUBLED.items()}
    if rows.size:
        for name, column in turning_columns(_turned(planned, figures, rows)).items():
            found[name][rows] = column
    return found


def _turned(planned: Planned, figures: Figures, rows: Index) -> Turned:
    """Return some rows as the statics take them."""
    jobs, stocks = planned.jobs.take(rows), planned.stocks.take(rows)
    machine, place = planned.machine[rows], planned.place[rows]
    geometries = jobs.geometries
    front = np.array([item.front for item in geometries])[jobs.geometry]
    whole = np.array([item.length for item in geometries])[jobs.geometry]
    most = max(len(item) for item in planned.stations)
    stations = np.array(
        [(*item, *[math.nan] * (most - len(item))) for item in planned.stations], dtype=np.float64
    )[place]
    levelling = np.array([stated_or(m.bed.levelling, LEVELLING) for m in planned.machines])[machine]
    is_stated, usual = ~np.isnan(jobs.bow), planned.straightness[rows] * whole
    stage, end = _stages(planned, rows, front)
    turned = Turned(
        length=front,
        whole=whole,
        weight=stocks.nominal_weight,
        stiffness=stocks.nominal_stiffness,
        heavy=stocks.weight / stocks.nominal_weight,
        bow=np.where(is_stated, jobs.bow, usual),
        usual=usual,
        is_stated=is_stated,
        levelling=levelling,
        stations=stations,
        rated=np.full(stations.shape, np.nan),
        absolute=np.full(stations.shape, np.nan),
        give=np.full(stations.shape, np.nan),
        climb=np.full(stations.shape, np.nan),
        stage=stage,
        end=end,
    )
    kinds, which = planned.under.kinds, planned.under.which[rows]
    for number in np.flatnonzero(np.bincount(which)).tolist():
        mine = np.flatnonzero(which == number)
        _stand(turned, kinds[number], mine, stocks.outside[mine], figures)
    return turned


def _stages(planned: Planned, rows: Index, front: Floats) -> tuple[Index, Floats]:
    """Return row and end of every stage: the whole stock, and what is left after each cut."""
    jobs, machine = planned.jobs, planned.machine[rows]
    geometry = jobs.geometry[rows]
    is_cut = np.array([bool(g.parts or g.cuts) for g in jobs.geometries], dtype=np.bool_)[geometry]
    stage, end = [np.arange(len(rows))], [front]
    cut = np.flatnonzero(is_cut)
    keys, back = np.unique(machine[cut] * len(jobs.geometries) + geometry[cut], return_inverse=True)
    every: list[int] = keys.tolist()
    for number, key in enumerate(every):
        model, which = divmod(key, len(jobs.geometries))
        cuts = np.array(cuts_of(jobs.geometries[which], planned.machines[model]))
        mine = cut[back == number]
        stage.append(np.repeat(mine, len(cuts)))
        end.append(np.tile(cuts, len(mine)))
    return np.concatenate(stage), np.concatenate(end)


def _stand(
    turned: Turned, supports: tuple[Support, ...], rows: Index, outside: Floats, figures: Figures
) -> None:
    """Put supports under some rows, the strongest where most is carried; in place."""
    count = len(supports)
    sizes, back = np.unique(outside, return_inverse=True)
    sines: dict[Support, Floats] = {}
    for support in dict.fromkeys(supports):
        angles = [seated(support, size, figures.seat_angles).included for size in sizes.tolist()]
        # What has no two contacts is not climbed out of.
        sine = np.sin(np.array(angles) / 2)
        sines[support] = np.where(np.isnan(sine), np.inf, sine)[back]
    order = np.tile(np.arange(count), (len(rows), 1))
    if len(sines) > 1:
        stations = turned.stations[rows, :count]
        loads, _ = influence(
            turned.length[rows], turned.weight[rows], turned.stiffness[rows], stations,
            np.zeros_like(stations),
        )  # fmt: skip
        order = np.argsort(-loads, axis=1, kind="stable")
    every = rows[:, None]
    for name, values in (
        ("rated", [np.full(len(rows), item.reaction.rated) for item in supports]),
        ("absolute", [np.full(len(rows), item.reaction.absolute) for item in supports]),
        ("give", [np.full(len(rows), _give(item)) for item in supports]),
        ("climb", [sines[item] for item in supports]),
    ):
        getattr(turned, name)[every, order] = np.stack(values, axis=1)


def _give(support: Support) -> float:
    """Return by how much a support goes down under one N, mm."""
    return stated_or(support.give, GIVE) / support.reaction.rated
