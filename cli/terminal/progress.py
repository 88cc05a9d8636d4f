"""How far a backlog is, and how much of it is worked on at a time."""

import os
import sys
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager

from ...catalogue.errors import InputError

LEAST_ROWS = 125_000
"""Rows worked on at a time on however many models."""
CHUNK_VARIABLE = "CUTTABLE_CHUNK_ROWS"
"""Environment variable with the rows worked on at a time: less memory, more marks to go on from."""


def chunk_rows(models: int) -> int:
    """Return the rows to work on at a time: memory goes with their answers on so many models."""
    from ...engine.backlog.opened import CHUNK_ROWS

    return int(os.environ.get(CHUNK_VARIABLE, max(CHUNK_ROWS // models, LEAST_ROWS)))


def _nothing(done: int, rows: int) -> None:
    """Show no progress."""
    _ = done, rows


@contextmanager
def progress(size: int) -> Generator[Callable[[int, int], None]]:
    """Show a bar with rate and time left on a terminal; nothing elsewhere."""
    if not sys.stderr.isatty():
        yield _nothing
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    began = time.monotonic()
    columns = (
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TextColumn("{task.description}"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=max(size, 1))

        def advance(done: int, rows: int) -> None:
            rate = rows / max(time.monotonic() - began, 1e-3)
            bar.update(task, completed=done, description=f"{rows} rows, {rate:,.0f} a second")

        yield advance


@contextmanager
def batch_extra() -> Generator[None]:
    """Tell which package is lacking where what backlogs need is imported within.

    Raises:
        InputError: ``option-needs``.
    """
    try:
        yield
    except ImportError as fault:
        raise InputError(
            "option-needs",
            f"backlogs need the package {fault.name}",
            remedy="Install it: pip install 'cuttable[batch]'.",
        ) from None
