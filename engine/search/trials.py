"""Changes of a refused job that are worth a try, each as it would be typed.

Nothing here decides. A trial is a job with one thing changed; :mod:`.cures` decides all of them at
once. Numbers are rounded as people set them, in the units asked in, before they are tried.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, groupby
from typing import Final, NamedTuple

from ...catalogue.errors import CuttableError
from ...catalogue.machines.model import MachineModel
from ...catalogue.units.lengths import length as read_length
from ...catalogue.units.quantities import quantity
from ...catalogue.units.units import MASS
from ..answer.document import CureChange, CureKind, PartWanted
from ..answer.wording import System, feet_and_inches
from ..jobs.checks import check_positions
from ..jobs.job import Job, Part
from ..jobs.job_table import geometry_of
from ..statics.stocks import grid_of, parts_fitting

INCH: Final = 25.4
MOST_BOWS: Final = 128
MOST_LENGTHS: Final = 10
MOST_PARTS: Final = 8
MOST_SETS: Final = 3
"""Accessories that are tried together."""
CLEANED: Final[Mapping[str, Mapping[str, str]]] = {
    "ends": {"sealed": "open"},
    "contents": dict.fromkeys(("unknown", "flammable", "residue", "filled"), "empty"),
    "coating": {"lined": "none", "lead-paint": "none"},
}
"""What can be done about the state of stock before it is asked about again."""


class Trial(NamedTuple):
    """A changed job.

    Attributes:
        kind: of these one is told.
        effort: of those that do, that with the least is told.
    """

    kind: CureKind
    job: Job
    change: CureChange
    effort: float


def trials_of(
    job: Job, machine: MachineModel, lengths: Sequence[tuple[float, float]], system: System
) -> list[Trial]:
    """Return what is tried of a refused job on a model, one change each.

    Args:
        job: as it was asked.
        machine: the model that refuses it.
        lengths: mm, from and to, of whole stock that the model allows.
        system: the units that are typed.
    """
    found = [
        *_stations(job, machine, system), *_stock(job), *_accessories(job, machine), *_grip(job),
        *_orders(job), *_bows(job, system), *_off_axis(job, system), *_behind(job, machine, system),
        *_lengths(job, machine, lengths, system), *_fewer_parts(job, machine),
    ]  # fmt: skip
    return [trial for trial in found if _is_possible(trial.job)]


def _is_possible(job: Job) -> bool:
    try:
        check_positions(geometry_of(job))
    except CuttableError:
        return False
    return True


# --- supports -------------------------------------------------------------------------------


def _stations(job: Job, machine: MachineModel, system: System) -> Iterator[Trial]:
    """Move or take away one of the supports that were given, the smallest moves first."""
    given = tuple(sorted(job.stations))
    if not given:
        return
    grid = [typed_station(place, machine, system) for place in grid_of(machine)]
    moves = sorted(
        (abs(to - at), at, text, to)
        for at in given for text, to in grid
        if to not in given and to <= job.front
    )  # fmt: skip
    for far, at, _, to in moves:
        places = tuple(sorted({*given, to} - {at}))
        yield _standing(job, places, far, system, moved=(at, to))
    for at in given if len(given) > 1 else ():
        # To take one away is more than to move it anywhere.
        yield _standing(job, tuple(s for s in given if s != at), 1e6, system, moved=(at,))


def planned(job: Job, stations: Iterable[float], machine: MachineModel, system: System) -> Trial:
    """Return the job with supports where the planner puts them, as they would be typed."""
    places = tuple(typed_station(place, machine, system)[1] for place in stations)
    return _standing(job, places, 2e6, system)


def unplanned(job: Job) -> Trial:
    """Return the job without the stations that were given."""
    change = CureChange(kind="stations", say={"stations": ()})
    return Trial("stations", job._replace(stations=()), change, 3e6)


def _standing(
    job: Job, places: tuple[float, ...], effort: float, system: System,
    moved: tuple[float, ...] = (),
) -> Trial:  # fmt: skip
    texts = tuple(text_of(place, system) for place in places)
    change = CureChange(kind="stations", say={"stations": texts}, stations=places, moved=moved)
    return Trial("stations", job._replace(stations=places), change, effort)


def typed_station(place: float, machine: MachineModel, system: System) -> tuple[str, float]:
    """Return a station as it is set by hand, on the bed: text, and mm exactly as it is read."""
    if system == "us":
        eighth = INCH / 8
        down, up = (round_(place / eighth) * eighth for round_ in (math.floor, math.ceil))
        place = up if up <= machine.bed.last_station else down
    text = text_of(place, system)
    return text, read_length(text)


# --- stock ----------------------------------------------------------------------------------


def _stock(job: Job) -> Iterator[Trial]:
    """Open, empty or strip the stock."""
    for name, becomes in CLEANED.items():
        value = becomes.get(getattr(job, name))
        if value is not None:
            change = CureChange(kind="stock", say={name: (value,)}, names=(name, value))
            yield Trial("stock", job._replace(**{name: value}), change, 0.0)


def _grip(job: Job) -> Iterator[Trial]:
    """Hold a round from its other side."""
    if job.section.shape == "round":
        other = "outside" if job.grip == "inside" else "inside"
        change = CureChange(kind="grip", say={"grip": (other,)}, names=(other,))
        yield Trial("grip", job._replace(grip=other), change, 0.0)


def _bows(job: Job, system: System) -> Iterator[Trial]:
    """Straighter stock, by what a string measures."""
    if math.isnan(job.bow) or job.bow <= 0:
        return
    step = INCH / 16 if system == "us" else 1.0
    coarse = max(1, math.ceil(job.bow / step / MOST_BOWS))
    for number in range(1, math.ceil(job.bow / step), coarse):
        text = text_of(number * step, system)
        bow = read_length(text)
        change = CureChange(kind="bow", say={"bow": (text,)}, most=bow)
        yield Trial("bow", job._replace(bow=bow), change, job.bow - bow)


def _off_axis(job: Job, system: System) -> Iterator[Trial]:
    """A lighter fitting at its distance, or one that is balanced to so much."""
    if job.off_axis_mass <= 0:
        return
    name, size = ("lb", 0.45359237) if system == "us" else ("kg", 1.0)
    whole = math.ceil(job.off_axis_mass / size) - 1
    for number in range(whole, 0, -max(1, math.ceil(whole / MOST_BOWS))):
        mass, where = f"{number} {name}", exact_text(job.off_axis_distance)
        heavy = quantity(mass, MASS)
        change = CureChange(kind="off-axis", say={"off_axis": (f"{mass} @ {where}",)}, most=heavy)
        yield Trial("off-axis", job._replace(off_axis_mass=heavy), change, job.off_axis_mass)


# --- machine --------------------------------------------------------------------------------


def _accessories(job: Job, machine: MachineModel) -> Iterator[Trial]:
    """Fit one, two or three of what the model offers and has not; supports of this shape first."""
    fitted = machine.fitted_as_delivered | job.fitted
    shape = job.section.shape
    carriers = [item.code for item in machine.supports if shape in item.carries]
    offered = [code for code in machine.offered if code not in fitted]
    offered.sort(key=lambda code: code not in carriers)
    for count in range(1, min(len(offered), MOST_SETS) + 1):
        for number, codes in enumerate(combinations(offered, count)):
            yield fitting(job, codes, count + number / 100)


def fitting(job: Job, codes: Sequence[str], effort: float) -> Trial:
    """Return the job with accessories fitted."""
    every = job.fitted | set(codes)
    change = CureChange(kind="accessories", say={"fitted": tuple(sorted(every))},
                        names=tuple(codes))  # fmt: skip
    return Trial("accessories", job._replace(fitted=every), change, effort)


def _behind(job: Job, machine: MachineModel, system: System) -> Iterator[Trial]:
    """Let some of the stock stand behind the chuck, or less of it."""
    room = machine.bed.rear_room
    if not (machine.chuck.bore > 0 and room > 0) and job.behind <= 0:
        return
    shares = (0.0, 0.25, 0.5, 0.75, 1.0)
    for share in shares:
        text, behind = rounded_length(min(room * share, job.length), system) if share else ("", 0.0)
        if behind == job.behind or (not behind and share):
            continue
        say = {"behind": (text,) if text else ()}
        change = CureChange(kind="behind", say=say, least=behind, most=behind)
        yield Trial("behind", job._replace(behind=behind), change, abs(behind - job.behind))


# --- lengths and parts ----------------------------------------------------------------------


def _lengths(
    job: Job, machine: MachineModel, lengths: Sequence[tuple[float, float]], system: System
) -> Iterator[Trial]:
    """Stock of another length: of whole stock the nearest that is allowed; else some lengths."""
    if not (job.parts or job.cuts or job.stations):
        for low, high in lengths:
            end = low if job.length < low else high
            text, length = rounded_length(end, system, is_up=end == low)
            if low <= length <= high:
                change = CureChange(kind="length", say={"length": (text,)}, least=low, most=high)
                yield _longer(job, length, change)
        return
    longest = max((high for _, high in lengths), default=math.nan)
    for wanted in _stock_lengths(job, machine, longest):
        text, length = rounded_length(wanted, system, is_up=True)
        if length != job.length:
            change = CureChange(kind="length", say={"length": (text,)}, least=length, most=length)
            yield _longer(job, length, change)


def _longer(job: Job, length: float, change: CureChange) -> Trial:
    return Trial("length", job._replace(length=length), change, abs(length - job.length))


def _stock_lengths(job: Job, machine: MachineModel, longest: float) -> Iterator[float]:
    """Return lengths that all parts or cuts come out of, from the least that could do."""
    if math.isnan(longest):
        return
    cutting = machine.cutting
    if job.parts:
        total = sum((part.length + cutting.kerf) * part.count for part in job.parts)
        least = total + cutting.trim + machine.bed.stub + job.behind
    else:
        least = max((*job.cuts, *job.stations)) + cutting.trim + job.behind
    if least > longest:
        return
    # What is left in the chuck grows: a little at first, then as far as the model goes.
    for number in range(MOST_LENGTHS):
        yield least + (longest - least) * (number / (MOST_LENGTHS - 1)) ** 2


def _fewer_parts(job: Job, machine: MachineModel) -> Iterator[Trial]:
    """Cut fewer parts from this piece, the last ones left out."""
    every = _one_by_one(job.parts)
    fit = parts_fitting(geometry_of(job), machine)
    most = len(every) - 1 if math.isnan(fit) else min(len(every) - 1, int(fit))
    for count in range(most, max(most - MOST_PARTS, 0), -1):
        yield _cutting("parts", job, every[:count], float(len(every) - count))


def _orders(job: Job) -> Iterator[Trial]:
    """Cut the same parts in another order."""
    every = _one_by_one(job.parts)
    tried = {tuple(every)}
    for number, order in enumerate((sorted(every, reverse=True), sorted(every), every[::-1])):
        if tuple(order) not in tried:
            tried.add(tuple(order))
            yield _cutting("order", job, order, float(number))


def _cutting(kind: CureKind, job: Job, lengths: Sequence[float], effort: float) -> Trial:
    parts = tuple(Part(size, len(list(alike))) for size, alike in groupby(lengths))
    change = CureChange(
        kind=kind,
        say={"parts": tuple(f"{exact_text(part.length)}*{part.count}" for part in parts)},
        parts=tuple(PartWanted(length=part.length, count=part.count) for part in parts),
    )
    return Trial(kind, job._replace(parts=parts), change, effort)


def _one_by_one(parts: Sequence[Part]) -> list[float]:
    return [part.length for part in parts for _ in range(part.count)]


# --- as it is typed -------------------------------------------------------------------------


def rounded_length(value: float, system: System, *, is_up: bool = False) -> tuple[str, float]:
    """Return a length to 1 mm or half an inch, as text and exactly as it is read."""
    step = INCH / 2 if system == "us" else 1.0
    whole = math.ceil(value / step - 1e-6) if is_up else math.floor(value / step + 1e-6)
    text = text_of(max(whole, 1) * step, system)
    return text, read_length(text)


def text_of(value: float, system: System) -> str:
    """Return a length that is whole in its unit, as it is typed."""
    if system == "si":
        return exact_text(value)
    if value >= 12 * INCH:
        return feet_and_inches(value)
    return f"{value / INCH:.4f}".rstrip("0").rstrip(".") + " in"


def exact_text(value: float) -> str:
    """Return a length in mm that is read as this very number."""
    text = f"{value:.1f}".removesuffix(".0") if value == round(value, 1) else repr(value)
    # Three places after a point would be asked about: the point may part thousands.
    return f"{text}0 mm" if re.fullmatch(r"\d{1,3}\.\d{3}", text) else f"{text} mm"
