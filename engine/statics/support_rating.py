"""How combinations of stations do: what stands there carries, and how full every limit is.

What they carry is found for a bar of unit weight and unit stiffness: on level supports forces grow
with the weight alone, and sag with weight / stiffness.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats
from .beam import Bars, Carried, shape, solve, solve_two_sided, span_sag
from .part_release import pieces


class Bound(NamedTuple):
    """A rated and an absolute limit; NaN where the builder states none."""

    rated: float
    absolute: float


class Bed(NamedTuple):
    """What is to be supported, and with what.

    Attributes:
        length: of the stock, mm.
        weight: heavy end, N/mm.
        stiffness: EI with the thin wall, N*mm^2.
        grid: stations of the bed, mm.
        ratings: (rated, absolute) reaction in N of each support fitted that carries this
            shape, strongest first.
        span, overhang, sag, chuck_reaction, chuck_moment: limits (mm, mm, mm, N, N*mm).
        keep_clear: mm between a support and a cut.
        margin: mm by which supports must straddle a centre of mass.
        cuts: in the order they are made.
        is_held: for each cut, whether tabs hold the piece that it frees.
        freed: for each cut, the ends of that piece where kerf and trim matter; without it,
            pieces reach from cut to cut.
    """

    length: float
    weight: float
    stiffness: float
    grid: tuple[float, ...]
    ratings: tuple[Bound, ...]
    span: Bound
    overhang: Bound
    sag: Bound
    chuck_reaction: Bound
    chuck_moment: Bound
    keep_clear: float
    margin: float
    cuts: tuple[float, ...] = ()
    is_held: tuple[bool, ...] = ()
    freed: tuple[tuple[float, float], ...] = ()


class Rating(NamedTuple):
    """How candidates do; demands are the worst of both chuck ends and of every stage.

    Of a bar of unit weight and stiffness, forces and sag are those of one N/mm and one N*mm^2.

    Attributes:
        span, overhang, sag: (candidates,) mm.
        chuck_reaction, chuck_moment: (candidates,) N, N*mm, absolute values.
        support_reaction: (candidates,) N, the largest.
        support_share: (candidates,) largest reaction / rating, supports dealt strongest to
            most loaded.
        absolute_share: (candidates,) the same against what each of them may bear at most.
        lifts_off: (candidates,) some support does not carry.
        is_clear: (candidates,) every support keeps clear of every cut and end.
        is_stable: (candidates,) every freed piece stays or is held.
        chuck_share: (candidates,) part of the weight the chuck carries.
    """

    span: Floats
    overhang: Floats
    sag: Floats
    chuck_reaction: Floats
    chuck_moment: Floats
    support_reaction: Floats
    support_share: Floats
    absolute_share: Floats
    lifts_off: Bools
    is_clear: Bools
    is_stable: Bools
    chuck_share: Floats


def rate(bed: Bed, candidates: Floats) -> Rating:
    """Rate combinations of stations: (candidates, supports) mm, ascending.

    Supports that the stock lifts off carry nothing and the others are solved again without.
    """
    return rate_stages(bed, candidates, (bed.length, *bed.cuts), is_one_sided=True)


def rate_stages(
    bed: Bed, candidates: Floats, ends: Sequence[float], *, is_one_sided: bool
) -> Rating:
    """Rate candidates at the stages that end there; two-sided is enough where none lifts."""
    count = len(candidates)
    if not candidates.shape[1]:
        candidates = np.full((count, 1), np.nan)  # no support: the chuck alone
    length = np.repeat(np.array(ends, dtype=np.float64), count)
    under = np.tile(candidates, (len(ends), 1))
    under = np.where(under < length[:, None], under, np.nan)
    demands = demands_of(bed, under, length, is_one_sided=is_one_sided)
    worst: dict[str, Floats] = {
        name: np.maximum.reduce(values.reshape(len(ends), count))
        for name, values in demands.items()
    }
    lifts = worst.pop("lifts") > 0
    # How much the chuck carries is asked of the whole stock, which is the first stage.
    share = demands["chuck_reaction"][:count] / (bed.weight * length[:count])
    return Rating(
        **worst,
        lifts_off=lifts,
        is_clear=is_clear(bed, candidates),
        is_stable=is_stable(bed, candidates),
        chuck_share=share,
    )


def demands_of(bed: Bed, under: Floats, length: Floats, *, is_one_sided: bool) -> dict[str, Floats]:
    """Return demands of bars of these lengths, the worse of clamped and pinned chuck."""
    rows, most = under.shape
    twice = np.concatenate([under, under])
    bars = Bars(
        np.concatenate([length, length]),
        np.full(2 * rows, bed.weight),
        np.full(2 * rows, bed.stiffness),
        twice,
        np.zeros_like(twice),
        np.repeat([True, False], rows),
    )
    carried, carries = solve_two_sided(bars)
    lifts = ~carries
    sag = span_sag(bars, carried)
    tip = bars.weight * bars.length**4 / (8 * bars.stiffness)  # of a cantilever
    if is_one_sided and lifts.any():
        carried, sag = _with_lifting(bars, carried, sag, np.flatnonzero(lifts))
    has_support = ~np.isnan(twice).all(axis=1)
    # A bar that a pinned chuck alone must hold is held: the chuck does grip. The clamped case
    # gives its numbers. What hangs from the chuck alone sags at its end; that counts as sag.
    gone = carried.has_failed
    sag: Floats = np.where(gone, 0.0, np.where(has_support, sag, tip))
    reactions = _or_zero(carried.reactions)
    bounds = np.full((2, most), math.nan)
    for place, bound in enumerate(bed.ratings[:most]):
        bounds[:, place] = bound.rated, bound.absolute
    dealt = -np.sort(-reactions, axis=1)
    share, at_most = (
        np.maximum.reduce(_or_zero(dealt / limits), axis=1, initial=0.0) for limits in bounds
    )
    largest: Floats = np.maximum.reduce(reactions, axis=1, initial=0.0)
    nodes = np.concatenate([np.zeros((rows, 1)), under], axis=1)
    gaps = _or_zero(np.diff(nodes, axis=1))
    chuck: Floats = np.where(gone, 0.0, np.abs(carried.chuck_reaction))
    moment: Floats = np.where(gone, 0.0, np.abs(carried.chuck_moment))

    def worse(values: Floats) -> Floats:
        return np.maximum(values[:rows], values[rows:])

    return {
        "span": np.maximum.reduce(gaps, axis=1, initial=0.0),
        "overhang": length - np.maximum.reduce(_or_zero(nodes), axis=1),
        "sag": worse(sag),
        "chuck_reaction": worse(chuck),
        "chuck_moment": worse(moment),
        "support_reaction": worse(largest),
        "support_share": worse(share),
        "absolute_share": worse(at_most),
        "lifts": worse(lifts.astype(np.float64)),
    }


def _with_lifting(
    bars: Bars, carried: Carried, sag: Floats, rows: NDArray[np.intp]
) -> tuple[Carried, Floats]:
    """Solve some rows again with supports that only push."""
    part = bars.take(rows)
    solved = solve(part)
    for whole, piece in zip(carried, solved, strict=True):
        whole[rows] = piece
    sag[rows] = shape(part, solved).sag
    return carried, sag


def _or_zero(values: Floats) -> Floats:
    return np.where(np.isnan(values), 0.0, values)


def is_clear(bed: Bed, candidates: Floats) -> Bools:
    """Say for which candidates every support keeps clear of every cut and of the end."""
    clear = np.ones(len(candidates), dtype=np.bool_)
    for cut in bed.cuts:
        near = np.abs(candidates - cut) < bed.keep_clear - 1e-6
        clear &= ~near.any(axis=1)
    return clear & ~(candidates >= bed.length - 1e-6).any(axis=1)


def is_stable(bed: Bed, candidates: Floats) -> Bools:
    """Say for which candidates every piece stays or is held by tabs."""
    stable = np.ones(len(candidates), dtype=np.bool_)
    for cut, outer in unheld(bed):
        centre = (cut + outer) / 2
        inside = (candidates > cut) & (candidates <= centre - bed.margin)
        outside = (candidates < outer) & (candidates >= centre + bed.margin)
        stable &= inside.any(axis=1) & outside.any(axis=1)
    return stable


def unheld(bed: Bed) -> list[tuple[float, float]]:
    """Return the ends of every piece that no tabs hold."""
    freed = bed.freed or tuple(
        (piece.inner, piece.outer) for piece in pieces(bed.length, bed.cuts, (), bed.margin)
    )
    return [ends for ends, is_held in zip(freed, bed.is_held, strict=True) if not is_held]


def fullness_of(bed: Bed, rating: Rating, *, level: str) -> Floats:
    """Return the largest utilisation of each candidate; infinite where it must not be used.

    Args:
        bed: the bed.
        rating: of the candidates.
        level: ``rated`` or ``absolute``, the bound that counts as full.
    """
    fixed, force, sag = shares_of(bed, rating, level)
    return np.where(_is_usable(rating), np.maximum(np.maximum(fixed, force), sag), np.inf)


def _is_usable(rating: Rating) -> Bools:
    return ~rating.lifts_off & rating.is_clear & rating.is_stable


def shares_of(bed: Bed, rating: Rating, level: str) -> tuple[Floats, Floats, Floats]:
    """Return the fullest of: lengths, forces, sag. Limits that are not stated count as empty."""
    is_rated = level == "rated"

    def share(values: Floats, bound: Bound) -> Floats:
        limit = bound.rated if is_rated else bound.absolute
        return np.zeros_like(values) if math.isnan(limit) else values / limit

    supports = rating.support_share if is_rated else rating.absolute_share
    return (
        np.maximum(share(rating.span, bed.span), share(rating.overhang, bed.overhang)),
        np.maximum.reduce(
            [
                supports,
                share(rating.chuck_reaction, bed.chuck_reaction),
                share(rating.chuck_moment, bed.chuck_moment),
            ]
        ),
        share(rating.sag, bed.sag),
    )


def unit_rating(bed: Bed, stations: tuple[float, ...]) -> Rating:
    """Return the rating of one combination of stations with unit weight and stiffness."""
    return _unit_rating(bed._replace(weight=1.0, stiffness=1.0), stations)


@lru_cache(maxsize=65536)
def _unit_rating(bed: Bed, stations: tuple[float, ...]) -> Rating:
    return rate(bed, np.array([stations], dtype=np.float64))
