"""What decides, in few words, and answers as plain data: shared by the commands on ranges."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from ...catalogue.machines.model import MachineModel
from ..jobs.job import Job
from ..search.lengths import STEPS, Interval
from ..search.section_range import Standing
from .wording import System


def reason_of(item: Interval | Standing, rules: Mapping[str, str]) -> str:
    """Return the accessory that is missing, else the rule that decides; empty for in range."""
    if item.missing:
        return f"needs {item.missing.replace('; ', ', ')}"
    if not item.decided_by:
        return ""
    return f"{rules.get(item.decided_by, item.decided_by)} ({item.decided_by})"


def plain(item: Interval | Standing) -> dict[str, Any]:
    """Return an answer as data for JSON."""
    used = item.utilisation
    return item._asdict() | {
        "utilisation": None if math.isnan(used) else float(f"{used:.12g}"),
        "missing": item.missing.split("; ") if item.missing else [],
    }


def lengths_content(
    job: Job, found: Sequence[tuple[MachineModel, Sequence[Interval]]], system: System
) -> dict[str, Any]:
    """Return intervals of length on machines as data for JSON (``cuttable.lengths/1``)."""
    return {
        "schema": "cuttable.lengths/1",
        "section": job.section.designation,
        "grade": job.grade.name,
        "step": STEPS[system],
        "machines": [
            {"model": machine.code, "revision": machine.revision, "digest": machine.digest,
             "intervals": [plain(item) for item in intervals]}
            for machine, intervals in found
        ],
    }  # fmt: skip
