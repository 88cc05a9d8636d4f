"""Sizes by the inches that a standard prints, beside those by its millimetres.

A standard of pipe prints two columns that are not conversions of each other: NPS 12 is
12.750 in and 323.8 mm, which is 12.748 in. A builder who rates a machine at 12.75 in, and one
who rates it at 323.8 mm, both mean NPS 12. So a size is compared with a limit in the column of
the unit that the limit was written in, and shown in the column of the unit asked for.

Here the columns are in mm as all lengths are: the printed inches times 25.4.
"""

from functools import lru_cache
from typing import Final

import numpy as np

from ..arrays import Floats
from ..inputs.frame import Frame
from ..inputs.stock import size_inputs
from . import REGISTRY, compute, needs_of

SIZE_INPUTS: Final = ("round_size", "swept_size", "nominal_wall", "inside_size")
"""Given columns that a standard prints, or that follow from nothing but what it prints."""


@lru_cache(maxsize=1)
def sized_measures() -> frozenset[str]:
    """Return the measures that are sizes: lengths across the stock, with bow or without.

    How much bow is allowed is no size: it is a clearance, computed like masses from millimetres.
    """
    return frozenset(
        name
        for name in REGISTRY
        if REGISTRY[name].declared.unit == "mm"
        and needs_of(name).intersection(SIZE_INPUTS)
        and "swept_absolute" not in needs_of(name)
    )


def inch_columns(frame: Frame) -> dict[str, Floats]:
    """Return every size of every row by its printed inches, in mm; heavy ones as ``name.heavy``.

    Stock that is printed in millimetres only has those.
    """
    inputs = [size_inputs(item.section, item.grade, by_inches=True) for item in frame.stocks]

    def spread(name: str) -> Floats:
        values = np.array([item[name] for item in inputs], dtype=np.float64)
        return values[frame.stock]

    given = frame.given | {name: spread(name) for name in SIZE_INPUTS}
    heavy = frame.heavy | {
        name: spread(f"h.{name}") for name in SIZE_INPUTS if f"h.{name}" in inputs[0]
    }
    measured = compute(frame._replace(given=given, heavy=heavy), sized_measures())
    sizes = {name: measured.nominal[name] for name in sized_measures()}
    at_heavy = {name: measured.heavy[name] for name in sized_measures() if name in measured.heavy}
    return sizes | {f"{name}.heavy": column for name, column in at_heavy.items()}
