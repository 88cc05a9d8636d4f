"""Which limit refuses most of a backlog, and where in the machine file it stands."""

from collections.abc import Iterable
from typing import Final, NamedTuple

from ...catalogue.machines.model import MachineModel
from ...rules.expression import names_in
from ...rules.model import RuleSet
from ..backlog.tally import Tally

LACKING: Final = "NOT-FITTED"
"""What refuses where an accessory is needed and not fitted."""

OTHER_TITLES: Final = {
    LACKING: "Accessory not fitted",
    "CONFLICT": "Contradicting mitigations",
}
"""What refuses beside rules."""

_KEYS: Final = {
    "machine.torque_available": ("rotary.torque_available",),
    "machine.torque_friction": ("rotary.torque_friction",),
    "machine.lowest_override": ("rotary.lowest_override",),
    "machine.lowest_centre": ("bed.centre_height.minimum",),
    "machine.highest_centre": ("bed.centre_height.maximum",),
    "machine.bore": ("chuck.bore",),
    "machine.rear_room": ("bed.rear_room",),
    "machine.last_station": ("bed.stations.last",),
}
"""Numbers of a machine that are no limits, and their keys in its file."""


class Refusal(NamedTuple):
    """What refuses jobs.

    Attributes:
        code: a rule, ``NOT-FITTED`` or ``CONFLICT``.
        title: the same in words.
        jobs: answers that it refuses, together with others or not.
        alone: answers that nothing else refuses. Supports are not judged where it does, so as
            many at most become possible when it is lifted.
        keys: what of the machine file it reads, by dotted key.
    """

    code: str
    title: str
    jobs: int
    alone: int
    keys: tuple[str, ...]


def ranking_of(
    tally: Tally, rule_set: RuleSet, machines: Iterable[MachineModel]
) -> tuple[Refusal, ...]:
    """Return everything that refuses, the one that refuses most first."""
    rules = {rule.code: rule for rule in rule_set.rules}
    models = list(machines)
    found: list[Refusal] = []
    for code, jobs in tally.refused_by.items():
        rule = rules.get(code)
        title = rule.title if rule else OTHER_TITLES.get(code, code)
        names = names_in(rule.when) if rule else set[str]()
        keys = dict.fromkeys(key for name in sorted(names) for key in _keys_of(name, models))
        if code == LACKING:
            keys = dict.fromkeys(key for item in tally.missing for key in _fitting(item, models))
        alone = tally.refused_alone.get(code, 0)
        found.append(Refusal(code, title, jobs, alone, tuple(keys)))
    return tuple(sorted(found, key=lambda item: (-item.jobs, -item.alone, item.code)))


def _keys_of(name: str, machines: list[MachineModel]) -> tuple[str, ...]:
    """Return where in a machine file a name of the rules stands; nothing if it is no such."""
    if not name.startswith("limit."):
        return _KEYS.get(name, ())
    _, limit, bound = name.split(".")
    if limit == "support_reaction":
        codes = dict.fromkeys(item.code for machine in machines for item in machine.supports)
        return tuple(f"supports.{code}.reaction.{bound}" for code in codes)
    if limit == "wall":
        families = dict.fromkeys(name for machine in machines for name in machine.wall)
        return tuple(f"limits.wall.{family}.{bound}" for family in families)
    return (f"limits.{limit}.{bound}",)


def _fitting(code: str, machines: list[MachineModel]) -> tuple[str, ...]:
    """Return the key that makes an accessory standard; nothing where no machine offers it."""
    kinds = {
        "supports": {item.code for machine in machines for item in machine.supports},
        "accessories": {item.code for machine in machines for item in machine.accessories},
    }
    return tuple(f"{kind}.{code}.standard" for kind, codes in kinds.items() if code in codes)
