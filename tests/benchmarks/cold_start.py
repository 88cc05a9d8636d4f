"""Cold start of ``check``, as a ratio to importing common libraries in the same run.

Run by hand: ``python tests/benchmarks/cold_start.py``. Needs the command installed in the same
environment, with pydantic and typer for the comparison (``pip install pydantic typer``).
"""

import statistics
import subprocess
import sys
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


def main() -> None:
    """Print medians of interleaved rounds and their ratio to the first case."""
    times: dict[str, list[float]] = {name: [] for name in CASES}
    for _ in range(ROUNDS):
        for name, words in CASES.items():
            start = time.perf_counter()
            subprocess.run(words, stdout=subprocess.DEVNULL, check=False)
            times[name].append(time.perf_counter() - start)
    base = statistics.median(next(iter(times.values())))
    for name, values in times.items():
        median = statistics.median(values)
        print(f"{median * 1000:7.1f} ms  x{median / base:.2f}  {name}")


if __name__ == "__main__":
    main()
