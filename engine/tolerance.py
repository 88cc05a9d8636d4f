"""How nearly equal is equal: one hair for every comparison with a limit."""

from typing import Final

TOLERANCE: Final = 1e-9
"""Relative difference below which a number counts as equal to its limit."""

FULL: Final = 1.0 + TOLERANCE
"""Share of a limit up to which it is met."""
