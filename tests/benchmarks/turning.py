"""Answers held against another solver as bowed stock turns: what happens that is not named?

Run by hand: ``python tests/benchmarks/turning.py --answers 500``. Draws jobs until so many are in
range on two supports or more. Each is turned through 24 roll angles with the bow that it counts
with, its supports off in height in random ways by the levelling, for soft and stiff supports; loads
are those of finite elements (tests/unit/engine/test_turning.py), which share no code with the
engine. Prints how often a support is over its absolute load, left, or climbed out of, and how many
answers do not name it; ends with 1 where there is one.
"""

import argparse
import math
import random
import sys
from collections import Counter
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parents[1] / "unit" / "engine"))

from cuttable.engine.answer.document import Answer, Verdict  # noqa: E402
from cuttable.engine.assessor import AssessorCore  # noqa: E402
from cuttable.engine.inputs.figures import figures_of  # noqa: E402
from cuttable.engine.jobs.fields import JobText  # noqa: E402
from cuttable.engine.statics.seating import seated  # noqa: E402
from test_turning import by_elements  # noqa: E402

ANGLES = np.arange(24) * math.pi / 12
SIZES = ["NPS 2 SCH 40", "NPS 3 SCH 40", "NPS 4 SCH 40", "NPS 4 SCH 80", "NPS 5 SCH 40",
         "NPS 6 SCH 40", "NPS 6 SCH 80", "NPS 8 SCH 20", "NPS 8 SCH 40", "NPS 10 SCH 20",
         "NPS 10 STD", "NPS 12 STD", "NPS 16 STD", "tube 60.3 x 3 mm", "tube 101.6 x 4 mm",
         "tube 139.7 x 5 mm", "tube 168.3 x 5 mm"]  # fmt: skip
MODELS = ["rowan-150", "medlar-300", "alder-320", "larch-610"]
MARGIN = 1.02
"""Of a load: heights between those that the engine tries can be a little worse."""


def told(answer: Answer, name: str, counted: float) -> bool:
    """Say whether the answer names a bow below the one it counts with."""
    measure = answer.measures.get(name)
    return measure is not None and measure.value is not None and measure.value <= counted


def look(core: AssessorCore, answer: Answer, dice: np.random.Generator) -> Counter[str]:
    """Return what happens to the supports of one answer, and what of it is not named."""
    machine = core.catalogue.machines[answer.machine.model]
    by_code = {item.code: item for item in machine.supports}
    carry = [item for item in answer.setup.supports if item.role != "catches"]
    supports = [by_code[item.support] for item in carry]
    section = answer.job.section
    stations = np.array([item.station for item in carry])
    length = answer.job.stock_length
    mass = answer.measures["linear_mass"]
    heavy = (mass.heavy or mass.value or 0.0) / (mass.value or 1.0)
    weight = (mass.value or 0.0) * 9.80665e-3
    outside = answer.measures["round_diameter"].value or math.nan
    inside = outside - 2 * section.wall
    stiffness = 200e3 * math.pi / 64 * (outside**4 - inside**4)
    usual = answer.measures["usual_bow"].value or 0.0
    counted = usual if answer.job.bow is None else answer.job.bow
    give = np.array([item.give / item.reaction.rated for item in supports])
    absolute = np.array([item.reaction.absolute for item in supports])
    angles = figures_of(core.rule_set).seat_angles
    cone = np.array([math.tan(seated(item, outside, angles).included / 2) for item in supports])
    level = machine.bed.levelling
    uneven = answer.setup.height_tolerance or math.inf
    needed = answer.measures["levelling_needed"].value or level
    found: Counter[str] = Counter()
    bar = (length, weight, stiffness, stations)
    for times in (0.4, 1.0, 3.0):
        spring = give / times
        flat = by_elements(*bar, spring, np.zeros(len(stations)), pulls=True)
        arc = -4 * counted * stations**2 / length**2
        side = by_elements(*bar, spring, arc, pulls=True) - flat
        for angle in ANGLES:
            off = level * dice.choice([-1.0, 1.0], len(stations))
            loads = by_elements(*bar, spring, arc * math.cos(angle) + off)
            if (loads * heavy > absolute * MARGIN).any():
                named = told(answer, "bow_supports_hold", counted) or needed < level
                found["over", named] += 1
            loads = by_elements(*bar, spring, arc * math.cos(angle))
            if (loads <= 0).any():
                found["left", told(answer, "bow_all_carry", counted)] += 1
            elif (np.abs(side * math.sin(angle)) > loads * cone * (1 + 1e-6)).any():
                found["climbs", told(answer, "bow_held_down", counted)] += 1
            loads = by_elements(*bar, spring, off)
            if (loads <= 0).any():
                found["left by heights", uneven < level] += 1
    return found


def main() -> None:
    """Draw, look and tell."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--answers", type=int, default=500)
    wanted = parser.parse_args().answers
    core, dice, rolls = AssessorCore(), random.Random(12), np.random.default_rng(12)
    cases: Counter[str] = Counter()
    answers: Counter[str] = Counter()
    tried = seen = 0
    while seen < wanted:
        tried += 1
        bow = f"{dice.uniform(0.5, 8):.1f} mm" if dice.random() < 0.3 else ""
        text = JobText(dice.choice(SIZES), f"{dice.randint(40, 125) / 10} m", bow=bow)
        (answer,) = core.ask(text, [dice.choice(MODELS)]).verdicts
        if answer.verdict is not Verdict.IN_RANGE or len(answer.setup.supports) < 2:
            continue
        seen += 1
        found = look(core, answer, rolls)
        cases += found
        for key in found:
            answers[key] += 1
    print(f"{seen} answers in range on two supports or more, of {tried} drawn")
    for (what, named), count in sorted(answers.items()):
        print(f"{what:16} {'named' if named else 'NOT NAMED':10} {count:6} answers, "
              f"{cases[what, named]} of the angles")  # fmt: skip
    sys.exit(any(not named for _, named in answers))


if __name__ == "__main__":
    main()
