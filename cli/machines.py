"""``cuttable machines``: list, show and validate machine models; the life of their revisions."""

import datetime as dt
import json
import math
from pathlib import Path
from typing import Annotated

import typer

from ..catalogue.errors import InputError
from ..catalogue.machines.model import LIMITS, Chuck, Limit, MachineModel, describe
from ..catalogue.store import Catalogue
from ..catalogue.units.units import canonical
from ..engine.answer.wording import System, show
from .apps import new_app
from .context import as_of as moment
from .context import open_catalogue, open_ledger
from .options import Json, Units, command
from .revision_kind import Kind, group_of
from .revisions import add_revision_commands

app = new_app(
    """List, show and validate machine models; release their limits.

    A revision is drafted, edited, submitted, and approved by another person, who has seen its
    impact. From its date on it is in force, until a later one is. Nothing is deleted.
    """
)


AsOf = Annotated[
    str,
    typer.Option(
        "--as-of", metavar="DATE", help="As it was in force at the end of this day (UTC)."
    ),
]


@command(app, "list", epilog="Example: cuttable machines list --units us")
def list_all(*, units: Units = "si", as_of: AsOf = "", is_json: Json = False) -> int:
    """List all models, smallest first, with what they are rated for."""
    machines = open_catalogue(at=moment(as_of)).machines
    if is_json:
        models = [{"model": item.code, "title": item.title, "builder": item.builder,
                   "revision": item.revision, "digest": item.digest}
                  for item in machines.values()]  # fmt: skip
        content = {"schema": "cuttable.machines/1", "machines": models}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .terminal.layout import print_rows

    names = ("round_diameter", "swept_diameter", "stock_length", "stock_mass", "rotary_inertia")
    print_rows(
        ("model", *(name.replace("_", " ") for name in names), "title"),
        (
            (item.code, *(_rated(item, name, units) for name in names), item.title)
            for item in machines.values()
        ),
    )
    return 0


def _rated(machine: MachineModel, name: str, units: System) -> str:
    unit = canonical(LIMITS[name][0]).name
    return show(machine.limit(name).rated, unit, units, digits=4)


@command(app, "show", epilog="Example: cuttable machines show rowan-150")
def show_one(
    code: Annotated[
        str,
        typer.Argument(
            metavar="CODE|CODE/REVISION|FILE.toml",
            help="A model, MODEL@NAME for a site; with a slash and a number any revision of a "
            "model, drafts too.",
        ),
    ],
    *,
    units: Units = "si",
    as_of: AsOf = "",
    is_json: Json = False,
) -> int:  # fmt: skip
    """Show one model: every limit with its basis, drive, chuck, bed, supports."""
    machine, standing = _load(code, moment(as_of))
    if is_json:
        content = {"schema": "cuttable.machine/1", **describe(machine)}
        content |= {"standing": standing} if standing else {}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    from .terminal.layout import console, print_rows
    from .terminal.rows import paragraph

    screen = console()
    told = f", {standing}" if standing else ""
    head = f"{machine.code}: {machine.title}, {machine.builder}, {machine.release}{told}"
    screen.print(paragraph(head, screen.width), soft_wrap=True)
    screen.print(f"{machine.digest}\n", soft_wrap=True)
    rows: list[tuple[str, ...]] = []
    for name, (dimension, _) in LIMITS.items():
        rows.append(_limit_row(name, machine.limit(name), canonical(dimension).name, units))
    for family, limit in machine.wall.items():
        rows.append(_limit_row(f"wall, {family}", limit, "mm", units))
    rows += [
        _limit_row(f"reaction of a {support.code}", support.reaction, "N", units)
        for support in machine.supports
    ]
    print_rows(("limit", "minimum", "rated", "absolute", "basis"), rows)
    typer.echo("")
    rotary, chuck, bed = machine.rotary, machine.chuck, machine.bed
    ramp = (
        f"{rotary.ramp_time:g} s to rapid"
        if rotary.ramp == "constant-time"
        else f"{rotary.ramp_acceleration:g} rad/s²"
    )
    rapid = rotary.rapid_speed * 30 / math.pi
    print_rows(
        ("", ""),
        [
            ("rapid", f"{rapid:.4g} rpm, ramp of {rotary.ramp.replace('-', ' ')}: {ramp}"),
            ("torque", f"{show(rotary.torque_available, 'N*m', units)} available, "
                       f"{show(rotary.torque_friction, 'N*m', units)} lost to friction"),
            ("lowest override", f"{rotary.lowest_override:.0%}"),
            *_stop_rows(machine, units),
            ("chuck", f"{chuck.jaws} jaws{_moving(chuck)} of {show(chuck.jaw_force, 'N', units)}, "
                      f"friction {chuck.jaw_friction:g}, bore {show(chuck.bore, 'mm', units)}"),
            ("bed", f"stations from {show(bed.first_station, 'mm', units)} to "
                    f"{show(bed.last_station, 'mm', units)} every "
                    f"{show(bed.station_pitch, 'mm', units)}"),
            *_handling_rows(machine, units),
            ("fitted", ", ".join(sorted(machine.fitted_as_delivered)) or "nothing"),
            ("can be fitted", ", ".join(
                sorted(machine.offered.keys() - machine.fitted_as_delivered)) or "nothing"),
        ],
    )  # fmt: skip
    return 0


def _stop_rows(machine: MachineModel, units: System) -> list[tuple[str, str]]:
    torque = machine.stop_torque
    if not math.isfinite(torque):
        return []
    return [("emergency stop", f"brakes with {show(torque, 'N*m', units)}")]


def _moving(chuck: Chuck) -> str:
    words = {"together": "moving together", "pairs": "moving in pairs",
             "independent": "moving one by one"}  # fmt: skip
    return f" {words[chuck.jaw_motion]}" if chuck.jaw_motion else ""


def _handling_rows(machine: MachineModel, units: System) -> list[tuple[str, str]]:
    handling = machine.handling
    rows: list[tuple[str, str]] = []
    if math.isfinite(handling.lifting_gear):
        rows.append(("lifting gear", f"for {show(handling.lifting_gear, 'kg', units)}"))
    if math.isfinite(handling.persons):
        rows.append(("persons", f"{handling.persons:g} to load"))
    return rows


def _limit_row(name: str, limit: Limit, unit: str, units: System) -> tuple[str, ...]:
    values = (limit.minimum, limit.rated, limit.absolute)
    shown = [show(value, unit, units, digits=4) if math.isfinite(value) else "" for value in values]
    return (name.replace("_", " "), *shown, limit.basis or "not stated: unknown, never passes")


_STANDING = {
    "draft": "draft, not approved",
    "submitted": "submitted, not approved",
    "withdrawn": "withdrawn, never approved",
    "revoked": "revoked, never in force",
}
"""How a revision that no answer rests on stands, in words."""


def _load(code: str, at: dt.datetime | None) -> tuple[MachineModel, str]:
    """Return a model, and how it stands where that is not what answers rest on."""
    catalogue = open_catalogue(at=at)
    if code.casefold().endswith(".toml"):
        return catalogue.machine_file(Path(code)), ""
    if "/" in code:
        return _revision(code, catalogue)
    return catalogue.machine(code), ""


def _revision(ref: str, catalogue: Catalogue) -> tuple[MachineModel, str]:
    """Return a model as any of its revisions has it, a draft too, and how that one stands."""
    from ..catalogue.ledger import blobs, lifecycle
    from ..catalogue.ledger.records import kind_of, parse_ref

    document, number = parse_ref(ref)
    if kind_of(document) != "machine":
        raise InputError(
            "revision-unknown", f"{ref.strip()[:60]!r} is no revision of a model",
            remedy=f"See what it changes: cuttable {group_of(document)} diff {document}/{number}",
        )  # fmt: skip
    with open_ledger().reading() as connection:
        found = lifecycle.revision(connection, document, number)
        (content,) = blobs.kept(connection, found.content, document).values()
    machine = catalogue.machine_content(content, found.ref)
    return machine._replace(revision=number), _STANDING.get(found.state, "")


@command(app, "validate", epilog="Example: cuttable machines validate my-machine.toml")
def validate(
    file: Annotated[str, typer.Argument(metavar="FILE.toml", help="The machine file.")],
) -> int:
    """Check a machine file and list every problem in it."""
    from ..catalogue.files.problems import Problems
    from ..engine.statics.machine_check import contradictions

    path = Path(file)
    machine = open_catalogue().machine_file(path)
    problems = Problems(file, path.read_bytes())
    for key, what in contradictions(machine):
        problems.note(key, what)
    problems.finish(f"machine file {machine.code}")
    unstated = [name for name in LIMITS if name not in machine.limits]
    typer.echo(f"{file}: valid machine file of {machine.code}, revision {machine.revision}.")
    if unstated:
        names = ", ".join(name.replace("_", " ") for name in unstated)
        typer.echo(f"Limits not stated, which therefore never pass: {names}.")
    return 0


add_revision_commands(app, Kind("machines", "", "rowan-150"))
