"""Measures: array functions, each declared once with its title, unit, heavy end and formula."""

from typing import Final

from . import (
    bow,
    chuck,
    drive,
    fitting,
    grip,
    jaw_moment,
    rolling,
    stock,
    stop,
    supports,
    turning,
    turning_rests,
)
from .registry import GIVEN, Measured, MeasureFunction, compute, in_order, needs_of

REGISTRY: Final = in_order(
    stock, bow, drive, chuck, supports, turning, grip, stop, fitting, rolling, turning_rests,
    jaw_moment,
)  # fmt: skip
"""Every measure by name, in the order in which an answer lists them."""

__all__ = ["GIVEN", "REGISTRY", "MeasureFunction", "Measured", "compute", "needs_of"]
