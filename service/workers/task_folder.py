"""The folder of a task: its order, small files, and how the task stands by what lies there."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, NotRequired, cast

from ..content import Content

State = Literal["waiting", "running", "done", "failed", "stopped"]
Kind = Literal["answers", "impact"]
ENDED: Final = frozenset[State]({"done", "failed", "stopped"})
TOLD: Final = ("id", "kind", "name", "machines", "is_best", "owner", "sent", "size", "revision")
"""What of an order is shown."""


class Order(NamedTuple):
    """What is asked of a backlog that is sent."""

    name: str
    machines: list[str]
    is_best: bool = False
    sheet: str = ""


class ImpactOrder(NamedTuple):
    """What is asked of an impact.

    Attributes:
        revision: the draft, ``rowan-150/2``.
        backlog: id of the backlog whose jobs are looked at; empty for the answers kept.
        units: of the report.
    """

    revision: str
    backlog: str = ""
    units: str = "si"


class TaskFault(Content):
    """Why a task has failed."""

    code: str
    what: str
    remedy: str
    problems: list[str]
    """Each problem of a file."""


class BacklogStands(Content):
    """How a backlog stands, or an impact over one."""

    id: str
    kind: Kind
    name: str
    """Of the file."""
    machines: list[str]
    """The models it asks about; every model where none is named."""
    is_best: bool
    """Only the best answer of each job is kept."""
    owner: str
    sent: float
    """Seconds since 1970."""
    size: int
    """Bytes of the file."""
    revision: NotRequired[str]
    """Of an impact, the draft: MODEL/NUMBER."""
    rows: int
    """Rows that are done."""
    share: float
    """How much is done, 0 to 1."""
    fault: NotRequired[TaskFault]
    state: State


def written(folder: Path, name: str, content: Mapping[str, Any]) -> None:
    """Write a small JSON file, whole or not at all."""
    beside = folder / f".{name}.part"
    beside.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    beside.replace(folder / name)


def read(path: Path) -> dict[str, Any]:
    """Return a small JSON file; nothing where there is none."""
    try:
        content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content


def standing_of(folder: Path, *, is_running: bool) -> BacklogStands | None:
    """Return how a task stands; None where there is none."""
    order = read(folder / "order.json")
    if not order:
        return None
    known = {key: order[key] for key in TOLD if key in order}
    progress = read(folder / "progress.json")
    known |= {"rows": progress.get("rows", 0), "share": progress.get("share", 0.0)}
    fault = read(folder / "fault.json")
    state: State = "waiting"
    if (folder / "summary.json").exists():
        state, known["share"] = "done", 1.0
    elif fault:
        state, known["fault"] = "failed", fault
    elif (folder / "stopped").exists():
        state = "stopped"
    elif is_running:
        state = "running"
    known["state"] = state
    return cast("BacklogStands", known)
