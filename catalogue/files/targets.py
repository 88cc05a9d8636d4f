"""Files and folders that are to be made."""

from pathlib import Path

from ..errors import FileError, InputError


def check_new(target: Path) -> None:
    """Refuse to write where something is already.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable`` where the name itself can be none.
    """
    try:
        is_there = target.exists()
    except OSError as fault:
        raise FileError(
            "output-unwritable", f"it cannot be written ({fault.strerror})", where=str(target),
            remedy="Choose a shorter name, in a folder that exists and can be written.",
        ) from None  # fmt: skip
    if is_there:
        raise InputError("output-exists", "there is such a file already", where=str(target),
                         remedy="Choose another name.")  # fmt: skip
