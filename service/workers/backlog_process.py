"""A task in a process of its own: ``python -m cuttable.service.workers.backlog_process FOLDER``.

What it has done is written down chunk by chunk; begun again it goes on from there. It takes
processor time that nobody else wants, no more memory than it is given, and it ends with the
service that began it.
"""

import fcntl
import os
import resource
import signal
import sys
import threading
import traceback
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from ...catalogue.errors import CuttableError, FileError, OpenQuestion
from .task_folder import read, written

GRACE: Final = 5.0
"""Seconds to end by itself once the service is gone."""


def main() -> None:
    """Work on a folder, and write down how it ended."""
    folder = Path(sys.argv[1])
    order = read(folder / "order.json")
    kind = sys.argv[3] if sys.argv[2:3] == ["--convert"] else ""
    fault_file = f"fault-{kind}.json" if kind else "fault.json"
    lock = (folder / f".lock{kind}").open("w")  # held as long as the process lives
    _modest(int(order.get("most_memory", 0)))
    signal.signal(signal.SIGTERM, _ended)
    threading.Thread(target=_watch, daemon=True).start()
    # One that a dead service left behind ends in a moment; two must not write in one folder.
    fcntl.flock(lock, fcntl.LOCK_EX)
    try:
        _work(folder, order, kind)
    except CuttableError as fault:
        problems = list(fault.problems) if isinstance(fault, FileError) else []
        told = {"code": fault.code, "what": fault.what, "remedy": fault.remedy}
        written(folder, fault_file, told | {"problems": problems})
        sys.exit(2)
    except OpenQuestion as asked:
        written(folder, fault_file, {"code": "question-open", "what": asked.question.text,
                                     "remedy": "", "problems": []})  # fmt: skip
        sys.exit(2)
    except MemoryError:
        written(folder, fault_file, {
            "code": "too-large", "what": "it needs more memory than a backlog may take",
            "remedy": "Send it in parts.", "problems": [],
        })  # fmt: skip
        sys.exit(2)
    except Exception:  # noqa: BLE001 - told to the service, which tells the person
        traceback.print_exc()
        written(folder, fault_file, {"code": "internal-fault", "what": "the tool failed",
                                     "remedy": "Tell whoever runs the service.",
                                     "problems": []})  # fmt: skip
        sys.exit(3)


def _work(folder: Path, order: dict[str, Any], kind: str) -> None:
    if kind:
        from .backlog_answers import convert

        convert(folder / "answers.parquet", folder / f"answers.{kind}")
    elif order["kind"] == "impact":
        from .backlog_impact import compare

        compare(folder, order)
    else:
        from .backlog_answers import answer

        answer(folder, order)


def _modest(most_memory: int) -> None:
    """Take what is left over of the processor, and no more memory than is given."""
    with suppress(OSError, AttributeError):
        os.nice(15)
    with suppress(OSError):
        # Where memory runs out all the same, this goes and not the service.
        Path("/proc/self/oom_score_adj").write_text("1000", encoding="ascii")
    if most_memory:
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_AS, (most_memory, most_memory))
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _watch() -> None:
    """Wait until the service is gone, and end: its end of the pipe closes with it."""
    with suppress(OSError, ValueError):
        while os.read(0, 4096):
            pass
    os.kill(os.getpid(), signal.SIGTERM)
    threading.Event().wait(GRACE)
    with suppress(OSError):
        os.killpg(0, signal.SIGKILL)


def _ended(*_: object) -> None:
    sys.exit(143)


if __name__ == "__main__":
    main()
