"""What the tool brings: files by document, and how to tell whether a ledger has the same."""

from pathlib import Path
from typing import Final

from ..files.file_source import Files, Folder
from .records import CATALOGUE, RULES, digest_of_files

CATALOGUE_FILES: Final = ("tables/*.csv", "tables/*.toml", "grades.toml", "tolerances.toml")
RULE_FILES: Final = ("*.toml", "cases/*.toml")


def brought(catalogue: Path, rules: Path) -> dict[str, dict[str, bytes]]:
    """Return files by document: everything the tool brings."""
    models = Folder(catalogue / "models")
    documents: dict[str, dict[str, bytes]] = {
        RULES: gathered(Folder(rules), RULE_FILES),
        CATALOGUE: gathered(Folder(catalogue), CATALOGUE_FILES),
    }
    for name in models.names("*.toml"):
        documents[name.removesuffix(".toml")] = {name: models.read(name)}
    return documents


def gathered(folder: Files, patterns: tuple[str, ...]) -> dict[str, bytes]:
    """Return the files of a folder that fit any of the patterns."""
    return {name: folder.read(name) for pattern in patterns for name in folder.names(pattern)}


def brought_digest(folder: Path, patterns: tuple[str, ...]) -> str:
    """Return the digest under which a ledger would keep the files of a folder."""
    return digest_of_files(gathered(Folder(folder), patterns))
