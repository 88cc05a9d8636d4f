"""Numbers that the engine reads of a rule set by itself, beside what rules name in conditions.

Every one is stated in a rule file with unit and basis, so that the builder can change it. A rule
set that lacks one is refused as it loads (:mod:`cuttable.rules.contract`).
"""

from functools import lru_cache
from typing import Final, NamedTuple

from ...rules.model import Lookup, RuleSet

MEASURED: Final[dict[str, str]] = {
    "crush_share": "1",
    "unbalance_share": "1",
    "override_step": "1",
    "acceleration_step": "rad/s^2",
    "bow_step": "mm",
    "jaw_force_step": "N",
}
"""Unit by name of the parameters that are inputs of measures."""

PARAMETERS: Final[dict[str, str]] = {
    **MEASURED,
    "usual_straightness": "1",
    "shallow_seat": "1",
    "wedged_seat": "1",
    "most_tabs": "1",
    "tab_safety": "1",
    "narrowest_tab": "1",
    "widest_tab": "mm",
    "tab_share": "1",
    "tab_step": "mm",
    "stability_margin": "mm",
}
"""Unit by name of every parameter that the engine reads."""

NEWER: Final[dict[str, str]] = {
    "roller_arm": "mm",
    "ball_drag": "1",
    "wall_eccentricity": "1",
    "walk_share": "1",
}
"""Unit by name of parameters that older rule sets lack: there they count as 0, as they did."""

NOT_ZERO: Final = frozenset(
    {
        "override_step",
        "acceleration_step",
        "bow_step",
        "jaw_force_step",
        "most_tabs",
        "tab_safety",
        "tab_step",
    }
)
"""Parameters that the engine divides by."""

LOOKUPS: Final[dict[str, tuple[str, str]]] = {
    "zinc_mass": ("wall", "kg/m^2"),
    "surface_friction": ("coating", "1"),
}
"""What each table that the engine reads is asked by, and the unit of its values."""


class TabRules(NamedTuple):
    """The builder's figures for tabs.

    Attributes:
        counts: numbers of tabs tried, three or more: two can both lie on the neutral line.
        safety: yield strength over the stress allowed.
        narrowest: width of the narrowest tab over the wall.
        widest: widest tab in mm that is still broken out by hand.
        largest_share: most of the girth that may stay uncut.
        step: mm; widths are whole steps.
    """

    counts: tuple[int, ...]
    safety: float
    narrowest: float
    widest: float
    largest_share: float
    step: float


class SeatAngles(NamedTuple):
    """Included contact angle, rad, at which a round sits well: from shallow to wedged."""

    shallow: float
    wedged: float


class Figures(NamedTuple):
    """The builder's figures for supports and severing, from the rule files."""

    seat_angles: SeatAngles
    tab_counts: int
    tab_safety: float
    tab_narrowest: float
    tab_widest: float
    tab_share: float
    tab_step: float
    stability_margin: float

    @property
    def tab_rules(self) -> TabRules:
        """The figures that tabs are chosen by."""
        return TabRules(
            counts=tuple(range(3, self.tab_counts + 1)),
            safety=self.tab_safety,
            narrowest=self.tab_narrowest,
            widest=self.tab_widest,
            largest_share=self.tab_share,
            step=self.tab_step,
        )


class StockFigures(NamedTuple):
    """What the rule files say of stock: usual bow over length, zinc of one face by the wall.

    ``eccentricity`` is that of a seamless wall over the wall.
    """

    straightness: float
    zinc_mass: Lookup
    eccentricity: float


@lru_cache(maxsize=8)
def _figures(values: tuple[tuple[str, float], ...]) -> Figures:
    value = dict(values)
    return Figures(
        seat_angles=SeatAngles(value["shallow_seat"], value["wedged_seat"]),
        tab_counts=int(value["most_tabs"]),
        tab_safety=value["tab_safety"],
        tab_narrowest=value["narrowest_tab"],
        tab_widest=value["widest_tab"],
        tab_share=value["tab_share"],
        tab_step=value["tab_step"],
        stability_margin=value["stability_margin"],
    )


def figures_of(rule_set: RuleSet) -> Figures:
    """Return the builder's figures for supports and severing that a rule set holds."""
    parameters = rule_set.parameters
    return _figures(tuple((name, parameters[name].value) for name in PARAMETERS))


def stock_figures_of(rule_set: RuleSet) -> StockFigures:
    """Return what a rule set says of stock."""
    straightness = rule_set.parameters["usual_straightness"].value
    eccentricity = newer(rule_set, "wall_eccentricity")
    return StockFigures(straightness, rule_set.lookups["zinc_mass"], eccentricity)


def newer(rule_set: RuleSet, name: str) -> float:
    """Return a parameter that older rule sets lack."""
    found = rule_set.parameters.get(name)
    return 0.0 if found is None else found.value
