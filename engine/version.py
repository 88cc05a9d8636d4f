"""The version, kept where reading it costs nothing."""

from typing import Final

VERSION: Final = "0.1.0"
