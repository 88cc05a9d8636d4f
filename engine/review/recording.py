"""An answer with all that is needed to give it again."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

from ...catalogue.ledger.answers import Kept, New
from ...catalogue.ledger.snapshot import Mark
from ..answer.document import Reply, text_of
from ..answer.wording import System
from ..assessor import AssessorCore
from ..jobs.fields import JobText


def new_answer(
    reply: Reply,
    assessor: AssessorCore,
    mark: Mark,
    text: JobText,
    machines: Sequence[str],
    system: System,
    files: dict[str, bytes],
) -> New:
    """Return an answer with all that is needed to give it again."""
    typed: dict[str, str | Sequence[str]] = text._asdict()
    said = {
        name: value if isinstance(value, str) else list(value)
        for name, value in typed.items()
        if value
    }
    provenance = assessor.provenance
    return New(
        verdict=reply.best or "",
        inputs={"job": said, "machines": list(machines), "units": system},
        basis={
            "at": mark.at,
            "entries": mark.entries,
            "tool": provenance.tool,
            "rules": provenance.rules,
            "catalogue": provenance.catalogue,
            "machines": [
                [item.machine.model, item.machine.revision, item.machine.digest]
                for item in reply.verdicts
            ],
        },
        text=text_of(reply.untraced),
        names=[item.id for item in reply.verdicts],
        files=files,
    )


def question_of(kept: Kept) -> tuple[JobText, list[str], System]:
    """Return what was asked: the job as typed, the machines, and the units of the answer."""
    said: dict[str, Any] = {
        name: tuple(cast("list[str]", value)) if isinstance(value, list) else value
        for name, value in kept.inputs["job"].items()
    }
    units: System = "us" if kept.inputs["units"] == "us" else "si"
    machines: list[str] = list(kept.inputs["machines"])
    return JobText(**said), machines, units


def asked_words(inputs: Mapping[str, Any]) -> str:
    """Return what was asked, in a line."""
    job: dict[str, str | list[str]] = inputs["job"]
    rest = [
        f"{name.replace('_', ' ')} {' + '.join(value) if isinstance(value, list) else value}"
        for name, value in job.items()
        if name not in ("section", "length")
    ]
    where = f" on {', '.join(inputs['machines'])}" if inputs["machines"] else ""
    more = f" ({'; '.join(rest)})" if rest else ""
    return f"{job['section']}, {job['length']}{more}{where}"
