"""``cuttable impact``: which answers would a draft change?"""

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..catalogue.errors import InputError
from ..engine.answer.wording import System
from .apps import new_app
from .context import open_ledger, person
from .options import Json, Report, Sheet, Units, Who, Workers, command
from .revision_words import coming

if TYPE_CHECKING:
    from ..catalogue.ledger.difference import Difference
    from ..catalogue.ledger.records import Revision
    from ..engine.impact.model import Impact


app = new_app()


@command(
    app,
    "impact",
    epilog="""\b
Examples:
  cuttable impact rowan-150/2 --backlog orders.csv
  cuttable impact rules/2 --answers --report impact.html""",
)
def impact(
    ref: Annotated[
        str, typer.Argument(metavar="DRAFT", help="A revision that is not approved.")
    ],
    *,
    backlog: Annotated[
        Path | None,
        typer.Option("--backlog", metavar="FILE",
                     help="The jobs: CSV, Excel or Parquet, as for batch."),
    ] = None,
    is_on_answers: Annotated[
        bool, typer.Option("--answers", help="The answers the ledger keeps, instead of a backlog.")
    ] = False,
    sheet: Sheet = "",
    workers: Workers = None,
    units: Units = "si",
    report: Report = None,
    is_look: Annotated[
        bool, typer.Option("--only-look", help="Do not attach the report to the draft.")
    ] = False,
    who: Who = None,
    is_json: Json = False,
) -> int:  # fmt: skip
    """Which answers would a draft change?

    Every job, grouped, with numbers before and after. DRAFT is a revision that is not approved, of
    a model, a site, the rules, sections, grades or the catalogue. It is compared with the revision
    approved last, all else as in force today. The report is attached to the draft; without one it
    cannot be approved.

    Exit status: 0 answered, 2 not.
    """
    from .impact_run import check_installed, run_impact

    if (backlog is None) == (not is_on_answers):
        raise InputError(
            "option-needs", "name the jobs to look at: a backlog, or the answers kept",
            remedy="Give --backlog FILE, or --answers.",
        )  # fmt: skip
    if report is not None and report.suffix.casefold() != ".html":
        raise InputError(
            "choice-unknown", f"{report.name!r} is no kind of report",
            remedy="End the file name in .html.",
        )  # fmt: skip
    check_installed()
    from ..engine.impact.impact import models_only
    from ..engine.review.draft_impact import (
        attach,
        beside,
        compared,
        draft_page,
        report_of,
        sides,
    )
    from ..engine.review.from_answers import KEPT, write_kept
    from .files import write_whole

    ledger = open_ledger()
    draft, base, changed = compared(ledger, ref)
    others = beside(ledger, draft)
    before, after = sides(ledger, draft, base)
    with tempfile.TemporaryDirectory() as folder:
        jobs, name = backlog, ""
        if jobs is None:
            before, after = models_only(before), models_only(after)
            jobs, name = Path(folder) / "jobs.parquet", KEPT
            write_kept(ledger, jobs, remedy="Give --backlog FILE.")
        found = run_impact(before, after, jobs, sheet, workers, name=name)
    content = report_of(found, draft, base, changed, others)
    if report is not None:
        page = draft_page(found, draft, base, changed, before, units)
        write_whole(report, page.encode(), "the report")
    if not is_look:
        attach(ledger, draft, content, person(who))
    if is_json:
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    told = coming(ledger, base)
    if told:
        typer.echo(f"{told} The draft is compared with it, not with what is in force now.")
    _tell(draft, base, found, changed, units)
    if not is_look:
        typer.echo(f"\nThe report is attached to {draft.ref}.")
    return 0


def _tell(
    draft: "Revision",
    base: "Revision",
    impact: "Impact",
    changed: "list[Difference]",
    units: System,
) -> None:
    from .revision_words import print_differences
    from .terminal.impact import explain_ranking, print_impact, print_ranking
    from .terminal.layout import console

    print_differences(base.ref, draft.ref, changed, is_same=draft.content == base.content)
    out = console()
    out.print()
    print_impact(impact, out, units)
    print_ranking(f"Which limit refuses most, {base.ref}", impact.before, out)
    print_ranking(f"And {draft.ref}", impact.after, out)
    explain_ranking(out)
