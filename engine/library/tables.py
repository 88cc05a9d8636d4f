"""What the tool knows, as tables of pandas."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from ...catalogue.machines.model import LIMITS, Limit
from ...catalogue.tables.search import find_sections
from ...catalogue.units.units import canonical
from ..answer.reasons import plain
from ..answer.wording import System
from ..assessor import AssessorCore
from ..jobs.fields import JobText
from ..jobs.parse import read_job
from ..search.lengths import STEPS, length_intervals
from .options import raise_open


def section_table(assessor: AssessorCore, text: str) -> pd.DataFrame:
    """Return sections, in the order of the tables; see :meth:`.assessor.Assessor.sections`."""
    tables = assessor.catalogue.tables
    found = find_sections(text, tables) if text.strip() else tables.every_section()
    return pd.DataFrame(
        [
            (item.designation, item.shape, item.height, item.width, item.wall,
             item.swept_diameter, 7850 * item.area / 1e6, item.standard)
            for item in found
        ],
        columns=["section", "shape", "height", "width", "wall", "swept_diameter", "linear_mass",
                 "standard"],
    )  # fmt: skip


def machine_table(assessor: AssessorCore) -> pd.DataFrame:
    """Return limits of models, smallest model first; see :meth:`.assessor.Assessor.machines`."""
    rows: list[tuple[Any, ...]] = []

    def add(model: tuple[Any, ...], name: str, limit: Limit, unit: str) -> None:
        rows.append((*model, name, limit.minimum, limit.rated, limit.absolute, unit, limit.basis))

    for machine in assessor.catalogue.machines.values():
        model = (machine.code, machine.revision, machine.title)
        for name, (dimension, _) in LIMITS.items():
            add(model, name, machine.limit(name), canonical(dimension).name)
        for family, limit in machine.wall.items():
            add(model, f"wall.{family}", limit, "mm")
        for support in machine.supports:
            add(model, f"reaction.{support.code}", support.reaction, "N")
    columns = ["machine", "revision", "title", "limit", "minimum", "rated", "absolute", "unit",
               "basis"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def length_table(
    assessor: AssessorCore, text: JobText, names: Sequence[str], units: System
) -> pd.DataFrame:
    """Return intervals of length; see :meth:`.assessor.Assessor.lengths`."""
    job, questions = read_job(text, assessor.catalogue, assessor.rule_set.vocabulary)
    raise_open(questions)
    rows: list[dict[str, Any]] = []
    if job is not None:
        for machine in assessor.machines(names):
            found = length_intervals(assessor.engine, job, machine, STEPS[units])
            rows += [{"machine": machine.code, **plain(item)} for item in found]
    made = pd.DataFrame(rows).rename(columns={"low": "shortest", "high": "longest"})
    made["missing"] = ["; ".join(item) for item in made["missing"]]
    return made
