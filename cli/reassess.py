"""What of a kept answer is different today, and which change it comes from."""

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from ..catalogue.errors import CuttableError, FileError, InputError
from ..catalogue.ledger.answers import Kept
from ..catalogue.ledger.snapshot import Snapshot
from ..engine.answer.differences import (
    Change,
    changes,
    essence,
    in_form,
    leaf_differences,
    lines,
    question_lines,
    said,
)
from ..engine.answer.document import Reply, plain, read_reply
from ..engine.answer.wording import System
from ..engine.review.replay import ask_again, assessor_for, reasons

if TYPE_CHECKING:
    from ..catalogue.ledger.database import Ledger


def tell_today(ledger: "Ledger", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Tell what of an answer is different today, and which change it comes from."""
    assessor = assessor_for(Snapshot(ledger.place, now=ledger.clock()), files)
    before, after = read_reply(kept.text), Reply()
    fault: CuttableError | None = None
    try:
        after = in_form(ask_again(assessor, kept), before.form)
    except (InputError, FileError) as told:
        if isinstance(told, FileError) and told.code != "file-problems":
            raise  # of the ledger or the tool, not of what was asked
        fault = told
    changed = changes(before, after)
    why = reasons(ledger, kept, assessor.provenance, after)
    asked = [] if fault else question_lines(before, after)
    is_same = not changed and not asked and fault is None
    if is_json:
        typer.echo(_as_json(kept, None if fault else after, changed, why, fault))
    elif is_same:
        typer.echo(f"Answer {kept.answer} of {kept.at[:10]}: today the same.")
        _tell((), (), why, "si")
    elif fault is not None:
        _tell([f"Answer {kept.answer} cannot be answered today: {fault}"], (), why, "si")
    else:
        _tell(asked, changed, why, "us" if kept.inputs["units"] == "us" else "si")
    return 0 if is_same else 1


def _tell(
    told: Sequence[str], changed: Sequence[Change], why: Sequence[str], system: System
) -> None:
    """Print what is different, other verdicts first, and why."""
    from .terminal.layout import console
    from .terminal.rows import paragraph

    screen = console()
    for line in told:
        screen.print(paragraph(line, screen.width))
    for item in sorted(changed, key=lambda item: not item.is_of_verdict):
        screen.print(f"{item.model}: {item.heading}", soft_wrap=True, markup=False)
        for line in lines(item, system):
            screen.print(paragraph(line, screen.width, indent=2, mark="- "))
    if why:
        screen.print("Changed since:")
    for line in why:
        screen.print(paragraph(line, screen.width, indent=2, mark="- "))


def _as_json(
    kept: Kept,
    after: Reply | None,
    changed: Sequence[Change],
    why: Sequence[str],
    fault: CuttableError | None,
) -> str:
    items = [
        {
            "model": item.model,
            "before": essence(item.before),
            "after": essence(item.after),
            "differences": [
                {"key": key, "before": old, "after": new}
                for key, old, new in leaf_differences(said(item.before), said(item.after))
            ],
        }
        for item in changed
    ]
    content: dict[str, Any] = {
        "schema": "cuttable.today/1", "answer": kept.answer, "changed": items, "why": list(why),
        "before": json.loads(kept.text),
        "after": None if after is None else plain(after, after.form),
    }  # fmt: skip
    if fault is not None:
        content["error"] = {"code": fault.code, "text": fault.what, "where": fault.where,
                            "remedy": fault.remedy}  # fmt: skip
    return json.dumps(content, ensure_ascii=False, indent=2)
