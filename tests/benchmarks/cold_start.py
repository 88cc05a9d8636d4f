"""Cold start of ``check``, as a ratio to importing common libraries in the same run.

And of ``check`` from a ledger, as a ratio to ``check`` from a machine file.

Run by hand: ``python tests/benchmarks/cold_start.py [postgresql://…]``. Needs the command
installed in the same environment, with pydantic and typer for the comparison (``pip install
pydantic typer``).
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 11
COMMAND = str(Path(sys.executable).with_name("cuttable"))
BASE = "import numpy, pydantic, typer, rich"
CASES = {
    f"python -c '{BASE}'": [sys.executable, "-c", BASE],
    "check, one model": [COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine", "rowan-150"],
    "check, one model, --json": [
        COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine", "rowan-150", "--json",
    ],
    "check, one model, refused": [COMMAND, "check", "NPS 10 XS", "12 m", "--machine", "rowan-150"],
    "check, every model": [COMMAND, "check", "NPS 10 XS", "12 m"],
}  # fmt: skip


MODEL = Path(__file__).parents[2] / "catalogue" / "models" / "rowan-150.toml"
JOB = [COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine"]


def measured(cases: dict[str, list[str]], **env: str) -> dict[str, float]:
    """Return the median of each case in ms, over interleaved rounds."""
    times: dict[str, list[float]] = {name: [] for name in cases}
    for _ in range(ROUNDS):
        for name, words in cases.items():
            start = time.perf_counter()
            subprocess.run(words, stdout=subprocess.DEVNULL, check=False, env=os.environ | env)
            times[name].append(1000 * (time.perf_counter() - start))
    return {name: statistics.median(values) for name, values in times.items()}


def shown(medians: dict[str, float]) -> None:
    """Print medians and their ratio to the first."""
    base = next(iter(medians.values()))
    for name, median in medians.items():
        print(f"{median:7.1f} ms  x{median / base:.2f}  {name}")


def main() -> None:
    """Print both comparisons."""
    shown(measured(CASES, CUTTABLE_LEDGER="none"))
    with tempfile.TemporaryDirectory() as folder:
        ledger = str(Path(folder) / "ledger.db")
        subprocess.run([COMMAND, "ledger", "init", "--ledger", ledger], check=True)
        cases = {
            "check, a machine file": [*JOB, str(MODEL), "--ledger", "none"],
            "check, the ledger": [*JOB, "rowan-150", "--ledger", ledger],
        }
        if len(sys.argv) > 1:
            url = sys.argv[1]
            subprocess.run([COMMAND, "ledger", "init", "--ledger", url], check=False)
            cases["check, the ledger in PostgreSQL"] = [*JOB, "rowan-150", "--ledger", url]
        shown(measured(cases))


if __name__ == "__main__":
    main()
