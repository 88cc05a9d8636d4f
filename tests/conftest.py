"""What several test folders share."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from cuttable.catalogue.store import Catalogue
from cuttable.engine.assessor import AssessorCore

sys.path.insert(0, str(Path(__file__).parent))

from program import Program, run_anew

# Tests ask the limits the tool brings, unless they name a ledger of their own; what somebody has
# set for their own use of the tool is not theirs.
for _name in [name for name in os.environ if name.startswith("CUTTABLE_")]:
    if not _name.startswith("CUTTABLE_UPDATE_"):
        del os.environ[_name]
os.environ["CUTTABLE_LEDGER"] = "none"

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def pytest_addoption(parser: pytest.Parser) -> None:
    """Offer the full sets where the suite takes a part of each."""
    parser.addoption(
        "--full", action="store_true",
        help="die at every point that is counted, and start the commands of stories anew",
    )  # fmt: skip


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Return one worker more than there are processors, at most four.

    Much of what is tested waits: for a browser, a database server, a process that is killed.
    """
    return min(4, len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else 2)


@pytest.fixture(scope="session")
def is_full(request: pytest.FixtureRequest) -> bool:
    """Say whether the full sets are asked for."""
    return bool(request.config.getoption("--full"))


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    """The built-in catalogue."""
    return Catalogue()


@pytest.fixture(scope="session")
def assessor() -> AssessorCore:
    """The built-in catalogue, rules and engine."""
    return AssessorCore()


@pytest.fixture(scope="session")
def whole_process() -> Run:
    """Run the command in a process started anew."""
    return run_anew


@pytest.fixture(scope="session")
def program() -> Iterator[Program]:
    """The server that commands are forked from."""
    found = Program()
    yield found
    found.close()


@pytest.fixture
def cuttable(request: pytest.FixtureRequest, program: Program, *, is_full: bool) -> Run:
    """Run the command: forked, or started anew in a test whose marker says so."""
    marked = request.node.get_closest_marker
    is_whole = marked("whole_process") or (is_full and marked("whole_process_when_full"))
    return run_anew if is_whole else program.run


@pytest.fixture
def cuttable_json(cuttable: Run) -> Callable[..., Any]:
    """Run the command with ``--json`` and return what it printed, and nothing else was."""

    def run(*words: str) -> Any:
        done = cuttable(*words, "--json")
        return json.loads(done.stdout)

    return run
