"""Words and marks that every page shares: verdicts, moments, shares."""

from typing import Final

from ...engine.backlog.summary import VERDICTS

MARKS: Final = {
    "in-range": "yes", "oversize-allowed-with-conditions": "maybe", "refused": "no", "": "open",
}  # fmt: skip
"""What a verdict is called in the style sheet and among the marks, which differ in shape."""


def verdict_words(verdict: str | None) -> str:
    """Return a verdict in words."""
    return VERDICTS.get(verdict or "", verdict or "")


def verdict_mark(verdict: str | None) -> str:
    """Return the name of a verdict's mark."""
    return MARKS.get(verdict or "", "open")


def moment_words(stamp: str) -> str:
    """Return a stamp of the book as people read it."""
    return f"{stamp[:10]} {stamp[11:16]} UTC" if stamp[11:16] else stamp


def percent(share: float | None) -> str:
    """Return a percentage that never rounds an excess away."""
    if share is None:
        return ""
    value = share * 100
    if value > 100 and round(value) == 100:
        return f"{value:.3g} %" if value >= 100.05 else "just over 100 %"
    return f"{value:.0f} %"
