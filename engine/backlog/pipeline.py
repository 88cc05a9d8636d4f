"""The way of a backlog through the tool: read ahead, decide, write behind.

While a chunk is decided the next one is read and the answers of the last are written, so that
neither waits for the other; never more than one chunk is ahead, so that memory does not grow with
the file.
"""

# Arrow has type information in part only; what of it is unknown stays within this module.
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false

from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict
from typing import TypeVar

from .opened import Backlog, Chunk
from .runner import Runner
from .tally import Tally
from .writers import Answers

T = TypeVar("T")

Advance = Callable[[int], None]
"""Told how many rows are done, after each chunk."""


def each_chunk(
    chunks: Iterable[Chunk],
    decide: Callable[[Chunk], T],
    *,
    write: Callable[[T], None] | None = None,
    done_before: int = 0,
    advance: Advance | None = None,
) -> int:
    """Work on chunks one after the other and return the rows they have.

    Args:
        chunks: a backlog; the next one is taken while another is decided.
        decide: what is done with each.
        write: what is done with what ``decide`` returns, in order, while the next is decided.
        done_before: rows, from the first, that are only read: a run before this one did them.
        advance: told the rows done so far.

    Raises:
        CuttableError: whatever reading, deciding or writing raises.
    """
    rows = 0
    coming = iter(chunks)
    with ThreadPoolExecutor(1) as reader, ThreadPoolExecutor(1) as writer:
        reading = reader.submit(next, coming, None)
        writing: Future[None] | None = None
        while (chunk := reading.result()) is not None:
            reading = reader.submit(next, coming, None)
            rows += chunk.rows
            if rows > done_before:
                decided = decide(chunk)
                if writing is not None:
                    writing.result()
                writing = writer.submit(write, decided) if write is not None else None
            if advance is not None:
                advance(rows)
        if writing is not None:
            writing.result()
    return rows


def answer_all(
    opened: Backlog,
    runner: Runner,
    answers: Answers,
    *,
    rows_at_once: int,
    advance: Advance | None = None,
) -> None:
    """Write the answers to every row of a backlog; what a stopped run has written stays.

    The file is not moved into place: that is for whoever opened it.

    Args:
        opened: the backlog.
        runner: what answers it; its tally goes on from that of the stopped run.
        answers: the file.
        rows_at_once: rows of a chunk.
        advance: told the rows done so far.

    Raises:
        CuttableError: whatever reading, deciding or writing raises.
    """
    if answers.rows_done:
        runner.tally = Tally(**answers.note)

    def decide(chunk: Chunk) -> Callable[[], None]:
        batch = runner.answer(chunk.columns, chunk.rows, chunk.first_row, chunk.faults)
        done, note = chunk.first_row + chunk.rows - 1, asdict(runner.tally)
        return lambda: answers.write(batch, done, note)

    each_chunk(
        opened.chunks(rows_at_once), decide, write=lambda step: step(),
        done_before=answers.rows_done, advance=advance,
    )  # fmt: skip
