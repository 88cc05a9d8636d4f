"""Files that appear whole or not at all."""

from pathlib import Path
from secrets import token_hex

from ..catalogue.errors import FileError


def write_whole(path: Path, content: bytes, what: str) -> None:
    """Write beside and move into place, so that no half file is ever left.

    Args:
        path: the file.
        content: all of it.
        what: it is, for the error, e.g. ``the sheet``.

    Raises:
        FileError: ``output-unwritable``.
    """
    beside = path.with_name(f".{path.name}.{token_hex(6)}.part")
    try:
        with beside.open("xb") as file:
            file.write(content)
        beside.replace(path)
    except OSError as fault:
        beside.unlink(missing_ok=True)
        reason = fault.strerror or "unknown reason"
        raise FileError(
            "output-unwritable",
            f"{what} cannot be written ({reason})",
            where=str(path),
            remedy="Choose a folder that exists and can be written, with room left.",
        ) from None
