"""``cuttable batch``: a backlog in, an answer a job and machine out."""

import signal
from dataclasses import astuple
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from ..catalogue.errors import InputError
from ..engine.assessor import AssessorCore
from ..engine.jobs.fields import FIELDS
from .apps import new_app
from .context import open_assessor
from .options import Sheet, Workers, command
from .terminal.progress import batch_extra, chunk_rows, progress

if TYPE_CHECKING:
    from ..engine.backlog.opened import Backlog
    from ..engine.backlog.runner import Runner

REPORTS = (".html", ".pdf")
REQUIRED: Final = ("job", *(field.name for field in FIELDS if field.is_required))
BESIDES: Final = ("quantity", "machine",
                  *(field.name for field in FIELDS if not field.is_required))  # fmt: skip
"""Columns of a backlog, for its help."""


app = new_app()


@command(
    app,
    "batch",
    epilog="""\b
Examples:
  cuttable batch orders.csv --out answers.csv
  cuttable batch orders.xlsx --out answers.xlsx --machine rowan-150 --report report.html
  cuttable batch orders.parquet --out best.parquet --best""",
    help=f"""Answer every job of a backlog: CSV, Excel or Parquet.

    Columns: {", ".join(REQUIRED)}; and where there are such: {", ".join(BESIDES)}. Parts are
    written like "3*1.2 m + 0.4 m". Common other names of columns are understood. Answers come in
    the order of the backlog, one a job and machine; a row that cannot be read keeps its place
    with its error.

    Exit status: 0 every job can be cut somewhere; 1 some job is refused on every machine asked;
    2 some job has no answer (its error or question is in the file), whatever else is refused, or
    nothing could be done.
    """,
)
def batch(
    backlog: Annotated[
        Path, typer.Argument(metavar="BACKLOG", help="The jobs: a CSV, Excel or Parquet file.")
    ],
    *,
    out: Annotated[
        Path,
        typer.Option("--out", metavar="FILE",
                     help="File to write: .csv, .jsonl, .parquet or .xlsx."),
    ],
    machines: Annotated[
        list[str],
        typer.Option(
            "--machine", metavar="CODE|FILE.toml", default_factory=list, show_default=False,
            help="Model to ask; repeat for several. Without it: every model. "
            "A machine named in a row stands before this.",
        ),
    ],
    is_best: Annotated[
        bool,
        typer.Option(
            "--best",
            help="Keep one answer a job: the best verdict, and of equal ones the smallest model.",
        ),
    ] = False,
    has_numbers: Annotated[
        bool, typer.Option("--numbers", help="Add a column for every number of every mitigation.")
    ] = False,
    has_chance: Annotated[
        bool,
        typer.Option("--chance",
                     help="Add columns for how likely the mill ships stock over rated and absolute "
                     "in inertia, mass and wall; they rank, and change no verdict."),
    ] = False,
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="FILE",
                     help="Write a page with counts and charts too: .html or .pdf."),
    ] = None,
    is_resumed: Annotated[
        bool, typer.Option("--resume", help="Continue a run that was stopped.")
    ] = False,
    sheet: Sheet = "",
    workers: Workers = None,
    scheduler: Annotated[
        str,
        typer.Option("--scheduler", metavar="ADDRESS",
                     help="Decide on the workers of a Dask scheduler, e.g. tcp://host:8786."),
    ] = "",
) -> int:  # fmt: skip
    """Answer every job of a backlog."""
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)  # a worker that ended is an error to tell
    _check_places(backlog, out, report)
    with batch_extra():
        from ..engine.backlog.asked import Asked
        from ..engine.backlog.pipeline import answer_all
        from ..engine.backlog.readers import open_backlog
        from ..engine.backlog.runner import Runner
        from ..engine.backlog.writers import open_answers
    assessor = open_assessor()
    asked = Asked(tuple(assessor.machines(machines)), is_best, has_numbers, has_chance=has_chance)
    opened = open_backlog(backlog, sheet)
    typer.echo(f"{backlog}: {opened.mapping.sentence()}", err=True)
    decider = None
    if scheduler:
        from ..engine.backlog.cluster import Cluster

        decider = Cluster(scheduler, assessor.rule_set.digest)
    runner = Runner(assessor, asked, workers, decider=decider)
    answers = open_answers(
        out, runner.schema, typed=("job", "error_text"), key=_key(assessor, asked, opened),
        is_resumed=is_resumed,
    )  # fmt: skip
    is_done = False
    try:
        models = 1 if asked.is_best else len(asked.machines)
        with progress(opened.size) as tell:
            answer_all(
                opened, runner, answers, rows_at_once=chunk_rows(models),
                advance=lambda _: tell(opened.done, runner.tally.jobs),
            )  # fmt: skip
        answers.finish()
        is_done = True
    finally:
        runner.close()
        if not is_done:
            answers.abandon()
            if answers.rows_done:
                typer.echo(
                    f"{answers.rows_done} rows are done; --resume continues with the next.",
                    err=True,
                )
    _tell(assessor, runner, out, report, f"{backlog.name} on {_models(asked)}")
    best = runner.tally.best
    if runner.tally.faulty or best.get("", 0):
        return 2
    return 1 if best.get("refused", 0) else 0


def _check_places(backlog: Path, out: Path, report: Path | None) -> None:
    """Refuse to write one file over another.

    Raises:
        InputError: ``choice-unknown``.
    """
    for one, other, what, remedy in (
        (out, backlog, "the answers would overwrite the backlog", "Give --out another name."),
        (report, backlog, "the report would overwrite the backlog", "Give --report another name."),
        (report, out, "the report would overwrite the answers", "Give --report another name."),
    ):
        if one is not None and _are_one(one, other):
            raise InputError("choice-unknown", what, remedy=remedy)
    if report is not None and report.suffix.casefold() not in REPORTS:
        raise InputError(
            "choice-unknown", f"{report.name!r} is no kind of report",
            remedy=f"End the file name in {' or '.join(REPORTS)}.",
        )  # fmt: skip


def _are_one(one: Path, other: Path) -> bool:
    """Say whether two names lead to the same file, whatever they are and whether it is there."""
    if one.exists() and other.exists():
        return one.samefile(other)
    return one.resolve() == other.resolve()


def _key(assessor: AssessorCore, asked: Any, opened: "Backlog") -> dict[str, Any]:
    """Return what the answers depend on: a stopped run is continued only for the same."""
    return {
        "backlog": opened.digest(),
        "machines": [machine.digest for machine in asked.machines],
        "best": asked.is_best,
        "numbers": asked.has_numbers,
        "chance": asked.has_chance,
        "provenance": list(astuple(assessor.provenance)),
    }


def _models(asked: Any) -> str:
    return ", ".join(machine.named for machine in asked.machines)


def _tell(
    assessor: AssessorCore, runner: "Runner", out: Path, report: Path | None, about: str
) -> None:
    """Print the summary, and write the report where one is asked for."""
    from ..engine.backlog.summary import html_report, pdf_report, shortened, summary_of
    from .files import write_whole
    from .terminal.layout import console
    from .terminal.rows import columns

    summary = summary_of(runner.tally, assessor.rule_set, len(runner.asked.machines))
    screen = console()
    screen.print(f"{out}: {summary.headline}", soft_wrap=True)
    rows = [[str(count), name] for name, count in summary.jobs]
    if rows:
        screen.print(columns([list(row) for row in rows], screen.width, indent=2), soft_wrap=True)
    for table in summary.tables:
        screen.print(f"\n{table.title}", soft_wrap=True)
        counted = [[str(count), name] for name, count in shortened(table.rows)]
        screen.print(columns([list(row) for row in counted], screen.width, indent=2),
                     soft_wrap=True)  # fmt: skip
    if summary.taken:
        screen.print("\nTaken for granted", soft_wrap=True)
        taken = [[str(count), text] for text, count in summary.taken]
        screen.print(columns([list(row) for row in shortened_texts(taken)], screen.width, indent=2),
                     soft_wrap=True)  # fmt: skip
    if report is not None:
        provenance = assessor.provenance
        line = (
            f"{provenance.tool}; rules {provenance.rules[7:15]}; "
            f"catalogue {provenance.catalogue[7:15]}"
        )
        made = (
            html_report(summary, about=about, provenance=line).encode()
            if report.suffix.casefold() == ".html"
            else pdf_report(summary, about=about, provenance=line)
        )
        write_whole(report, made, "the report")


def shortened_texts(rows: list[list[str]]) -> list[list[str]]:
    """Return the first rows; sentences are long, and a few say enough."""
    return rows[:6]
