"""The nearest known names to a misspelt one.

How alike two names are is told by :class:`difflib.SequenceMatcher`. Where many names are known, it
is asked only about those that could be close enough: no more letters match than both names have in
common, and those are counted for all names at once.
"""

from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

FEW: Final = 40
"""Known names up to which counting letters first does not pay."""

_LETTERS: Final = "abcdefghijklmnopqrstuvwxyz0123456789 .-/_"


class _Counted(NamedTuple):
    """Known names, with the letters of each counted.

    Attributes:
        names: by their form without case.
        forms: those forms, in order.
        counts: (names, letters) how often each letter stands in each form.
        lengths: letters of each form.
    """

    names: dict[str, str]
    forms: tuple[str, ...]
    counts: "NDArray[Any]"
    lengths: "NDArray[Any]"


def nearest(name: str, known: Iterable[str], count: int = 3, *, cutoff: float = 0.5) -> list[str]:
    """Return up to ``count`` known names close to ``name``, closest first.

    Comparison ignores case; an empty list means nothing is close enough to suggest.
    """
    names = tuple(known)
    if len(names) <= FEW:
        by_form = {item.casefold(): item for item in names}
        return [by_form[form] for form in _closest(name.casefold(), list(by_form), count, cutoff)]
    return list(_nearest_of_many(name.casefold(), names, count, cutoff))


def did_you_mean(name: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """Return ``Did you mean …?`` for close names, else ``otherwise``."""
    close = nearest(name, known)
    if not close:
        return otherwise
    return f"Did you mean {' or '.join(repr(item) for item in close)}?"


def _closest(form: str, forms: list[str], count: int, cutoff: float) -> list[str]:
    import difflib  # only needed when something is already wrong

    return difflib.get_close_matches(form, forms, n=count, cutoff=cutoff)


@lru_cache(maxsize=4096)
def _nearest_of_many(
    form: str, known: tuple[str, ...], count: int, cutoff: float
) -> tuple[str, ...]:
    counted = _counted(known)
    able = _able(form, counted, cutoff)
    close = _closest(form, [counted.forms[place] for place in able], count, cutoff)
    return tuple(counted.names[item] for item in close)


def _able(form: str, counted: _Counted, cutoff: float) -> list[int]:
    """Return the places of the names that share enough letters with ``form`` to be close."""
    import numpy as np

    shared = np.minimum(counted.counts, _letters(form)).sum(axis=1, dtype=np.int64)
    return np.flatnonzero(2.0 * shared >= cutoff * (counted.lengths + len(form))).tolist()


def _letters(form: str) -> "NDArray[Any]":
    """Return how often each letter stands in a form; all that are none of ours are one more."""
    import numpy as np

    counts = [form.count(letter) for letter in _LETTERS]
    return np.array([*counts, len(form) - sum(counts)], dtype=np.int16)


@lru_cache(maxsize=16)
def _counted(known: tuple[str, ...]) -> _Counted:
    import numpy as np

    names = {item.casefold(): item for item in known}
    forms = tuple(names)
    counts = np.stack([_letters(form) for form in forms])
    return _Counted(names, forms, counts, np.array([len(form) for form in forms]))
