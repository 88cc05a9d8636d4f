"""Jobs as columns: what is distinct is kept once, and every row points to it."""

import math
from collections.abc import Hashable, Iterable, Sequence
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from ...catalogue.grades.grades import Grade
from ...catalogue.tables.sections import Section
from ...rules.model import Vocabulary
from ..arrays import Codes, Floats
from .fields import FIELDS
from .job import Geometry, Job

Index = NDArray[np.intp]
K = TypeVar("K", bound=Hashable)

JOB_FACTS = tuple(field.name for field in FIELDS if field.kind == "fact")


class Stock(NamedTuple):
    """What a piece is made of; ``coating`` is a value of that fact."""

    section: Section
    grade: Grade
    coating: str


class JobTable(NamedTuple):
    """Jobs, one a row.

    Attributes:
        stocks, stock: distinct stocks, and the place of each row's stock among them.
        geometries, geometry: the same of lengths, parts, cuts and stations.
        fittings, fitting: the same of accessories said to be fitted.
        bow: mm, NaN where not stated.
        off_axis_mass, off_axis_distance, off_axis_size: kg, mm and mm, NaN where not stated.
        facts: codes of the facts that a job states.
    """

    stocks: tuple[Stock, ...]
    stock: Index
    geometries: tuple[Geometry, ...]
    geometry: Index
    fittings: tuple[frozenset[str], ...]
    fitting: Index
    bow: Floats
    off_axis_mass: Floats
    off_axis_distance: Floats
    off_axis_size: Floats
    facts: dict[str, Codes]

    @property
    def rows(self) -> int:
        """Number of jobs."""
        return len(self.stock)

    def take(self, rows: Index) -> "JobTable":
        """Return some of the rows, in this order, with the same distinct values."""
        return self._replace(
            stock=self.stock[rows],
            geometry=self.geometry[rows],
            fitting=self.fitting[rows],
            bow=self.bow[rows],
            off_axis_mass=self.off_axis_mass[rows],
            off_axis_distance=self.off_axis_distance[rows],
            off_axis_size=self.off_axis_size[rows],
            facts={name: column[rows] for name, column in self.facts.items()},
        )

    def joined(self, other: "JobTable") -> "JobTable":
        """Return both one after the other; ``other`` has the later and longer distinct values."""
        return other._replace(
            stock=np.concatenate([self.stock, other.stock]),
            geometry=np.concatenate([self.geometry, other.geometry]),
            fitting=np.concatenate([self.fitting, other.fitting]),
            bow=np.concatenate([self.bow, other.bow]),
            off_axis_mass=np.concatenate([self.off_axis_mass, other.off_axis_mass]),
            off_axis_distance=np.concatenate([self.off_axis_distance, other.off_axis_distance]),
            off_axis_size=np.concatenate([self.off_axis_size, other.off_axis_size]),
            facts={
                name: np.concatenate([column, other.facts[name]])
                for name, column in self.facts.items()
            },
        )


def distinct(items: Iterable[K]) -> tuple[tuple[K, ...], Index]:
    """Return what is distinct in order of first appearance, and where each item is in it."""
    places: dict[K, int] = {}
    index = [places.setdefault(item, len(places)) for item in items]
    return tuple(places), np.array(index, dtype=np.intp)


def geometry_of(job: Job) -> Geometry:
    """Return what of a job decides where things stand."""
    return Geometry(job.length, job.behind, job.parts, job.cuts, job.stations)


def table_of(jobs: Sequence[Job], vocabulary: Vocabulary) -> JobTable:
    """Return jobs as a table."""
    stocks, stock = distinct(Stock(job.section, job.grade, job.coating) for job in jobs)
    geometries, geometry = distinct(geometry_of(job) for job in jobs)
    fittings, fitting = distinct(job.fitted for job in jobs)
    return JobTable(
        stocks, stock, geometries, geometry, fittings, fitting,
        bow=np.array([job.bow for job in jobs], dtype=np.float64),
        off_axis_mass=np.array([job.off_axis_mass for job in jobs], dtype=np.float64),
        off_axis_distance=np.array([job.off_axis_distance for job in jobs], dtype=np.float64),
        off_axis_size=np.array([job.off_axis_size for job in jobs], dtype=np.float64),
        facts={
            name: fact_column(name, [getattr(job, name) for job in jobs], vocabulary)
            for name in JOB_FACTS
        },
    )  # fmt: skip


def fact_column(name: str, values: Sequence[str], vocabulary: Vocabulary) -> Codes:
    """Return codes of the values of one fact."""
    codes = {value: code for code, value in enumerate(vocabulary.facts[name].values)}
    return np.array([codes[value] for value in values], dtype=np.int8)


def part_total(geometry: Geometry) -> float:
    """Return the length of all parts together, NaN where none are known."""
    if not geometry.parts:
        return math.nan
    return sum(part.length * part.count for part in geometry.parts)
