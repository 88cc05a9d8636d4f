"""A text is handed to a person's editor and taken back as it was saved."""

import stat
from pathlib import Path

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.cli.editor import edited


@pytest.fixture
def editor(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A script of the shell that is the editor; its text is to be written."""
    script = tmp_path / "my editor.sh"
    script.write_text("#!/bin/sh\n")
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.delenv("VISUAL", raising=False)
    monkeypatch.setenv("EDITOR", f"'{script}' --wait")
    return script


def test_what_is_saved_comes_back(editor: Path) -> None:
    """With its letters, and under a name by which an editor knows its kind."""
    editor.write_text('#!/bin/sh\necho "$1 ${2##*.}" >> "$2"\n')
    assert edited("Ø 168,3\n", ".toml") == "Ø 168,3\n--wait toml\n"


def test_what_is_saved_unchanged_is_saved(editor: Path) -> None:
    """Within the same second too."""
    editor.write_text('#!/bin/sh\ntouch "$2"\n')
    assert edited("a = 1\n", ".toml") == "a = 1\n"


def test_nothing_saved_is_nothing_edited(editor: Path) -> None:
    """Closing the editor is no edit."""
    assert editor.exists()
    assert edited("a = 1\n", ".toml") is None


def test_an_editor_that_fails_is_told(editor: Path) -> None:
    """What it may have written is not taken."""
    editor.write_text('#!/bin/sh\necho half > "$2"\nexit 3\n')
    with pytest.raises(InputError, match="ended with 3") as told:
        edited("a = 1\n", ".toml")
    assert told.value.code == "option-needs"
    assert "EDITOR" in told.value.remedy


def test_an_editor_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """By its name; VISUAL stands before EDITOR."""
    monkeypatch.setenv("EDITOR", "true")
    monkeypatch.setenv("VISUAL", "no-such-editor")
    with pytest.raises(InputError, match="no-such-editor"):
        edited("a = 1\n", ".toml")
