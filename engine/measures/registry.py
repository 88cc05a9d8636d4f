"""How a measure is declared, and how all of them are computed for a frame.

A measure is declared once, at its function: title, unit, which way its heavy end lies, formula
and source; its inputs are the function's arguments. What rules may name, what ``explain`` and
``--trace`` show, and how the engine computes follow from that.

A measure is a pure function of named arrays. It is called once with nominal inputs and, where
it has a heavy end, once more with the heavy ones; so the heavy end of everything follows from
the heavy ends of the few things the mill tolerates.
"""

from collections.abc import Callable, Iterable
from types import ModuleType
from typing import Final, NamedTuple

import numpy as np

from ...rules.model import HeavyEnd, Measure
from ..arrays import Floats
from ..inputs.frame import Frame


class MeasureFunction(NamedTuple):
    """A measure: what it is, its function and its inputs."""

    declared: Measure
    function: Callable[..., Floats]
    inputs: tuple[str, ...]
    formula: str
    source: str
    about: str

    @property
    def name(self) -> str:
        """Its name, which rules call it by."""
        return self.declared.name


_DECLARED: Final[dict[str, MeasureFunction]] = {}
_HAIR: Final = 1e-9

# What measures are computed from: unit and meaning of every given column.
GIVEN: Final[dict[str, tuple[str, str]]] = {
    "bare_mass": ("kg/m", "density times area of the section with its nominal wall"),
    "coating_mass": ("kg/m", "zinc on the inner and outer face (ISO 1461 mean, from memory)"),
    "gyration_squared": ("mm^2", "(Iy + Iz) / area of the section"),
    "round_size": ("mm", "outside diameter of a round"),
    "swept_size": ("mm", "circle swept by the section with its smallest permitted corners"),
    "nominal_wall": ("mm", "nominal wall; at the heavy end the thick wall"),
    "thin_wall_size": ("mm", "wall at the thin end of the mill tolerance"),
    "crush_wall": ("mm", "nominal wall; at the heavy end the thin wall"),
    "mean_radius": ("mm", "radius of the middle of the wall"),
    "grip_radius": ("mm", "radius at which the jaws hold"),
    "length": ("mm", "length of the stock as loaded"),
    "behind": ("mm", "length behind the chuck face"),
    "inside_size": ("mm", "inside diameter of a round"),
    "usual_bow_share": ("1", "0; at the heavy end the straightness usual for this product"),
    "straightness": ("1", "bow / length this kind of stock may be sold with"),
    "swept_absolute": ("mm", "largest circle the machine lets turn"),
    "bow_absolute": ("mm", "largest bow the machine takes"),
    "bow_stated": ("mm", "bow as stated by the asker"),
    "off_axis_mass": ("kg", "mass of a flange, branch or clamp beside the axis"),
    "off_axis_distance": ("mm", "its distance from the axis"),
    "off_axis_size": ("mm", "its greatest width across the axis"),
    "unsaid_width": ("1", "0; at the heavy end 1: a width not said is counted up to the stock"),
    "reach_reaction": ("1", "most that a load anywhere on the stock adds to a support / load"),
    "reach_chuck": ("1", "most that it adds to the chuck / load"),
    "reach_moment": ("mm", "most that it adds to the moment on the chuck / load"),
    "reach_sag": ("mm/N", "most that it adds to the sag / load"),
    "part_total": ("mm", "lengths of all parts together"),
    "part_count": ("1", "number of parts"),
    "longest_part": ("mm", "longest piece that comes free"),
    "fixed_inertia": ("kg*m^2", "inertia of chuck and spindle"),
    "reference_inertia": ("kg*m^2", "rated inertia, which the drive is tuned for"),
    "ramp": ("rad/s^2", "acceleration of a full rapid ramp"),
    "is_timed": ("1", "1 for a ramp of constant time, 0 for one of constant acceleration"),
    "torque_available": ("N*m", "torque the drive has at the chuck"),
    "torque_friction": ("N*m", "torque lost to friction"),
    "stop_torque": ("N*m", "torque that an emergency stop brakes with at the chuck"),
    "eccentricity": ("mm", "0; at the heavy end centre of mass off the axis by a seamless wall"),
    "drag_lever": ("mm", "torque of the drag of the supports over the weight on them"),
    "walk_share": ("1", "axial push of supports out of line over the weight on them"),
    "jaws": ("1", "number of jaws"),
    "ring_moment": ("1", "moment under one of n equal radial loads on a ring / (F R)"),
    "ring_deflection": ("1", "deflection at one of n equal radial loads on a ring / (F R^3 / EI)"),
    "elasticity": ("MPa", "modulus of elasticity of the grade"),
    "jaw_force": ("N", "full force of one jaw"),
    "friction": ("1", "friction of the jaws on this surface"),
    "grip_length": ("mm", "length of the jaw face along the stock"),
    "stub": ("mm", "length at the chuck out of the head's reach"),
    "kerf": ("mm", "width of a cut"),
    "trim": ("mm", "length trimmed off the free end"),
    "yield_strength": ("MPa", "least yield strength of the grade"),
    "crush_share": ("1", "share of the yield strength allowed under the jaws"),
    "carried_span": ("mm", "longest span of the set-up"),
    "carried_overhang": ("mm", "longest overhang of the set-up at any stage"),
    "carried_sag": ("mm", "largest sag of the set-up at any stage"),
    "carried_chuck_reaction": ("N", "largest load on the chuck at any stage"),
    "carried_chuck_moment": ("N*m", "largest moment on the chuck at any stage"),
    "carried_reaction": ("N", "largest load on a support at any stage"),
    "carried_lifted": ("1", "1 where the stock lifts off a support at any stage"),
    "carried_alone": ("1", "1 where the chuck alone carries the stock"),
    "parts_fitting": ("1", "parts that come out of the stock, in their order"),
    "stations_blocked": ("1", "stations off the bed or nearer to a cut than a support may stand"),
    "stations_spare": ("1", "supports fitted that carry this stock, less stations used"),
    "parts_unheld": ("1", "parts that neither stay nor are held"),
    "parts_tabbed": ("1", "parts that tabs hold"),
    "worst_tab_stress": ("MPa", "largest stress in tabs"),
    "tab_strength": ("MPa", "yield strength over the safety of tabs"),
    "centre_low": ("mm", "lowest centre height over the supports used"),
    "centre_high": ("mm", "highest centre height over the supports used"),
    "turning_carry_bow": ("mm", "bow from which stock leaves a support on one side of a turn"),
    "turning_hold_bow": ("mm", "bow from which stock may climb out of its rollers"),
    "turning_overload_bow": ("mm", "largest bow at which no support passes its absolute load"),
    "turning_rated_use": ("1", "of a stated bow, largest load on a support / its rated load"),
    "turning_absolute_use": ("1", "of a stated bow, largest load on a support / its absolute load"),
    "turning_sure_use": ("1", "the same for the stiffness of supports that is kindest"),
    "turning_level": ("mm", "error of height that supports may have"),
    "turning_sure_level": ("mm", "the same for the stiffness of supports that is kindest"),
    "corner_size": ("mm", "half the swept circle less half the shorter side; rounds have none"),
    "turning_moment": ("N*m", "largest moment on the chuck while the section turns"),
    "turning_load": ("N", "largest load on the chuck while the section turns"),
    "turning_fall": ("mm", "largest droop while the section turns"),
    "turning_gap": ("mm", "least room between the flat and a lowered rest"),
    "lowered_by": ("mm", "least drop of a lowered rest used"),
    "follow_share": ("1", "largest load on a following rest over its force"),
    "turning_grip": ("N*m", "moment that the jaws must hold while the section turns"),
    "carried_by_jaws": ("N*m", "largest moment where the chuck alone holds the stock; else 0"),
    "jaw_lever": ("1", "half the sum of |cos| over the jaws, at the angle where it is least"),
    "lowest_jaw_force": ("N", "least force of one jaw that can be set"),
    "unbalance_share": ("1", "share of the free drive torque that unbalance may take"),
    "override_step": ("1", "step in which the rapid override is set"),
    "acceleration_step": ("rad/s^2", "step in which the ramp is set"),
    "bow_step": ("mm", "step in which a bow is measured"),
    "jaw_force_step": ("N", "step in which the jaw force is set"),
}


def measure(
    *, title: str, unit: str, heavy: HeavyEnd, formula: str, source: str
) -> Callable[[Callable[..., Floats]], Callable[..., Floats]]:
    """Declare a measure under its function's own name; its docstring says what it is.

    Args:
        title: its name in words.
        unit: the canonical unit that the function returns. Kept rule sets are read against it, so
            it never changes: another unit is another measure.
        heavy: which way its value at the heavy end of the mill tolerance lies; ``either`` where a
            slower setting at the heavy end leaves more room; ``none`` where it has no such value.
            It never changes either.
        formula: as ``explain`` shows it.
        source: where the formula comes from.
    """

    def register(function: Callable[..., Floats]) -> Callable[..., Floats]:
        code, name = function.__code__, function.__name__
        if name in _DECLARED:
            raise ValueError(f"the measure {name} is declared twice")
        about = " ".join((function.__doc__ or "").split())
        inputs = code.co_varnames[: code.co_argcount]
        declared = Measure(name, unit, title, heavy)
        _DECLARED[name] = MeasureFunction(declared, function, inputs, formula, source, about)
        return function

    return register


def in_order(*modules: ModuleType) -> dict[str, MeasureFunction]:
    """Return every declared measure, in the order in which an answer lists them."""
    place = {module.__name__: number for number, module in enumerate(modules)}
    return dict(sorted(_DECLARED.items(), key=lambda item: place[item[1].function.__module__]))


def round_down(values: Floats, step: Floats) -> Floats:
    """Round down to whole steps; a value a hair below a step counts as on it."""
    return np.round(np.floor(values / step * (1 + _HAIR)) * step, 10)


class Measured(NamedTuple):
    """Computed measures: nominal and heavy columns by name."""

    nominal: dict[str, Floats]
    heavy: dict[str, Floats]


def needs_of(name: str) -> frozenset[str]:
    """Return everything a measure is computed from, however far."""
    item = _DECLARED.get(name)
    if item is None:
        return frozenset({name})
    return frozenset({name}).union(*(needs_of(needed) for needed in item.inputs))


def compute(frame: Frame, names: Iterable[str] | None = None) -> Measured:
    """Compute measures for every row, all of them unless ``names`` are given.

    Those that have a heavy end are computed once more with the heavy inputs.
    """
    nominal: dict[str, Floats] = {}
    heavy: dict[str, Floats] = {}

    def value(name: str, *, at_heavy_end: bool) -> Floats:
        known = heavy if at_heavy_end else nominal
        if name in known:
            return known[name]
        item = _DECLARED.get(name)
        if item is None:
            return frame.heavy.get(name, frame.given[name]) if at_heavy_end else frame.given[name]
        if at_heavy_end and not item.declared.has_heavy:
            return value(name, at_heavy_end=False)
        known[name] = item.function(
            *(value(needed, at_heavy_end=at_heavy_end) for needed in item.inputs)
        )
        return known[name]

    for name in _DECLARED if names is None else names:
        value(name, at_heavy_end=False)
        if _DECLARED[name].declared.has_heavy:
            value(name, at_heavy_end=True)
    return Measured(nominal, heavy)
