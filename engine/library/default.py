"""The functions of the package: one assessor for the whole process, made when first asked."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Unpack, overload

from ..answer.document import Answer
from .assessor import Assessor
from .options import Options, names_of

if TYPE_CHECKING:
    import pandas as pd

_default = Assessor()


def _forked() -> None:
    """Give a forked process an assessor of its own: a lock may be held in it for ever."""
    global _default  # noqa: PLW0603 - there is one a process
    _default = Assessor()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forked)


@overload
def check(
    section: str, length: str, *, machine: str | Path, machines: None = None,
    **options: Unpack[Options],
) -> Answer: ...  # fmt: skip
@overload
def check(
    section: str, length: str, *, machine: None = None,
    machines: Sequence[str | Path] | None = None, **options: Unpack[Options],
) -> list[Answer]: ...  # fmt: skip
def check(
    section: str,
    length: str,
    *,
    machine: str | Path | None = None,
    machines: Sequence[str | Path] | None = None,
    **options: Unpack[Options],
) -> Answer | list[Answer]:
    """Say whether a machine can cut a piece of stock, and how it must be set up.

    As :meth:`.assessor.Assessor.check`, of the ledger that the command line would ask.

    Examples:
        >>> answer = check("NPS 4 SCH 40", "20 ft", machine="alder-320", parts=["4 ft*3"])
        >>> answer.verdict.value, answer.governing
        ('in-range', 'needed_length')
        >>> [item.machine.model for item in check("SHS 100x5 cf", "6 m")]
        ['medlar-300', 'rowan-150', 'alder-320', 'larch-610']
        >>> from cuttable import OpenQuestion
        >>> try:
        ...     answer = check("NPS 4 SCH 40", "6", machine="alder-320")
        ... except OpenQuestion as asked:
        ...     print(asked.text, asked.choices)
        In which unit is the length '6'? ('6 ft', '6 m', '6 in', '6 mm')
    """
    if machine is None:
        return _default.check(section, length, machines=machines, **options)
    names_of(machine, machines)  # both is refused
    return _default.check(section, length, machine=machine, **options)


def check_frame(
    frame: "pd.DataFrame",
    machines: Sequence[str | Path] | str | Path | None = None,
    *,
    machine: str | Path | None = None,
    best: bool = False,
    numbers: bool = False,
    chance: bool = False,
) -> "pd.DataFrame":
    """Answer every row of a table, as ``cuttable batch`` answers a file.

    As :meth:`.assessor.Assessor.check_frame`, of the ledger that the command line would ask.

    Examples:
        >>> import pandas as pd
        >>> orders = pd.DataFrame(
        ...     {"size": ["NPS 4 SCH 40", "NPS 6 pipe"], "length (mm)": [6000, 6000]}
        ... )
        >>> found = check_frame(orders, machines=["rowan-150"])
        >>> list(found["verdict"].fillna("")), list(found["error"].fillna(""))
        (['in-range', ''], ['', 'which-wall'])
    """
    return _default.check_frame(
        frame, machines, machine=machine, best=best, numbers=numbers, chance=chance
    )


def sections(text: str = "") -> "pd.DataFrame":
    """Return the sections of every table, or those that have every word of ``text``.

    Examples:
        >>> sections("NPS 4 SCH 40")[["section", "height", "wall"]].to_dict("list")
        {'section': ['NPS 4 SCH 40'], 'height': [114.3], 'wall': [6.02]}
    """
    return _default.sections(text)


def machines() -> "pd.DataFrame":
    """Return the limits of every model: one row a model and limit, in canonical units.

    Examples:
        >>> limits = machines().set_index(["machine", "limit"])
        >>> print(limits.loc[("rowan-150", "stock_mass"), "rated"])
        280.0
    """
    return _default.machines()


def lengths(
    section: str,
    machines: Sequence[str | Path] | str | Path | None = None,
    *,
    machine: str | Path | None = None,
    **options: Unpack[Options],
) -> "pd.DataFrame":
    """Return for which lengths a section is in range, allowed, refused, and what decides.

    Examples:
        >>> found = lengths("NPS 10 XS", "alder-320")
        >>> print(*found[["shortest", "longest", "verdict"]].iloc[1])
        800.0 8440.0 in-range
    """
    return _default.lengths(section, machines, machine=machine, **options)
