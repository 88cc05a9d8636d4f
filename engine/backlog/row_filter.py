"""The rows of a chunk that are asked about: not those that name another model."""

from collections.abc import Callable, Iterable

import numpy as np

from ..jobs.job_table import Index
from .opened import Chunk
from .parse_jobs import Texts


class Narrowing:
    """Leaves out rows that name a model which is not asked about.

    Args:
        codes: of the models asked about.
        is_known: says whether some catalogue has a model of a name. A row with a name that none
            has stays, with its error.
        has_open: rows that name no model stay.
    """

    def __init__(
        self, codes: Iterable[str], is_known: Callable[[str], bool], *, has_open: bool = True
    ) -> None:
        self._asked = {code.casefold() for code in codes}
        self._is_known = is_known
        self._stays: dict[str, bool] = {"": has_open}

    def narrowed(self, chunk: Chunk) -> tuple[Chunk, Index]:
        """Return the chunk of the rows that stay, and their places in the whole one."""
        every = np.arange(chunk.rows)
        machine = chunk.columns.get("machine")
        if machine is None:
            return chunk, every
        stays = np.array([self._of(text.strip()) for text in machine.values], dtype=np.bool_)
        if stays.all():
            return chunk, every
        kept = np.flatnonzero(stays[machine.code])
        places = {row: place for place, row in enumerate(kept.tolist()) if row in chunk.faults}
        faults = {place: chunk.faults[row] for row, place in places.items()}
        columns = {name: _taken(name, texts, kept) for name, texts in chunk.columns.items()}
        return Chunk(columns, len(kept), chunk.first_row, faults), kept

    def _of(self, text: str) -> bool:
        if text not in self._stays:
            self._stays[text] = text.casefold() in self._asked or not self._is_known(text)
        return self._stays[text]


def _taken(name: str, texts: Texts, rows: Index) -> Texts:
    """Return some rows of a column, with the texts that they use."""
    code = texts.code[rows]
    if name == "job":  # nearly every text is distinct, and nothing reads them
        return Texts(texts.values, code)
    used, code = np.unique(code, return_inverse=True)
    places: list[int] = used.tolist()
    return Texts([texts.values[place] for place in places], code)
