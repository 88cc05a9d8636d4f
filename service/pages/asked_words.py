"""What was asked, in a line, and as the address that asks it again."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode


def asked_words(inputs: Mapping[str, Any]) -> str:
    """Return what was asked, in a line."""
    job: dict[str, str | list[str]] = inputs["job"]
    rest = [
        f"{name.replace('_', ' ')} {' + '.join(value) if isinstance(value, list) else value}"
        for name, value in job.items()
        if name not in ("section", "length")
    ]
    where = f" on {', '.join(inputs['machines'])}" if inputs["machines"] else ""
    more = f" ({'; '.join(rest)})" if rest else ""
    return f"{job['section']}, {job['length']}{more}{where}"


def query_of(inputs: Mapping[str, Any]) -> str:
    """Return the query of the address that asks the same."""
    pairs: list[tuple[str, str]] = []
    for name, value in inputs["job"].items():
        if isinstance(value, list) and name == "fitted":
            pairs += [(name, str(item)) for item in value]  # pyright: ignore[reportUnknownVariableType, reportUnknownArgumentType] - from JSON
        elif isinstance(value, list):
            pairs.append((name, "; ".join(str(item) for item in value)))  # pyright: ignore[reportUnknownVariableType, reportUnknownArgumentType] - from JSON
        else:
            pairs.append((name, str(value)))
    pairs += [("machines", name) for name in inputs["machines"] if not name.endswith(".toml")]
    return urlencode([*pairs, ("units", inputs["units"])])
