"""Words and marks that every page shares: verdicts."""

from typing import Final

from ...engine.answer.words import WORDS_BY_NAME

MARKS: Final = {
    "in-range": "yes", "oversize-allowed-with-conditions": "maybe", "refused": "no", "": "open",
}  # fmt: skip
"""What a verdict is called in the style sheet and among the marks, which differ in shape."""


def verdict_words(verdict: str | None) -> str:
    """Return a verdict in words."""
    return WORDS_BY_NAME.get(verdict or "", verdict or "")


def verdict_mark(verdict: str | None) -> str:
    """Return the name of a verdict's mark."""
    return MARKS.get(verdict or "", "open")
