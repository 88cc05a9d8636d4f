"""Jobs paired with machines: the frame of inputs that measures and conditions read.

What is the same for many rows is worked out once and spread.
"""

import math
from collections.abc import Sequence

import numpy as np

from ...catalogue.machines.model import MachineModel
from ...rules.model import RuleSet
from ..jobs.job_table import Index, JobTable
from ..statics.stocks import parts_fitting
from ..statics.support_loads import UNTROUBLED
from .figures import MEASURED, figures_of, newer, stock_figures_of
from .frame import Frame
from .machine import machine_facts, machine_numbers, sizes_in_inches, spreader
from .rolling import drag_levers
from .stock import job_columns, stock_columns
from .supports import usable_choices


def build_frame(
    table: JobTable, machines: Sequence[MachineModel], machine: Index, rule_set: RuleSet
) -> Frame:
    """Pair each row of a table with a machine; the stock counts as carried without trouble.

    Args:
        table: the jobs.
        machines: distinct machines.
        machine: for every row, the place of its machine among them.
        rule_set: for parameters and vocabulary.
    """
    rows, vocabulary = table.rows, rule_set.vocabulary
    given, heavy = stock_columns(table, stock_figures_of(rule_set))
    given |= job_columns(table)
    spread = spreader(machine, rows, len(machines))
    columns = [machine_numbers(item) for item in machines]
    names = columns[0] if columns else {}
    machine_columns = {name: spread([column[name] for column in columns]) for name in names}
    given |= {name: column for name, column in machine_columns.items() if "." not in name}
    numbers = {name: column for name, column in machine_columns.items() if "." in name}
    family = np.array(
        [vocabulary.facts["family"].values.index(item.grade.family) for item in table.stocks],
        dtype=np.int8,
    )[table.stock]
    for bound in ("rated", "absolute"):
        walls = np.array(
            [
                [
                    getattr(item.wall[name], bound) if name in item.wall else math.nan
                    for name in vocabulary.facts["family"].values
                ]
                for item in machines
            ]
        )
        numbers[f"limit.wall.{bound}"] = walls[machine, family]
    surface = rule_set.lookups["surface_friction"]
    most = np.array([surface.of(item.coating) for item in table.stocks])[table.stock]
    given["parts_fitting"] = np.array(
        [[parts_fitting(item, model) for item in table.geometries] for model in machines],
        dtype=np.float64,
    )[machine, table.geometry]
    clean = given["jaw_friction"]
    given["friction"] = np.where(np.isnan(most), clean, np.minimum(most, clean))
    grips = vocabulary.facts["grip"].values
    inside = table.facts["grip"] == grips.index("inside")
    given["grip_radius"] = np.where(inside, given["inside_size"] / 2, given["grip_radius"])
    given["reference_inertia"] = numbers["limit.rotary_inertia.rated"]
    numbers["material.yield_strength"] = given["yield_strength"]
    for name, parameter in rule_set.parameters.items():
        numbers[f"param.{name}"] = np.broadcast_to(parameter.value, rows)
    for name in MEASURED:
        given[name] = numbers[f"param.{name}"]
    for name, value in UNTROUBLED.items():
        given[name] = np.broadcast_to(value, rows)
    for bound in ("rated", "absolute"):
        numbers[f"limit.support_reaction.{bound}"] = given[f"reaction_{bound}"]
    given["walk_share"] = np.broadcast_to(newer(rule_set, "walk_share"), rows)
    fitted = [
        [item.fitted_as_delivered | (codes & item.offered.keys()) for codes in table.fittings]
        for item in machines
    ]
    accessories = {
        code: np.array([[code in codes for codes in row] for row in fitted], dtype=np.bool_)[
            machine, table.fitting
        ]
        for code in vocabulary.accessories
    }
    shapes = vocabulary.facts["shape"].values
    bow_given = vocabulary.facts["bow_given"].values
    carried = vocabulary.facts["carried"].values
    usable, use = usable_choices(table, machines, machine, fitted, figures_of(rule_set))
    given["drag_lever"] = drag_levers(
        usable, use, given["round_size"], newer(rule_set, "roller_arm"),
        newer(rule_set, "ball_drag"),
    )  # fmt: skip
    facts = (
        table.facts
        | machine_facts(machines, machine, vocabulary)
        | {
            "shape": np.array(
                [shapes.index(item.section.shape) for item in table.stocks], dtype=np.int8
            )[table.stock],
            "family": family,
            "bow_given": np.where(
                np.isnan(table.bow), bow_given.index("no"), bow_given.index("yes")
            ).astype(np.int8),
            "carried": np.array(
                [carried.index("yes" if item.supports else "no") for item in usable], dtype=np.int8
            )[use],
            "seat": np.zeros(rows, dtype=np.int8),
        }
    )
    return Frame(
        rows, given, heavy, facts, numbers, accessories, np.zeros(rows, dtype=np.bool_),
        stocks=table.stocks, stock=table.stock,
        in_inches=sizes_in_inches(machines, machine, vocabulary.facts["family"].values, family),
    )  # fmt: skip
