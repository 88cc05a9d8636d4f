"""Can this rotary pipe and tube cutting machine cut this stock, and how must it be set up?

    >>> import cuttable
    >>> answer = cuttable.check("NPS 4 SCH 40", "20 ft", machine="alder-320")
    >>> answer.verdict
    <Verdict.IN_RANGE: 'in-range'>

This file is the package ``cuttable`` itself; its rooms (``cuttable.engine`` …) are folders beside
this one. Everything it names is imported when it is first used, because every command of the tool
imports this first. Imports within it are absolute: seen from this folder, ``.engine`` is nowhere.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    # Resolved where the package is installed; in the tree itself there is no such folder.
    from cuttable.catalogue.errors import (
        CuttableError,
        FileError,
        InputError,
        OpenQuestion,
        Question,
    )
    from cuttable.engine.answer.document import Answer, Verdict
    from cuttable.engine.library.assessor import Assessor
    from cuttable.engine.library.default import (
        check,
        check_frame,
        lengths,
        machines,
        sections,
    )
    from cuttable.engine.version import VERSION

    __version__ = VERSION

__all__ = [
    "Answer",
    "Assessor",
    "CuttableError",
    "FileError",
    "InputError",
    "OpenQuestion",
    "Question",
    "Verdict",
    "__version__",
    "check",
    "check_frame",
    "lengths",
    "machines",
    "sections",
]

_HOMES: Final = {
    "Answer": "engine.answer.document",
    "Assessor": "engine.library.assessor",
    "CuttableError": "catalogue.errors",
    "FileError": "catalogue.errors",
    "InputError": "catalogue.errors",
    "OpenQuestion": "catalogue.errors",
    "Question": "catalogue.errors",
    "Verdict": "engine.answer.document",
    "check": "engine.library.default",
    "check_frame": "engine.library.default",
    "lengths": "engine.library.default",
    "machines": "engine.library.default",
    "sections": "engine.library.default",
}


def __getattr__(name: str) -> Any:
    """Import what is asked for from the module it lives in, once."""
    if name == "__version__":
        found: Any = import_module("cuttable.engine.version").VERSION
    elif name in _HOMES:
        found = getattr(import_module(f"cuttable.{_HOMES[name]}"), name)
    else:
        raise AttributeError(f"module 'cuttable' has no attribute {name!r}")
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
