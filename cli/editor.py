"""A text as a person leaves it in their editor."""

import os
import shlex
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from ..catalogue.errors import InputError

USUAL: Final = ("sensible-editor", "vim", "nano", "vi", "notepad")
"""Editors that are tried where none is named."""


def edited(text: str, suffix: str) -> str | None:
    """Return a text as it was saved in the person's editor; None where nothing was saved.

    Args:
        text: what to begin with.
        suffix: of the file, by which an editor knows its kind.

    Raises:
        InputError: ``option-needs`` where there is no editor, or it failed.
    """
    words = shlex.split(os.environ.get("VISUAL") or os.environ.get("EDITOR") or _usual())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"draft{suffix}"
        path.write_text(text, encoding="utf-8")
        # Set back, so that what is saved within a tick of the file's clock is seen.
        before = path.stat().st_mtime - 2
        os.utime(path, (before, before))
        before = path.stat().st_mtime
        try:
            status = subprocess.run([*words, str(path)], check=False).returncode  # noqa: S603 - the person names it
        except OSError as fault:
            raise _failed(words, fault.strerror or "unknown reason") from None
        if status:
            raise _failed(words, f"it ended with {status}")
        if path.stat().st_mtime == before:
            return None
        return path.read_text(encoding="utf-8", errors="replace")


def _usual() -> str:
    return next((name for name in USUAL if shutil.which(name)), "vi")


def _failed(words: list[str], reason: str) -> InputError:
    return InputError(
        "option-needs", f"the editor {shlex.join(words)[:60]} could not be used ({reason})",
        remedy="Name another in EDITOR.",
    )  # fmt: skip
