"""Measures: array functions, each declared once with its title, unit, heavy end and formula."""

from typing import Final

from . import bow, chuck, drive, grip, jaw_moment, stock, supports, turning_rests
from .registry import GIVEN, Measured, MeasureFunction, compute, in_order, needs_of

REGISTRY: Final = in_order(stock, bow, drive, chuck, supports, grip, turning_rests, jaw_moment)
"""Every measure by name, in the order in which an answer lists them."""

__all__ = ["GIVEN", "REGISTRY", "MeasureFunction", "Measured", "compute", "needs_of"]
