"""What went wrong, told in place on a page: with the page's own remedy, not the terminal's."""

from typing import Final, NamedTuple

from ...catalogue.errors import CuttableError, FileError, OpenQuestion


class Fault(NamedTuple):
    """What is wrong, what to do, and each problem of a file."""

    what: str
    remedy: str = ""
    problems: tuple[str, ...] = ()


_REMEDIES: Final = {
    "reason-missing": "Say why in the field for the reason.",
    "impact-missing": "Make the report of its impact on this page, or say why none is needed.",
    "impact-stale": "Make the report of its impact again on this page.",
    "draft-unchanged": "Edit the file first, or withdraw the draft.",
    "effective-overlap": "Name a later date.",
    "answer-unknown": "Choose a backlog instead, or keep an answer first.",
    "person-unknown": "Fill in the name.",
}
"""Remedies of steps, in words of the page: the errors name options of the command line."""


def fault_of(fault: CuttableError | OpenQuestion) -> Fault:
    """Return an error as a page tells it."""
    if isinstance(fault, OpenQuestion):
        asked = fault.question
        return Fault(asked.text.rstrip("."), f"Choose: {', '.join(asked.choices)}.")
    problems = fault.problems if isinstance(fault, FileError) else ()
    remedy = _REMEDIES.get(fault.code, fault.remedy)
    return Fault(fault.what[:1].upper() + fault.what[1:].rstrip("."), remedy, tuple(problems))
