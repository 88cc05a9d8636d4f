"""A job: one piece of stock, and what is to be cut from it."""

import math
from dataclasses import dataclass
from typing import NamedTuple

from ...catalogue.grades.grades import Grade
from ...catalogue.tables.sections import Section


@dataclass(frozen=True)
class Part:
    """Parts of one length, mm."""

    length: float
    count: int


class Job(NamedTuple):
    """A job read and complete.

    Attributes:
        bow: mid-offset in mm, NaN where not stated.
        off_axis_mass, off_axis_distance: a flange, branch or clamp, kg and mm; 0 for none.
        off_axis_size: its greatest width across the axis, mm; NaN where it is not said.
        ends, contents, coating: values of the facts of the vocabulary.
        fitted: codes of accessories the job or site says are fitted.
        assumptions: what was taken for granted, as sentences for the answer.
        behind: length that passes through the chuck and stands behind it, mm.
        grip: ``outside`` or ``inside``, where the jaws hold.
    """

    section: Section
    grade: Grade
    length: float
    parts: tuple[Part, ...] = ()
    cuts: tuple[float, ...] = ()
    stations: tuple[float, ...] = ()
    bow: float = math.nan
    off_axis_mass: float = 0.0
    off_axis_distance: float = 0.0
    ends: str = "not-stated"
    contents: str = "not-stated"
    coating: str = "not-stated"
    fitted: frozenset[str] = frozenset()
    assumptions: tuple[str, ...] = ()
    behind: float = 0.0
    grip: str = "outside"
    off_axis_size: float = math.nan

    @property
    def front(self) -> float:
        """Length in front of the chuck face, which supports carry and the head reaches."""
        return self.length - self.behind


class Geometry(NamedTuple):
    """What of a job decides where things stand, mm: the same for stock of any section.

    Attributes:
        length: of the stock.
        behind: length that stands behind the chuck face.
        parts: in their order from the free end; ``cuts`` where positions were given instead.
        stations: given by the asker, else empty.
    """

    length: float
    behind: float = 0.0
    parts: tuple[Part, ...] = ()
    cuts: tuple[float, ...] = ()
    stations: tuple[float, ...] = ()

    @property
    def front(self) -> float:
        """Length in front of the chuck face."""
        return self.length - self.behind
