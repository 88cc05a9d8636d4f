"""Why rows of a chunk have no answer: each fault once, with the rows that have it."""

from collections.abc import Mapping, Sequence

import numpy as np

from ...catalogue.errors import InputError
from ...catalogue.machines.model import MachineModel
from ..jobs.checks import check_fitted, check_kerf
from ..jobs.job import Geometry
from ..jobs.job_table import Index
from .parse_jobs import Read


class RowFaults:
    """Faults of a chunk from every source; the first that is found stands."""

    def __init__(self, read: Read) -> None:
        self._places = {(item.code, item.text): n for n, item in enumerate(read.faults)}
        self.code: Index = read.fault.copy()

    @property
    def faults(self) -> tuple[tuple[str, str], ...]:
        """Distinct faults: code and text."""
        return tuple(self._places)

    def put(self, faults: Mapping[int, tuple[str, str]]) -> None:
        """Take in faults of single rows; they stand before what was read of the row."""
        for row, wrong in faults.items():
            self.code[row] = self._places.setdefault(wrong, len(self._places))

    def column(self, wrong: Sequence[tuple[str, str] | None], code: Index) -> None:
        """Take in faults of the distinct texts of a column."""
        if any(wrong):
            places = [
                -1 if item is None else self._places.setdefault(item, len(self._places))
                for item in wrong
            ]
            found = np.array(places, dtype=np.intp)[code]
            self.code = np.where(self.code < 0, found, self.code)


def machine_fault(
    geometry: Geometry, fitted: frozenset[str], machines: Sequence[MachineModel]
) -> tuple[str, str] | None:
    """Return what is wrong with cuts or accessories on these machines, None if nothing."""
    try:
        check_fitted(fitted, machines)
        check_kerf(geometry.cuts, machines)
    except InputError as error:
        return error.code, sentence_of(error)
    return None


def sentence_of(error: InputError) -> str:
    """Return an error without its code, which has a column of its own."""
    return str(error).removesuffix(f" [{error.code}]")
