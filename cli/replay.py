"""A kept answer worked out again from the revisions of its day, which must agree."""

import json
from typing import TYPE_CHECKING, Any

import typer

from ..catalogue.errors import CuttableError
from ..catalogue.ledger.answers import Kept
from ..catalogue.ledger.records import minute
from ..catalogue.ledger.snapshot import Snapshot
from ..engine.answer.differences import leaf_differences
from ..engine.review.replay import assessor_for, mark_of, text_again
from ..engine.version import VERSION

if TYPE_CHECKING:
    from ..catalogue.ledger.database import Ledger


def tell_again(ledger: "Ledger", kept: Kept, files: dict[str, bytes], *, is_json: bool) -> int:
    """Work an answer out again from the revisions of its day, and say whether it agrees."""
    snapshot = Snapshot(ledger.place, mark=mark_of(kept), now=ledger.clock())
    text = text_again(assessor_for(snapshot, files), kept)
    is_same = text == kept.text
    if is_json:
        typer.echo(text)
    elif is_same:
        typer.echo(f"Answer {kept.answer}: the same to the byte, from the revisions of "
                   f"{minute(kept.basis['at'])}.")  # fmt: skip
    if not is_same:
        differing = list(leaf_differences(json.loads(kept.text), json.loads(text)))
        fault = CuttableError(
            "answer-differs",
            f"answer {kept.answer} comes out otherwise: {len(differing)} values differ, first "
            + "; ".join(f"{key}: {_short(old)} → {_short(new)}" for key, old, new in differing[:3]),
            remedy=f"It was given by {kept.basis['tool']}, this is cuttable {VERSION}."
            if kept.basis["tool"] != f"cuttable {VERSION}"
            else "See that nothing was changed: cuttable ledger verify.",
        )
        typer.echo(f"cuttable: {fault}", err=True)
    return 0 if is_same else 1


def _short(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)[:60]
