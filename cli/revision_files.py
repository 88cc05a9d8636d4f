"""The files of a revision: from a file or folder, and to one."""

from collections.abc import Mapping
from pathlib import Path

from ..catalogue.errors import FileError
from ..catalogue.files.file_source import Folder, read_bytes
from ..catalogue.files.targets import check_new
from .revision_kind import Kind


def read_files(kind: Kind, source: Path) -> dict[str, bytes]:
    """Return the files of a revision from a file or folder.

    Raises:
        FileError: ``file-missing`` or ``file-damaged``.
    """
    contents = _read_folder(kind, source) if kind.patterns else {source.name: read_bytes(source)}
    for name, content in contents.items():
        try:
            content.decode("utf-8")
        except UnicodeDecodeError:
            raise FileError("file-damaged", f"{name} is not UTF-8 text", where=str(source),
                            remedy="Save it as UTF-8 in your editor.") from None  # fmt: skip
    return contents


def _read_folder(kind: Kind, source: Path) -> dict[str, bytes]:
    """Return the files of a folder that make up a revision, all that it needs among them.

    Raises:
        FileError: ``file-missing``.
    """
    from ..catalogue.ledger.shipped import gathered

    remedy = f"Name a folder with {', '.join(kind.patterns)}: edit --to FOLDER writes one."
    if not source.is_dir():
        told = "it is a file, and a folder is wanted" if source.exists() else "no such folder"
        raise FileError("file-missing", told, where=str(source), remedy=remedy)
    files = gathered(Folder(source), kind.patterns)
    missing = [name for name in kind.needed if name not in files]
    if missing or not files:
        raise FileError(
            "file-missing", f"the folder lacks {', '.join(missing) or 'such files'}",
            where=str(source), remedy=remedy,
        )  # fmt: skip
    return files


def write_files(kind: Kind, files: Mapping[str, bytes], target: Path) -> None:
    """Write the files of a revision to a new file or folder.

    Raises:
        InputError: ``output-exists``.
        FileError: ``output-unwritable``.
    """
    from .files import write_whole

    check_new(target)
    if not kind.patterns:
        write_whole(target, next(iter(files.values())), "the draft")
        return
    for name, content in files.items():
        path = target / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise FileError("output-unwritable", f"the folder cannot be made ({fault.strerror})",
                            where=str(path.parent)) from None  # fmt: skip
        write_whole(path, content, "the draft")
