"""Measures: registered array functions, one for each name of the vocabulary."""

from . import chuck as chuck
from . import drive as drive
from . import stock as stock
from . import supports as supports
from .registry import GIVEN, REGISTRY, Measured, MeasureFunction, compute, needs_of

__all__ = ["GIVEN", "REGISTRY", "MeasureFunction", "Measured", "compute", "needs_of"]
