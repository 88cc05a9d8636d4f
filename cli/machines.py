"""``cuttable machines``: list, show and validate machine models."""

import json
import math
from pathlib import Path

import click

from ..catalogue.machines import LIMITS, Limit, MachineModel, describe
from ..catalogue.store import Catalogue
from ..catalogue.units import canonical
from ..engine.wording import SYSTEMS, System, show


@click.group("machines")
def command() -> None:
    """List, show and validate machine models."""


@command.command("list", epilog="Example: cuttable machines list --units us")
@click.option("--units", type=click.Choice(SYSTEMS), default="si", show_default=True)
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def list_all(units: System, *, is_json: bool) -> int:
    """List all models, smallest first, with what they are rated for."""
    machines = Catalogue().machines
    if is_json:
        models = [{"model": item.code, "title": item.title, "builder": item.builder,
                   "revision": item.revision, "digest": item.digest}
                  for item in machines.values()]  # fmt: skip
        content = {"schema": "cuttable.machines/1", "machines": models}
        click.echo(json.dumps(content, ensure_ascii=False, indent=2))
        return 0
    from .render import print_rows

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


@command.command("show", epilog="Example: cuttable machines show rowan-150")
@click.argument("code", metavar="CODE|FILE.toml")
@click.option("--units", type=click.Choice(SYSTEMS), default="si", show_default=True)
@click.option("--json", "is_json", is_flag=True, help="Print one JSON object and nothing else.")
def show_one(code: str, units: System, *, is_json: bool) -> int:
    """Show one model: every limit with its basis, drive, chuck, bed, supports."""
    machine = _load(code)
    if is_json:
        content = {"schema": "cuttable.machine/1", **describe(machine)}
        click.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    from .render import console, print_rows

    screen = console()
    screen.print(f"{machine.code}: {machine.title}, {machine.builder}, revision {machine.revision}")
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
    click.echo("")
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
            ("chuck", f"{chuck.jaws} jaws of {show(chuck.jaw_force, 'N', units)}, "
                      f"friction {chuck.jaw_friction:g}, bore {show(chuck.bore, 'mm', units)}"),
            ("bed", f"stations from {show(bed.first_station, 'mm', units)} to "
                    f"{show(bed.last_station, 'mm', units)} every "
                    f"{show(bed.station_pitch, 'mm', units)}"),
            ("fitted", ", ".join(sorted(machine.fitted_as_delivered)) or "nothing"),
            ("can be fitted", ", ".join(
                sorted(machine.offered.keys() - machine.fitted_as_delivered)) or "nothing"),
        ],
    )  # fmt: skip
    return 0


def _limit_row(name: str, limit: Limit, unit: str, units: System) -> tuple[str, ...]:
    values = (limit.minimum, limit.rated, limit.absolute)
    shown = [show(value, unit, units, digits=4) if math.isfinite(value) else "" for value in values]
    return (name.replace("_", " "), *shown, limit.basis or "not stated: unknown, never passes")


def _load(code: str) -> MachineModel:
    catalogue = Catalogue()
    if code.casefold().endswith(".toml"):
        return catalogue.machine_file(Path(code))
    return catalogue.machine(code)


@command.command("validate", epilog="Example: cuttable machines validate my-machine.toml")
@click.argument("file", type=click.Path())
def validate(file: str) -> int:
    """Check a machine file and list every problem in it."""
    machine = Catalogue().machine_file(Path(file))
    unstated = [name for name in LIMITS if name not in machine.limits]
    click.echo(f"{file}: valid machine file of {machine.code}, revision {machine.revision}.")
    if unstated:
        names = ", ".join(name.replace("_", " ") for name in unstated)
        click.echo(f"Limits not stated, which therefore never pass: {names}.")
    return 0
