"""``cuttable whatif``: which limit refuses most of a backlog, and what another value would gain."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..catalogue.errors import InputError
from ..catalogue.files.file_source import read_bytes
from ..catalogue.machines.amend import Change, amended_machine, changes, machine_data, written_at
from ..catalogue.machines.site_overlay import MARK
from ..catalogue.store import ModelFile
from ..engine.answer.wording import System
from .apps import new_app
from .context import open_assessor
from .options import Json, Machine, Report, Sheet, Units, Workers, command

if TYPE_CHECKING:
    from ..engine.assessor import AssessorCore
    from ..engine.impact.impact import Side
    from ..engine.impact.model import Impact, State

HINTS = 3
"""Limits named in the hint of what to try."""


app = new_app()


@command(
    app,
    "whatif",
    epilog="""\b
Examples:
  cuttable whatif --machine rowan-150 --backlog orders.csv
  cuttable whatif --machine rowan-150 --set limits.stock_mass.absolute="400 kg" \\
    --backlog orders.csv --report whatif.html""",
)
def whatif(
    *,
    machine: Machine,
    settings: Annotated[
        list[str],
        typer.Option(
            "--set", metavar='KEY="VALUE"', default_factory=list, show_default=False,
            help="A value of the machine file to set otherwise, by dotted key; repeat for several. "
            "Supports and accessories by their code: supports.roller-pair.count=4.",
        ),
    ],
    backlog: Annotated[
        Path,
        typer.Option("--backlog", metavar="FILE",
                     help="The jobs: CSV, Excel or Parquet, as for batch."),
    ],
    sheet: Sheet = "",
    workers: Workers = None,
    units: Units = "si",
    is_json: Json = False,
    report: Report = None,
) -> int:  # fmt: skip
    """Which limit refuses most of a backlog, and what would another gain?

    Without --set: what refuses, and how many jobs nothing else refuses. With it: the same jobs
    on the machine as it is and as it would be; which refusals that lifts and what gets worse. A
    row that names another model is left out.

    Exit status: 0 answered, 2 not.
    """
    from .impact_run import check_installed, run_impact, run_state

    _check_report(report, is_set=bool(settings))
    check_installed()
    from ..engine.impact.impact import Side

    assessor = open_assessor()
    before = Side(assessor, (assessor.machines([machine])[0],))
    (content, where, _), over = _files(assessor, machine)
    data = machine_data(content, where, over)
    if not settings:
        state = run_state(before, backlog, sheet, workers)
        _tell_state(before, state, data, is_json=is_json)
        return 0
    made = changes(data, settings)
    is_now = before.machines[0]
    would_be = amended_machine(assessor.catalogue, content, where, settings, over=over)
    # It stays the same model in the ledger, with what is set beside it.
    known = {
        name: getattr(is_now, name) for name in ("code", "revision", "overlay_revision", "file")
    }
    after = Side(assessor, (would_be._replace(**known),))
    impact = run_impact(before, after, backlog, sheet, workers)
    if report is not None:
        _write_report(report, before, impact, made, units)
    if is_json:
        content_of = {
            "schema": "cuttable.whatif/1",
            "settings": [item._asdict() for item in made],
            "impact": impact.to_json(),
        }
        typer.echo(json.dumps(content_of, ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    _tell(before, impact, made, units)
    return 0


def _check_report(report: Path | None, *, is_set: bool) -> None:
    if report is None:
        return
    if not is_set:
        raise InputError(
            "option-needs", "--report tells what a setting changes, and none is given",
            remedy='Add one, like --set limits.stock_mass.absolute="400 kg".',
        )  # fmt: skip
    if report.suffix.casefold() != ".html":
        raise InputError(
            "choice-unknown", f"{report.name!r} is no kind of report",
            remedy="End the file name in .html.",
        )  # fmt: skip


def _files(assessor: "AssessorCore", machine: str) -> tuple[ModelFile, ModelFile | None]:
    """Return the model's file, and the overlay that lies over it where one is named."""
    if machine.casefold().endswith(".toml"):
        return ModelFile(read_bytes(Path(machine)), machine), None
    models = assessor.catalogue.models
    code = machine.strip().casefold()
    model = models.model(code.partition(MARK)[0])
    return model, models.overlay(code) if MARK in code else None


def _name(side: "Side") -> str:
    machine = side.machines[0]
    return f"{machine.code}, {machine.title}, {machine.release}"


def _set_lines(made: Sequence[Change]) -> list[str]:
    return [f"{item.key}: {item.before or 'not stated'} → {item.after}" for item in made]


def _write_report(
    report: Path, side: "Side", impact: "Impact", made: Sequence[Change], units: System
) -> None:
    from ..engine.impact.page import impact_page
    from .files import write_whole

    told = side.assessor.provenance
    machines = [state.machines[0].digest[7:15] for state in (impact.before, impact.after)]
    line = (
        f"{told.tool}; rules {told.rules[7:15]}; catalogue {told.catalogue[7:15]}; "
        f"{side.machines[0].code} {machines[0]} and {machines[1]}"
    )
    title = f"What if {side.machines[0].code} were set otherwise?"
    page = impact_page(
        impact, title=title, set_lines=_set_lines(made), provenance=line, system=units
    )
    write_whole(report, page.encode(), "the report")


def _tell(side: "Side", impact: "Impact", made: Sequence[Change], units: System) -> None:
    """Print what was set and what it changes."""
    from .terminal.impact import explain_ranking, print_impact, print_ranking
    from .terminal.layout import console

    out = console()
    out.print(_name(side), soft_wrap=True)
    for line in _set_lines(made):
        out.print(f"  {line}", soft_wrap=True, markup=False)
    out.print()
    print_impact(impact, out, units)
    print_ranking("Which limit refuses most, before", impact.before, out)
    print_ranking("And after", impact.after, out)
    explain_ranking(out)


def _tell_state(side: "Side", state: "State", data: dict[str, Any], *, is_json: bool) -> None:
    """Print which limit refuses most, and what to try."""
    from ..engine.impact.model import state_json
    from ..engine.impact.ranking import LACKING
    from .terminal.impact import explain_ranking, print_ranking
    from .terminal.layout import console
    from .terminal.rows import columns, counted

    if is_json:
        nothing: list[object] = []
        content = {"schema": "cuttable.whatif/1", "settings": nothing, "state": state_json(state)}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return
    out = console()
    out.print(f"{_name(side)}; {counted(state.jobs, 'job')} asked", soft_wrap=True)
    print_ranking("Which limit refuses most", state, out)
    explain_ranking(out)
    # What lacks an accessory is refused for want of supports too: it seldom stands alone.
    useful = [item for item in state.ranking if item.keys and (item.alone or item.code == LACKING)]
    rows = [
        [f"--set {key}=...", f"now {written_at(data, key) or 'not stated'}", item.code]
        for item in sorted(useful, key=lambda item: -item.alone)[:HINTS]
        for key in item.keys
    ]
    if rows:
        out.print("\nTo see what another value would gain, set it:", soft_wrap=True)
        out.print(columns([list(row) for row in rows], out.width, indent=2), soft_wrap=True)
