"""Two states over a backlog, or one; on a terminal with a bar that says how far it is."""

from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from .progress import batch_extra, chunk_rows, progress

if TYPE_CHECKING:
    from ..engine.backlog.impact import Side
    from ..engine.backlog.impact_model import Impact, State
    from ..engine.backlog.reading import Chunk


def check_installed() -> None:
    """See that what backlogs need is installed.

    Raises:
        InputError: ``option-needs``.
    """
    with batch_extra():
        import_module("..engine.backlog.impact", __package__)


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
    from ..engine.backlog.impact import impact_of
    from ..engine.backlog.impact_model import Source
    from ..engine.backlog.reading import digest_of_file

    with _read(backlog, sheet, len(before.machines), is_told=not name) as (chunks, advance):
        source = Source(name or backlog.name, digest_of_file(backlog))
        return impact_of(before, after, chunks, backlog=source, workers=workers, advance=advance)


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
    from ..engine.backlog.impact import state_over

    with _read(backlog, sheet, len(side.machines)) as (chunks, advance):
        return state_over(side, chunks, workers=workers, advance=advance)


@contextmanager
def _read(
    backlog: Path, sheet: str, models: int, *, is_told: bool = True
) -> Generator[tuple[Iterator["Chunk"], Callable[[int], None]]]:
    """Give the chunks of a backlog, and what is to be told how many rows are done."""
    from concurrent.futures import ThreadPoolExecutor

    from ..engine.backlog.reading import open_backlog

    opened = open_backlog(backlog, sheet)
    if is_told:
        typer.echo(f"{backlog}: {opened.mapping.sentence()}", err=True)
    chunks = opened.chunks(chunk_rows(models))
    with progress(opened.size) as tell, ThreadPoolExecutor(1) as reader:

        def ahead() -> Iterator["Chunk"]:
            reading = reader.submit(next, chunks, None)
            while (chunk := reading.result()) is not None:
                reading = reader.submit(next, chunks, None)
                yield chunk

        yield ahead(), lambda rows: tell(opened.done, rows)
