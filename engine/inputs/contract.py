"""What the engine serves to rules, and rule sets loaded against it."""

import datetime as dt
from pathlib import Path
from typing import Final

from ...catalogue.files.file_source import Files
from ...catalogue.grades.grades import FAMILIES
from ...catalogue.machines.model import JAW_HOLDS, JAW_MOTIONS, RAMPS, SHAPES
from ...rules import loader
from ...rules.model import RuleSet, Served
from ..measures import REGISTRY
from ..statics.seating import NAMED_SEATS
from .figures import LOOKUPS, NEWER, NOT_ZERO, PARAMETERS
from .machine import NOT_STATED, NUMBERS

SERVED: Final = Served(
    measures={name: item.declared for name, item in REGISTRY.items()},
    numbers=NUMBERS,
    facts={
        "shape": SHAPES,
        "family": FAMILIES,
        "ramp": RAMPS,
        "seat": NAMED_SEATS,
        "carried": ("yes", "no"),
        "bow_given": ("yes", "no"),
        "grip": ("outside", "inside"),
        "ends": ("not-stated",),
        "contents": ("not-stated",),
        "coating": ("not-stated", "galvanised"),
        "jaw_motion": (NOT_STATED, *JAW_MOTIONS),
        "jaw_hold": (NOT_STATED, *JAW_HOLDS),
    },
    newer_facts=frozenset({"jaw_motion", "jaw_hold"}),
    parameters=PARAMETERS,
    newer_parameters=NEWER,
    not_zero=NOT_ZERO,
    lookups=LOOKUPS,
)
"""What this engine computes for rules and reads of them."""


def load_rules(folder: Path | Files = loader.FOLDER, on: dt.date | None = None) -> RuleSet:
    """Load the rules in force on a day, and check that they fit this engine.

    Raises:
        FileError: see :func:`cuttable.rules.loader.load_rules`.
    """
    return loader.load_rules(SERVED, folder, on)
