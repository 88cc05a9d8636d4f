"""Every measure of one job on one machine with its formula and the inputs it read."""

import math
from typing import Any

from ...catalogue.machines.model import MachineModel
from ..assessor import AssessorCore
from ..jobs.job import Job
from ..measures import GIVEN, REGISTRY


def trace(assessor: AssessorCore, job: Job, machine: MachineModel) -> list[dict[str, Any]]:
    """Return one entry a measure: name, unit, value, heavy, formula, source, inputs.

    ``inputs`` maps each input to its value and, where it differs, its heavy value.
    """
    decision = assessor.engine.decide([job], [machine])
    frame, measured = decision.frame, decision.measured

    def values(name: str) -> dict[str, Any]:
        if name in REGISTRY:
            nominal = measured.nominal[name][0]
            heavy = measured.heavy[name][0] if name in measured.heavy else nominal
            unit = REGISTRY[name].declared.unit
        else:
            nominal = frame.given[name][0]
            heavy = frame.heavy.get(name, frame.given[name])[0]
            unit = GIVEN[name][0]
        entry: dict[str, Any] = {"value": _known(nominal), "unit": unit}
        if _known(heavy) != _known(nominal):
            entry["heavy"] = _known(heavy)
        return entry

    return [
        {
            "name": name,
            **values(name),
            "formula": item.formula,
            "source": item.source,
            "inputs": {given: values(given) for given in item.inputs},
        }
        for name, item in REGISTRY.items()
    ]


def _known(value: float) -> float | None:
    return float(f"{float(value):.12g}") if math.isfinite(value) else None
