"""Two states over a backlog, or one; on a terminal with a bar that says how far it is."""

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from .terminal.progress import batch_extra, chunk_rows, progress

if TYPE_CHECKING:
    from ..engine.backlog.opened import Backlog
    from ..engine.impact.impact import Side
    from ..engine.impact.model import Impact, State


def check_installed() -> None:
    """See that what backlogs need is installed.

    Raises:
        InputError: ``option-needs``.
    """
    with batch_extra():
        import_module("..engine.impact.impact", __package__)


def run_impact(
    before: "Side",
    after: "Side",
    backlog: Path,
    sheet: str,
    workers: int | None,
    *,
    name: str = "",
) -> "Impact":
    """Return what changes between two states over a backlog.

    Args:
        before: the one state.
        after: the other, with revisions of the same machines.
        backlog: the file.
        sheet: of a workbook, by name; the first one without.
        workers: processes to use; without it one for each processor.
        name: what to call the backlog; without it by its file.

    Raises:
        InputError: ``option-needs``, ``choice-unknown`` where the machines are not the same.
        FileError: the backlog or a machine file is wrong.
    """
    check_installed()
    from ..engine.impact.impact import impact_of
    from ..engine.impact.model import Source

    opened = _opened(backlog, sheet, is_told=not name)
    source = Source(name or backlog.name, opened.digest())
    with progress(opened.size) as tell:
        return impact_of(
            before, after, opened.chunks(chunk_rows(len(before.machines))), backlog=source,
            workers=workers, advance=lambda rows: tell(opened.done, rows),
        )  # fmt: skip


def run_state(side: "Side", backlog: Path, sheet: str, workers: int | None) -> "State":
    """Return what one state comes to over a backlog: which limit refuses most.

    Args:
        side: the state.
        backlog: the file.
        sheet: of a workbook, by name; the first one without.
        workers: processes to use; without it one for each processor.

    Raises:
        InputError: ``option-needs``.
        FileError: the backlog or a machine file is wrong.
    """
    check_installed()
    from ..engine.impact.impact import state_over

    opened = _opened(backlog, sheet)
    with progress(opened.size) as tell:
        return state_over(
            side, opened.chunks(chunk_rows(len(side.machines))), workers=workers,
            advance=lambda rows: tell(opened.done, rows),
        )  # fmt: skip


def _opened(backlog: Path, sheet: str, *, is_told: bool = True) -> "Backlog":
    """Open a backlog and say how its columns were understood."""
    from ..engine.backlog.readers import open_backlog

    opened = open_backlog(backlog, sheet)
    if is_told:
        typer.echo(f"{backlog}: {opened.mapping.sentence()}", err=True)
    return opened
