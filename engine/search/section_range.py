"""Which sections of a table a machine takes at one length."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ...catalogue.grades.grades import Grade
from ...catalogue.machines.model import MachineModel
from ...catalogue.tables.sections import Section
from ..backlog.answer import answers_of
from ..decision.decide import Engine
from ..jobs.fields import FIELDS
from ..jobs.job import Geometry
from ..jobs.job_table import JobTable, Stock, fact_column


class Standing(NamedTuple):
    """One section at that length.

    Attributes:
        verdict: empty where a question stands before it.
        decided_by, governing, missing: as in a backlog's answer.
        utilisation: of the governing measure, NaN for none.
    """

    section: Section
    verdict: str
    decided_by: str
    governing: str
    utilisation: float
    missing: str


def section_range(
    sections: Sequence[tuple[Section, Grade]], engine: Engine, machine: MachineModel, length: float
) -> list[Standing]:
    """Judge every section at one length (mm) on a machine, all in one decision."""
    rows = len(sections)
    if not rows:
        return []
    vocabulary = engine.rule_set.vocabulary
    table = JobTable(
        stocks=tuple(Stock(section, grade, "not-stated") for section, grade in sections),
        stock=np.arange(rows),
        geometries=(Geometry(length),),
        geometry=np.zeros(rows, dtype=np.intp),
        fittings=(frozenset[str](),),
        fitting=np.zeros(rows, dtype=np.intp),
        bow=np.full(rows, np.nan),
        off_axis_mass=np.zeros(rows),
        off_axis_distance=np.zeros(rows),
        off_axis_size=np.full(rows, np.nan),
        facts={
            field.name: fact_column(field.name, [field.usual] * rows, vocabulary)
            for field in FIELDS
            if field.kind == "fact"
        },
    )
    decision = engine.decide_table(table, [machine], np.zeros(rows, dtype=np.intp))
    answers = answers_of(engine, decision, has_extra=False)

    def texts(name: str) -> list[str]:
        words, code = answers.words[name]
        places: list[int] = code.tolist()
        return [words[place] for place in places]

    used: list[float] = answers.numbers["utilisation"].tolist()
    columns = zip(
        [section for section, _ in sections], texts("verdict"), texts("decided_by"),
        texts("governing"), used, texts("missing"), strict=True,
    )  # fmt: skip
    return [Standing(*row) for row in columns]
