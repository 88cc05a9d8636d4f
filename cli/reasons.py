"""What decides, in few words, and answers as plain data: shared by the commands on ranges."""

import math
from collections.abc import Mapping
from typing import Any

from ..engine.lengths import Interval
from ..engine.section_range import Standing


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
