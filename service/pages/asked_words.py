"""What was asked, as the address that asks it again."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from .question_form import TICKED


def query_of(inputs: Mapping[str, Any]) -> str:
    """Return the query of the address that asks the same."""
    pairs: list[tuple[str, str]] = []
    for name, value in inputs["job"].items():
        if isinstance(value, list) and name in TICKED:
            pairs += [(name, str(item)) for item in value]  # pyright: ignore[reportUnknownVariableType, reportUnknownArgumentType] - from JSON
        elif isinstance(value, list):
            pairs.append((name, "; ".join(str(item) for item in value)))  # pyright: ignore[reportUnknownVariableType, reportUnknownArgumentType] - from JSON
        else:
            pairs.append((name, str(value)))
    pairs += [("machines", name) for name in inputs["machines"] if not name.endswith(".toml")]
    return urlencode([*pairs, ("units", inputs["units"])])
