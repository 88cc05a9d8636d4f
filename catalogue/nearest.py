"""The nearest known names to a misspelt one."""

from collections.abc import Iterable


def nearest(name: str, known: Iterable[str], count: int = 3, *, cutoff: float = 0.5) -> list[str]:
    """Return up to ``count`` known names close to ``name``, closest first.

    Comparison ignores case; an empty list means nothing is close enough to suggest.
    """
    import difflib  # only needed when something is already wrong

    by_fold = {item.casefold(): item for item in known}
    close = difflib.get_close_matches(name.casefold(), by_fold, n=count, cutoff=cutoff)
    return [by_fold[item] for item in close]


def did_you_mean(name: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """Return ``Did you mean …?`` for close names, else ``otherwise``."""
    close = nearest(name, known)
    if not close:
        return otherwise
    return f"Did you mean {' or '.join(repr(item) for item in close)}?"
