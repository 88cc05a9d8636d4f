"""Which rows are alike in several columns at once.

Columns are taken in one after the other, and codes are made dense after each of them: no code is
ever as large as the number of rows, so that a pair of codes fits into 64 bits for any table that
fits into memory, whatever stands in its columns.
"""

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Index = NDArray[np.intp]

TABLE: Final = 65_536
"""Codes up to this, or a few times the rows, are made dense by a table instead of sorting."""


class Combined(NamedTuple):
    """Distinct combinations of columns.

    Attributes:
        code: for each row the place of its combination, below ``len(first)``.
        first: for each combination the first row that has it.
    """

    code: Index
    first: Index


def combined(columns: Sequence[NDArray[Any]], rows: int) -> Combined:
    """Return the distinct combinations of some columns.

    Args:
        columns: (rows,) each; integers, or floats of which those with the same bits are alike.
        rows: their number.
    """
    code: Index = np.zeros(rows, dtype=np.intp)
    count = min(rows, 1)
    for column in columns:
        if count == rows:  # all differ already
            break
        numbers = _whole_numbers(column)
        if (numbers == numbers[0]).all():
            continue
        own, size = _dense(numbers)
        code, count = (own, size) if count == 1 else _dense(code * size + own)
    first: Index = np.zeros(count, dtype=np.intp)
    first[code[::-1]] = np.arange(rows - 1, -1, -1)
    return Combined(code, first)


def _whole_numbers(column: NDArray[Any]) -> NDArray[np.int64]:
    if np.issubdtype(column.dtype, np.floating):
        return np.ascontiguousarray(column, dtype=np.float64).view(np.int64)
    return column.astype(np.int64, copy=False)


def _dense(key: NDArray[np.int64]) -> tuple[Index, int]:
    """Return codes without gaps for numbers, and how many there are."""
    least, most = int(key.min()), int(key.max())
    if most - least > 4 * len(key) + TABLE:
        values, code = np.unique(key, return_inverse=True)
        return code.ravel(), len(values)
    shifted: Index = (key - least).astype(np.intp, copy=False)
    seen = np.zeros(most - least + 1, dtype=np.bool_)
    seen[shifted] = True
    dense: Index = np.cumsum(seen, dtype=np.intp) - 1
    return np.take(dense, shifted), int(dense[-1]) + 1
