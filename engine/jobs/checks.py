"""What cannot be: positions beyond the stock, two cuts in one place, accessories never made."""

from collections.abc import Sequence
from itertools import pairwise

from ...catalogue.errors import InputError
from ...catalogue.machines.model import MachineModel
from .job import Geometry


def check_positions(geometry: Geometry) -> None:
    """Refuse positions that cannot be.

    Raises:
        InputError: ``length-range``, ``cuts-outside``, ``stations-bad``.
    """
    if geometry.behind >= geometry.length:
        raise InputError(
            "length-range",
            f"{geometry.behind:g} mm behind the chuck leave nothing of {geometry.length:g} mm "
            "in front",
            remedy="Give the length that stands behind the chuck face.",
        )
    if geometry.parts and geometry.cuts:
        raise InputError(
            "parts-and-cuts",
            "parts and cut positions are both given",
            remedy="Give the parts in their order from the free end, or the positions of the cuts.",
        )
    _check_cuts(geometry)
    _check_stations(geometry)


def _check_cuts(job: Geometry) -> None:
    for cut in job.cuts:
        if cut >= job.front:
            raise InputError(
                "cuts-outside",
                f"a cut at {cut:g} mm lies beyond the stock of {job.front:g} mm",
                remedy="Positions are measured from the chuck face outward.",
            )
    for outer, inner in pairwise(job.cuts):
        if outer - inner < 1.0:
            raise InputError(
                "cuts-outside", f"two cuts lie at {inner:g} mm", remedy="Give each cut once."
            )


def _check_stations(job: Geometry) -> None:
    for station in job.stations:
        if station > job.front:
            raise InputError(
                "stations-bad",
                f"a station at {station:g} mm lies beyond the stock of {job.length:g} mm",
                remedy="Positions are measured from the chuck face outward.",
            )
    if len(set(job.stations)) < len(job.stations):
        raise InputError("stations-bad", "a station is given twice", remedy="Give it once.")


def check_kerf(cuts: Sequence[float], machines: Sequence[MachineModel]) -> None:
    """Refuse cuts that are nearer than the narrowest kerf of the machines asked.

    Raises:
        InputError: ``cuts-outside``.
    """
    kerf = min((machine.cutting.kerf for machine in machines), default=0.0)
    for outer, inner in pairwise(cuts):
        if outer - inner < kerf:
            raise InputError(
                "cuts-outside",
                f"cuts at {inner:g} and {outer:g} mm are nearer than a cut is wide ({kerf:g} mm)",
                remedy="Leave at least a kerf between cuts.",
            )


def check_fitted(fitted: frozenset[str], machines: Sequence[MachineModel]) -> None:
    """Refuse accessories that none of the machines asked can have.

    Raises:
        InputError: ``accessory-unknown``.
    """
    for code in sorted(fitted):
        if not any(code in machine.offered for machine in machines):
            models = ", ".join(machine.code for machine in machines)
            raise InputError(
                "accessory-unknown",
                f"{code!r} is not offered for {models}",
                remedy="Leave it out, or name a model that can have it.",
            )
