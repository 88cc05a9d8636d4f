"""Measures of how the stock is carried and what happens to its parts.

They are worked out with the set-up (``layout``), because they depend on where supports stand;
here they get their names. Statics: a uniform bar on a chuck, clamped and pinned, the worse of
each, and on supports that push and never pull, at every stage of severing.
"""

import numpy as np

from ..arrays import GRAVITY, Floats
from .registry import measure

_STATICS = "three-moment equation with one-sided supports; the worse of clamped and pinned chuck"


@measure(
    title="support span",
    unit="mm",
    heavy="none",
    formula="largest distance from chuck to support and between supports",
    source="set-up",
)
def support_span(carried_span: Floats) -> Floats:
    """Longest span."""
    return carried_span


@measure(
    title="overhang",
    unit="mm",
    heavy="none",
    formula="L - last support, at every stage of severing",
    source="set-up",
)
def overhang(carried_overhang: Floats) -> Floats:
    """Longest free end beyond the last support, or beyond the chuck where there is none."""
    return carried_overhang


@measure(
    title="sag",
    unit="mm",
    heavy="more",
    formula="EI v'' = M, integrated; thin wall; + m_off g x reach",
    source=_STATICS,
)
def sag(carried_sag: Floats, off_axis_mass: Floats, reach_sag: Floats) -> Floats:
    """Largest sag between supports, or of what hangs from the chuck alone."""
    return carried_sag + GRAVITY * off_axis_mass * reach_sag


@measure(
    title="chuck reaction",
    unit="N",
    heavy="more",
    formula="|R0|, standing and while it turns, + m_off g x reach",
    source=_STATICS,
)
def chuck_reaction(
    carried_chuck_reaction: Floats, turning_load: Floats, off_axis_mass: Floats, reach_chuck: Floats
) -> Floats:
    """Load on the chuck bearing."""
    own = np.fmax(carried_chuck_reaction, turning_load)
    return own + GRAVITY * off_axis_mass * reach_chuck


@measure(
    title="chuck moment",
    unit="N*m",
    heavy="more",
    formula="|M0|, standing and while it turns, + m_off g x reach",
    source=_STATICS,
)
def chuck_moment(
    carried_chuck_moment: Floats,
    turning_moment: Floats,
    off_axis_mass: Floats,
    reach_moment: Floats,
) -> Floats:
    """Moment on the chuck bearing."""
    own = np.fmax(carried_chuck_moment, turning_moment)
    return own + GRAVITY * off_axis_mass * reach_moment / 1e3


@measure(
    title="support reaction",
    unit="N",
    heavy="more",
    formula="largest Ri + m_off g x reach",
    source=_STATICS,
)
def support_reaction(
    carried_reaction: Floats, off_axis_mass: Floats, reach_reaction: Floats
) -> Floats:
    """Load on the most loaded support."""
    return carried_reaction + GRAVITY * off_axis_mass * reach_reaction


@measure(
    title="lift-off",
    unit="1",
    heavy="none",
    formula="1 where some Ri = 0 with a gap",
    source=_STATICS,
)
def lift_off(carried_lifted: Floats) -> Floats:
    """Whether the stock lifts off a support."""
    return carried_lifted


@measure(
    title="stress in tabs",
    unit="MPa",
    heavy="more",
    formula="sqrt(sigma^2 + 3 tau^2), sigma = 2 W x / (n w t R), tau = W / (n w t) + T / (n w t R)",
    source="strength of materials; n equal tabs, three or more, at any roll angle",
)
def tab_stress(worst_tab_stress: Floats) -> Floats:
    """Largest stress in tabs; where none can hold, in the strongest there could be."""
    return worst_tab_stress


@measure(
    title="stress allowed in tabs",
    unit="MPa",
    heavy="none",
    formula="yield / safety",
    source="builder's parameter",
)
def tab_allowance(tab_strength: Floats) -> Floats:
    """Stress allowed in tabs."""
    return tab_strength


@measure(
    title="parts that fit",
    unit="1",
    heavy="none",
    formula="parts in their order while length lasts",
    source="set-up",
)
def fitting_parts(parts_fitting: Floats) -> Floats:
    """How many of the parts asked for come out of the stock; no value without parts."""
    return parts_fitting


@measure(
    title="stations where no support may stand",
    unit="1",
    heavy="none",
    formula="number of stations off the bed or within keep-clear of a cut",
    source="set-up",
)
def blocked_stations(stations_blocked: Floats) -> Floats:
    """Stations where no support may stand."""
    return stations_blocked


@measure(
    title="supports left over",
    unit="1",
    heavy="none",
    formula="supports fitted for this stock - stations",
    source="set-up",
)
def spare_supports(stations_spare: Floats) -> Floats:
    """Supports left over; below zero where more stations are given than supports fitted."""
    return stations_spare


@measure(
    title="parts that nothing holds",
    unit="1",
    heavy="none",
    formula="number of parts that neither stay nor are held by tabs",
    source="statics",
)
def unheld_parts(parts_unheld: Floats) -> Floats:
    """Parts that tip or drop with nothing to hold them."""
    return parts_unheld


@measure(
    title="parts held by tabs",
    unit="1",
    heavy="none",
    formula="number of parts held by tabs",
    source="statics",
)
def tabbed_parts(parts_tabbed: Floats) -> Floats:
    """Parts that would tip or drop and are held by tabs."""
    return parts_tabbed


@measure(
    title="lowest centre height",
    unit="mm",
    heavy="none",
    formula="sqrt((R + r)^2 - (s/2)^2); R / sin(half angle)",
    source="geometry",
)
def lowest_centre(centre_low: Floats) -> Floats:
    """Lowest height of the stock's centre above the datum of a support used."""
    return centre_low


@measure(
    title="highest centre height",
    unit="mm",
    heavy="none",
    formula="as lowest_centre",
    source="geometry",
)
def highest_centre(centre_high: Floats) -> Floats:
    """Highest height of the stock's centre above the datum of a support used."""
    return centre_high
