"""Which of many combinations of stations carry a job at all, rated together in one call.

It only leaves out what cannot do: what is left is judged by the whole verdict.
"""

from collections.abc import Sequence

import numpy as np

from ...catalogue.machines.model import MachineModel
from ...rules.model import RuleSet
from ..arrays import Bools
from ..inputs.figures import figures_of
from ..inputs.stock import coating_mass
from ..jobs.job import Job
from ..jobs.job_table import geometry_of
from ..statics.stocks import Keyed, stock_numbers, stocks_of, usable_supports
from ..statics.support_loads import Carrier
from ..statics.support_rating import fullness_of, rate
from ..tolerance import FULL


def carrying(
    rule_set: RuleSet, job: Job, machine: MachineModel, stations: Sequence[tuple[float, ...]]
) -> Bools:
    """Say for each combination, all of as many stations, whether it is within absolute limits.

    Args:
        rule_set: for the builder's figures.
        job: its own stations are not looked at.
        machine: what it stands on.
        stations: mm from the chuck face, ascending.
    """
    section, figures = job.section, figures_of(rule_set)
    fitted = machine.fitted_as_delivered | (job.fitted & machine.offered.keys())
    usable = usable_supports(Keyed(machine), fitted, section.shape, section.height, figures)
    if not stations or len(stations[0]) > len(usable.supports):
        return np.zeros(len(stations), dtype=np.bool_)
    zinc = coating_mass(section, job.coating, rule_set.lookups["zinc_mass"])
    stocks = stocks_of(np.array([stock_numbers(section, job.grade, zinc)], dtype=np.float64))
    carrier = Carrier(machine, geometry_of(job), usable, figures)
    held = tuple(not np.isnan(carrier.tabs(stocks, piece).width[0]) for piece in carrier.free)
    bed = carrier.bed(usable, held)._replace(
        weight=float(stocks.weight[0]), stiffness=float(stocks.stiffness[0])
    )
    rating = rate(bed, np.array(stations, dtype=np.float64))
    return fullness_of(bed, rating, level="absolute") <= FULL
