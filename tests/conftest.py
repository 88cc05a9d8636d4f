"""What several test folders share."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from cuttable.catalogue.store import Catalogue
from cuttable.engine.ask import Desk

# Tests ask the limits the tool brings, unless they name a book of their own.
os.environ["CUTTABLE_BOOK"] = "none"

Run = Callable[..., "subprocess.CompletedProcess[str]"]

_ENTRY = "from cuttable.cli.main import run; run()"


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    """The built-in catalogue."""
    return Catalogue()


@pytest.fixture(scope="session")
def desk() -> Desk:
    """The built-in catalogue, rules and engine."""
    return Desk()


@pytest.fixture(scope="session")
def cuttable() -> Run:
    """Run the command in a process of its own, as a person does."""

    def run(*words: str, **options: Any) -> "subprocess.CompletedProcess[str]":
        # Not the width of whatever runs the tests: without a terminal the tool has its own.
        plain = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
        options.setdefault("env", plain)
        return subprocess.run(
            [sys.executable, "-c", _ENTRY, *words],
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=120,
            check=False,
            **options,
        )

    return run


@pytest.fixture(scope="session")
def cuttable_json(cuttable: Run) -> Callable[..., Any]:
    """Run the command with ``--json`` and return what it printed, and nothing else was."""

    def run(*words: str) -> Any:
        done = cuttable(*words, "--json")
        return json.loads(done.stdout)

    return run
