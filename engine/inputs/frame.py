"""The columns that every measure and condition reads: jobs and machines, paired row by row.

Numbers are float arrays in canonical units with NaN for unknown; facts are small integer codes
into the vocabulary.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from ..arrays import Bools, Codes, Floats
from ..jobs.job_table import Index, Stock

NO_ROWS: Final[Index] = np.zeros(0, dtype=np.intp)


class Frame(NamedTuple):
    """Columns of equal length.

    Attributes:
        given: nominal inputs of measures by name.
        heavy: those that differ at the heavy end of the mill tolerance.
        facts: codes by fact name.
        numbers: limits and machine numbers by their vocabulary name.
        accessories: by accessory code, whether it is fitted.
        is_carried: rows whose supports were planned or judged; elsewhere the stock counts as
            carried without trouble.
        places, place: distinct tuples of stations, and which one a row has; -1 where not carried.
        stocks, stock: distinct stocks, and which one a row has.
        in_inches: by the name of a limit on a size, rows whose machine states it in inches;
            a limit that no machine of the frame states in inches is not there.
    """

    rows: int
    given: dict[str, Floats]
    heavy: dict[str, Floats]
    facts: dict[str, Codes]
    numbers: dict[str, Floats]
    accessories: dict[str, Bools]
    is_carried: Bools
    places: tuple[tuple[float, ...], ...] = ()
    place: Index | None = None
    stocks: tuple[Stock, ...] = ()
    stock: Index = NO_ROWS
    in_inches: Mapping[str, Bools] = MappingProxyType({})
