"""A straight bar pinned at the chuck on supports that give a little and push but never pull.

How loads answer to heights is found once for each bar; every bow, roll angle and error of height is
then a change of heights. Lengths in mm, forces in N, EI in N*mm^2. All bars of one call stand on
equally many supports.

Method: three-moment equation with settlements (Clapeyron); supports that give make it five moments
wide, symmetric and positive definite. One-sided contact is a linear complementarity problem, solved
by principal pivots on the lowest index that fails (Murty, 1974).
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats

_MOST_PIVOTS: Final = 200
_CLOSE: Final = 1e-9


def influence(
    length: Floats, weight: Floats, stiffness: Floats, stations: Floats, give: Floats
) -> tuple[Floats, Floats]:
    """Return loads on level supports, and how they change with heights, as if supports could pull.

    Args:
        length: (bars,) mm from the chuck face to the free end.
        weight: (bars,) N/mm.
        stiffness: (bars,) EI in N*mm^2.
        stations: (bars, supports) mm, ascending, one at least.
        give: (bars, supports) mm/N by which a support goes down under load; 0 for a rigid one.

    Returns:
        Loads (bars, supports) in N, upward positive, and (bars, supports, supports) N/mm: by how
        much the load of the first support grows where the second is set higher.
    """
    bars, count = stations.shape
    nodes = np.concatenate([np.zeros((bars, 1)), stations], axis=1)
    span = np.diff(nodes, axis=1)
    overhang = length - stations[:, -1]
    end_moment = -weight * overhang**2 / 2
    half = weight[:, None] * span / 2
    # Loads where no moment bends the bar at its inner supports.
    loads = half.copy()
    loads[:, :-1] += half[:, 1:]
    loads[:, -1] += weight * overhang - end_moment / span[:, -1]
    if count > 1:
        loads[:, -2] += end_moment / span[:, -1]
    inner = count - 1
    if not inner:
        return loads, np.zeros((bars, 1, 1))
    # Row i: turn of the bar's line at the support i for heights of the supports; the chuck is 0.
    turn = np.zeros((bars, inner, count))
    for place in range(inner):
        near, far = 1 / span[:, place], 1 / span[:, place + 1]
        if place:
            turn[:, place, place - 1] = near
        turn[:, place, place] = -near - far
        turn[:, place, place + 1] = far
    # Moments are counted in 6 EI, so that all that is left are lengths.
    six = 6 * stiffness
    matrix = np.einsum("rik,rjk->rij", turn * give[:, None, :], turn)
    known = np.zeros((bars, inner, count + 1))
    for place in range(inner):
        left, right = span[:, place], span[:, place + 1]
        matrix[:, place, place] += 2 * (left + right) / six
        if place:
            matrix[:, place, place - 1] += left / six
            matrix[:, place - 1, place] += left / six
        known[:, place, 0] = -weight * (left**3 + right**3) / 4 / six
    known[:, -1, 0] -= span[:, -1] * end_moment / six
    known[:, :, 0] -= np.einsum("rik,rk->ri", turn, give * loads)
    known[:, :, 1:] = turn
    moments = _solve_positive(matrix, known)
    loads = loads + np.einsum("rik,ri->rk", turn, moments[:, :, 0])
    return loads, np.einsum("rik,rij->rkj", turn, moments[:, :, 1:])


def _solve_positive(matrix: Floats, known: Floats) -> Floats:
    """Solve small symmetric positive definite systems, one a row, by elimination."""
    matrix, known = matrix.copy(), known.copy()
    size = matrix.shape[1]
    for place in range(size):
        pivot = matrix[:, place, place, None].copy()
        for row in range(place + 1, size):
            factor = matrix[:, row, place, None] / pivot
            matrix[:, row, place:] -= factor * matrix[:, place, place:]
            known[:, row] -= factor * known[:, place]
    for place in range(size - 1, -1, -1):
        known[:, place] /= matrix[:, place, place, None]
        for row in range(place):
            known[:, row] -= matrix[:, row, place, None] * known[:, place]
    return known


def push_only(loads: Floats, per_height: Floats, bar: NDArray[np.intp] | None = None) -> Floats:
    """Return loads where supports only push: (cases, supports) N; 0 where the bar has lifted off.

    Args:
        loads: (cases, supports) N as if supports could pull; in sum above zero.
        per_height: (bars, supports, supports) N/mm.
        bar: (cases,) the bar of each case; without it, each case is a bar of its own.
    """
    result = np.maximum(loads, 0.0)
    room = _CLOSE * np.abs(loads).sum(axis=1, keepdims=True)
    todo: NDArray[np.intp] = np.flatnonzero((loads < -room).any(axis=1))
    value, room = loads[todo], room[todo]
    table = per_height[todo if bar is None else bar[todo]]
    # A support that the bar has left is one set so much higher that it just touches.
    is_left = np.zeros(value.shape, dtype=np.bool_)
    stiff = np.maximum(np.einsum("rii->ri", table), np.finfo(np.float64).tiny)
    for _ in range(_MOST_PIVOTS):
        if not todo.size:
            break
        fails: Bools = np.less(value, np.negative(np.where(is_left, room / stiff, room)))
        done: Bools = ~np.logical_or.reduce(fails, axis=1)
        if done.any():
            result[todo[done]] = np.where(is_left[done], 0.0, np.maximum(value[done], 0.0))
            keep: Bools = ~done
            todo, value, table, room = todo[keep], value[keep], table[keep], room[keep]
            is_left, stiff, fails = is_left[keep], stiff[keep], fails[keep]
        if todo.size:
            _pivot(value, table, is_left, np.argmax(fails, axis=1))
    else:
        result[todo] = np.nan  # never known to happen; unknown passes no limit
    return result


def _pivot(value: Floats, table: Floats, is_left: NDArray[np.bool_], at: NDArray[np.intp]) -> None:
    """Let one support of each case go, or come to bear again; in place."""
    every = np.arange(len(at))
    pivot = table[every, at, at][:, None]
    row, column = table[every, at, :] / pivot, table[every, :, at]
    own = value[every, at][:, None] / pivot
    value -= column * own
    value[every, at] = -own[:, 0]
    table -= column[:, :, None] * row[:, None, :]
    table[every, :, at] = column / pivot
    table[every, at, :] = -row
    table[every, at, at] = 1 / pivot[:, 0]
    is_left[every, at] = ~is_left[every, at]
