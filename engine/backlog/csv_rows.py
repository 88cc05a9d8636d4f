"""Rows of CSV that a fast parser cannot be trusted with, one after the other; none is lost.

A quotation mark that is opened and never closed takes everything behind it into its cell. A row
that goes on over several lines is therefore taken as one only where it is closed as spreadsheets
close it; otherwise each of its lines is a row of its own, with its own fault.
"""

import csv
import io
from collections.abc import Collection, Generator, Iterator, Sequence
from contextlib import contextmanager
from typing import Final

MOST_LINES: Final = 50
"""Lines that a single row may go on for, in cells that are not read."""

_LONGEST: Final = 2**31 - 1


def count_lines(data: bytes) -> int:
    """Return the number of lines, however they end; blank ones at the end are none."""
    data = data.rstrip(b"\r\n")
    if not data:
        return 0
    count = data.count(b"\n")
    if b"\r" in data:
        count += data.count(b"\r") - data.count(b"\r\n")
    return count + 1


def rows_of(text: str, delimiter: str, width: int, used: Collection[int]) -> list[list[str]]:
    """Return every row that is not blank.

    Args:
        text: whole rows.
        delimiter: between cells.
        width: cells of a sound row.
        used: places of the cells that are read: none of them goes on over several lines.
    """
    lines = list(io.StringIO(text, newline=""))
    rows: list[list[str]] = []
    begin = 0
    with _cells_of_any_length():
        while begin < len(lines):
            feed = _Feed(lines, begin)
            for row in csv.reader(feed, delimiter=delimiter):
                some = lines[begin : feed.place]
                is_whole = len(some) == 1 or (
                    len(row) == width
                    and not any("\n" in row[place] or "\r" in row[place] for place in used)
                    and _is_closed(some, delimiter)
                )
                if not is_whole:  # its first line alone; the reader begins anew with the next
                    row, some = _alone(lines[begin], delimiter), some[:1]  # noqa: PLW2901
                if row:
                    rows.append(row)
                begin += len(some)
                feed.begin = begin
                if not is_whole:
                    break
    return rows


class _Feed(Iterator[str]):
    """Lines for a reader, no more than a row may have ahead of where the last row ended."""

    def __init__(self, lines: Sequence[str], begin: int) -> None:
        self._lines = lines
        self.begin = self.place = begin

    def __next__(self) -> str:
        if self.place == len(self._lines) or self.place - self.begin >= MOST_LINES:
            raise StopIteration
        self.place += 1
        return self._lines[self.place - 1]


def _is_closed(lines: Sequence[str], delimiter: str) -> bool:
    """Say whether a row of several lines is quoted as it should be, up to its end."""
    try:
        return len(list(csv.reader(lines, delimiter=delimiter, strict=True))) == 1
    except csv.Error:
        return False


def _alone(line: str, delimiter: str) -> list[str]:
    rows = list(csv.reader([line.rstrip("\r\n")], delimiter=delimiter))
    return rows[0] if rows else []


@contextmanager
def _cells_of_any_length() -> Generator[None]:
    """Let the reader take cells beyond 128 kB; what is too long is told by row later."""
    before = csv.field_size_limit(_LONGEST)
    try:
        yield
    finally:
        csv.field_size_limit(before)
