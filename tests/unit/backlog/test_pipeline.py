"""The way of a backlog: in order, one chunk ahead, and whatever fails is told."""

import threading
from collections.abc import Iterator

import pytest
from cuttable.catalogue.errors import FileError
from cuttable.engine.backlog.opened import Chunk
from cuttable.engine.backlog.pipeline import each_chunk


def chunks(count: int, log: list[str] | None = None, fails_at: int = -1) -> Iterator[Chunk]:
    for number in range(count):
        if number == fails_at:
            raise FileError("backlog-damaged", "behind row 20")
        if log is not None:
            log.append(f"read {number}")
        yield Chunk({}, 10, 10 * number + 1, {})


def test_what_is_decided_is_written_in_order() -> None:
    """And the rows that are done are told after each chunk."""
    written: list[int] = []
    told: list[int] = []
    rows = each_chunk(
        chunks(4), lambda chunk: chunk.first_row, write=written.append, advance=told.append
    )
    assert (rows, written, told) == (40, [1, 11, 21, 31], [10, 20, 30, 40])
    assert each_chunk(iter(()), lambda chunk: chunk.first_row) == 0


def test_one_chunk_is_read_ahead_and_no_more() -> None:
    """The second is there while the first is decided; the third is not."""
    log: list[str] = []
    is_second_read = threading.Event()

    def source() -> Iterator[Chunk]:
        for number, chunk in enumerate(chunks(3, log)):
            if number == 1:
                is_second_read.set()
            yield chunk

    def decide(chunk: Chunk) -> None:
        if chunk.first_row == 1:
            assert is_second_read.wait(30)
            assert log == ["read 0", "read 1"]

    assert each_chunk(source(), decide) == 30


def test_rows_of_a_run_before_are_only_read() -> None:
    """A chunk that goes on beyond them is decided."""
    decided: list[int] = []
    for done, expected in ((0, [1, 11, 21]), (20, [21]), (25, [21]), (30, [])):
        decided.clear()
        each_chunk(chunks(3), lambda chunk: decided.append(chunk.first_row), done_before=done)
        assert decided == expected


def test_faults_of_reading_deciding_and_writing_are_raised() -> None:
    """Those of writing too, though the next chunk is decided meanwhile; and of the last chunk."""

    def fail(what: str) -> None:
        raise FileError("output-unwritable", what)

    with pytest.raises(FileError, match="behind row 20"):
        each_chunk(chunks(4, fails_at=2), lambda chunk: chunk.rows)
    with pytest.raises(FileError, match="deciding"):
        each_chunk(chunks(4), lambda _: fail("deciding"))
    for count in (1, 4):
        with pytest.raises(FileError, match="writing"):
            each_chunk(chunks(count), lambda chunk: chunk.rows, write=lambda _: fail("writing"))
