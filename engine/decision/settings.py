"""What the machine is to be set to."""

from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np

from ..arrays import Bools, Floats
from .conditions import number_of
from .decide import Decision, Engine

SETTINGS: Final = {
    "rapid_override": "rapid_override",
    "acceleration": "acceleration_setting",
    "jaw_force": "jaw_force_setting",
    "bow_to_refuse": "bow_to_refuse",
}
"""Settings, and the measure that each is."""

OVERRIDE: Final = "rapid_override"
BOW: Final = "bow_to_refuse"
SIGHTED: Final = "bow_to_sight"
"""The lower of it and what the free end clears."""


def settings(
    engine: Engine, decision: Decision, told: Mapping[str, Floats] | None = None
) -> dict[str, Floats]:
    """Return the settings of every row: at the heavy end, and no faster than is told to be.

    What the heavy end would need below the lowest override is weighed before it is turned, or
    refused: then the lowest is set.

    Args:
        engine: with the rules.
        decision: the rows.
        told: numbers of mitigations, where they are known already.
    """
    measured = decision.measured
    told = mitigation_numbers(engine, decision, (OVERRIDE,)) if told is None else told
    result: dict[str, Floats] = {}
    for name, measure in SETTINGS.items():
        nominal = measured.nominal[measure]
        values = measured.heavy.get(measure, nominal)
        values = np.where(np.isfinite(values), values, nominal)
        if name == OVERRIDE:
            lowest = decision.scope.numbers["machine.lowest_override"]
            values = np.where(np.isnan(values), values, np.fmax(values, lowest))
            for key, asked in told.items():
                if key.endswith(f".{OVERRIDE}"):
                    slower = np.fmin(np.where(np.isnan(values), 1.0, values), asked)
                    values = np.where(np.isnan(asked), values, slower)
        # Rules older than the measure answer without it.
        if name == BOW and SIGHTED in engine.rule_set.vocabulary.measures:
            values = np.fmin(values, measured.heavy[SIGHTED])
        result[name] = np.where(np.isfinite(values), values, np.nan)
    return result


def mitigation_numbers(
    engine: Engine, decision: Decision, names: Iterable[str] | None = None
) -> dict[str, Floats]:
    """Return the numbers of mitigations as ``code.name``; NaN where one is not asked for.

    Args:
        engine: with the rules.
        decision: the rows.
        names: only numbers of these names; all without.
    """
    wanted = None if names is None else frozenset(names)
    result: dict[str, Floats] = {}
    asked: dict[str, Bools] = {}
    for mitigation in engine.rule_set.mitigations.values():
        for name, node in mitigation.values:
            if wanted is not None and name not in wanted:
                continue
            code = mitigation.code
            if code not in asked:
                has = [code in item.mitigations for item in decision.inferred]
                asked[code] = np.array(has, dtype=np.bool_)[decision.which]
            column = number_of(node, decision.scope)
            result[f"{code}.{name}"] = np.where(asked[code] & np.isfinite(column), column, np.nan)
    return result
