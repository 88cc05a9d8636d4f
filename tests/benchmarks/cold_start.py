"""Cold start of ``check``, as a ratio to importing common libraries in the same run.

And of ``check`` from a ledger, as a ratio to ``check`` from a machine file. The bar: one model
with ``--json`` takes at most 2.4 times what ``python -c "import numpy, pydantic, typer, rich"``
takes. What is compared is processor time, user and system, for other work on the machine delays
but does not add to it; the median of interleaved rounds. Compiled modules of both sides are kept
in a folder of the run's own, filled by a round that is not counted, as they are where a package
is installed.

Run by hand: ``python tests/benchmarks/cold_start.py [postgresql://…]``. Needs the command
installed in the same environment, and a system that tells the time of a child (not Windows).
Ends with 1 where the bar is missed.
"""

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

BAR = 2.4
ROUNDS = 11
COMMAND = str(Path(sys.executable).with_name("cuttable"))
BASE = "import numpy, pydantic, typer, rich"
BARRED = "check, one model, --json"
CASES = {
    f"python -c '{BASE}'": [sys.executable, "-c", BASE],
    BARRED: [COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine", "rowan-150", "--json"],
    "check, one model": [COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine", "rowan-150"],
    "check, one model, refused": [COMMAND, "check", "NPS 10 XS", "12 m", "--machine", "rowan-150"],
    "check, every model": [COMMAND, "check", "NPS 10 XS", "12 m"],
}


MODEL = Path(__file__).parents[2] / "catalogue" / "models" / "rowan-150.toml"
JOB = [COMMAND, "check", "NPS 4 SCH 40", "20 ft", "--machine"]


def cost(words: list[str], environment: dict[str, str]) -> float:
    """Return the processor time of a command in ms."""
    before = os.times()
    subprocess.run(words, stdout=subprocess.DEVNULL, check=False, env=environment)
    after = os.times()
    user = after.children_user - before.children_user
    return 1000 * (user + after.children_system - before.children_system)


def measured(cases: dict[str, list[str]], modules: str, **env: str) -> dict[str, float]:
    """Return the median of each case in ms, over interleaved rounds."""
    environment = os.environ | {"PYTHONPYCACHEPREFIX": modules} | env
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    times: dict[str, list[float]] = {name: [] for name in cases}
    for round_ in range(ROUNDS + 1):
        for name, words in cases.items():
            taken = cost(words, environment)
            if round_:
                times[name].append(taken)
    return {name: statistics.median(values) for name, values in times.items()}


def shown(medians: dict[str, float]) -> None:
    """Print medians and their ratio to the first."""
    base = next(iter(medians.values()))
    for name, median in medians.items():
        print(f"{median:7.1f} ms  x{median / base:.2f}  {name}")


def main() -> int:
    """Print both comparisons; return 1 where the bar is missed."""
    with tempfile.TemporaryDirectory() as folder:
        modules, ledger = str(Path(folder) / "modules"), str(Path(folder) / "ledger.db")
        cold = measured(CASES, modules, CUTTABLE_LEDGER="none")
        shown(cold)
        ratio = cold[BARRED] / next(iter(cold.values()))
        is_met = ratio <= BAR
        print(f"bar {'met' if is_met else 'MISSED'}: x{ratio:.2f} of at most x{BAR}")
        subprocess.run([COMMAND, "ledger", "init", "--ledger", ledger], check=True)
        cases = {
            "check, a machine file": [*JOB, str(MODEL), "--ledger", "none"],
            "check, the ledger": [*JOB, "rowan-150", "--ledger", ledger],
        }
        if len(sys.argv) > 1:
            url = sys.argv[1]
            subprocess.run([COMMAND, "ledger", "init", "--ledger", url], check=False)
            cases["check, the ledger in PostgreSQL"] = [*JOB, "rowan-150", "--ledger", url]
        shown(measured(cases, modules))
    return 0 if is_met else 1


if __name__ == "__main__":
    sys.exit(main())
