"""Loading the inference library: on every Python, and what is told where it cannot be."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ENTRY = "from cuttable.cli.main import run; run()"
CHECK = ("check", "NPS 4 SCH 40", "20 ft", "--machine", "rowan-150")


def check(folder: Path, *words: str, **env: str) -> "subprocess.CompletedProcess[str]":
    """Run a check in a Python that looks into ``folder`` first."""
    return subprocess.run(
        [sys.executable, "-c", ENTRY, *(words or CHECK)],
        env=os.environ | {"PYTHONPATH": str(folder)} | env,
        capture_output=True, text=True, encoding="utf-8", check=False, timeout=120,
    )  # fmt: skip


def test_the_flags_of_the_process_are_as_they_were() -> None:
    """Other libraries are loaded as their makers meant."""
    code = (
        "import sys; before = sys.getdlopenflags(); import cuttable.engine.decision.inference; "
        "assert sys.getdlopenflags() == before"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_flags_are_put_back_where_loading_fails(tmp_path: Path) -> None:
    """Too."""
    (tmp_path / "durable_rules_engine.py").write_text("raise ImportError('undefined symbol: x')\n")
    code = (
        "import sys; before = sys.getdlopenflags()\n"
        "from cuttable.catalogue.errors import CuttableError\n"
        "try: import cuttable.engine.decision.inference\n"
        "except CuttableError as fault: assert fault.code == 'inference-unloadable'\n"
        "else: raise SystemExit(3)\n"
        "assert sys.getdlopenflags() == before"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        check=False,
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
    )
    assert done.returncode == 0


@pytest.mark.parametrize(
    ("source", "remedy"),
    [
        ("raise ImportError('undefined symbol: PyEval_CallObject')", "Build it anew"),
        ("raise ModuleNotFoundError(\"No module named 'durable_rules_engine'\")", "Install it"),
    ],
)
def test_a_library_that_cannot_be_loaded_is_named(tmp_path: Path, source: str, remedy: str) -> None:
    """One sentence, the remedy and the code; no traceback, no verdict."""
    (tmp_path / "durable_rules_engine.py").write_text(f"{source}\n")
    done = check(tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("cuttable: the inference library durable_rules cannot be loaded")
    assert remedy in done.stderr
    assert "durable_rules==2.0.28" in done.stderr
    assert done.stderr.rstrip().endswith("[inference-unloadable]")
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(sys.version_info < (3, 13), reason="the symbol is missing from Python 3.13 on")
def test_where_every_symbol_is_bound_at_once_it_says_so(tmp_path: Path) -> None:
    """The one case that lazy loading does not help."""
    done = check(tmp_path, LD_BIND_NOW="1")
    assert done.returncode == 2
    assert "unset LD_BIND_NOW" in done.stderr
