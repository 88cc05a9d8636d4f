"""Why supports stand as they do, in a line; and the steps between cuts in words."""

from collections.abc import Sequence

from .document import Role, Step
from .document import SetUp as SetUpTold
from .setup import SetUp, Standing
from .wording import System, show


def reason_of(found: SetUp) -> str:
    """Return in a line what carries, what is raised or moved, and what needs tabs.

    Empty where stock is not cut, or supports were not planned.
    """
    if not found.pieces or found.level in ("none", "not-planned"):
        return ""
    carrying = sum(not item.is_catcher for item in found.standing)
    told = [f"{carrying} carry" if carrying > 1 else f"{carrying or 'no support'} carries"]
    moves = sum(step.action == "move" for step in found.steps)
    cuts = list(dict.fromkeys(step.cut for step in found.steps))
    if cuts:
        raised = len(found.standing) - carrying
        more = {0: "those that are free", 1: "1 more"}.get(raised, f"{raised} more")
        verb = "is" if raised == 1 else "are"
        told.append(f"{more} {verb} raised before {cut_numbers(cuts)}")
    if moves:
        told.append(f"{moves} move{'s' * (moves > 1)} between cuts")
    loose = sum(item not in ("stays", "caught") for item in found.behaviours)
    if loose:
        told.append(f"{loose} of {len(found.pieces)} parts cannot be caught")
    return "; ".join(told)


def role_of(item: Standing) -> Role:
    """Return what a support does where stock is cut."""
    return "catches" if item.is_catcher else "carries"


def cut_numbers(cuts: Sequence[int]) -> str:
    """Return numbers of cuts in words: ``cut 2``, ``cuts 1 to 4``, ``cuts 1, 2 and 4``."""
    if len(cuts) == 1:
        return f"cut {cuts[0]}"
    if len(cuts) > 2 and list(cuts) == list(range(cuts[0], cuts[-1] + 1)):
        return f"cuts {cuts[0]} to {cuts[-1]}"
    return f"cuts {', '.join(map(str, cuts[:-1]))} and {cuts[-1]}"


def held_by_steps(steps: Sequence[Step], system: System) -> str:
    """Return in few words what is done before one cut: ``raise 2600 mm and 4200 mm``."""
    moved = [step for step in steps if step.action == "move"]
    came = {step.to for step in moved}
    stay = [step for step in steps if step.action == "raise" and step.station not in came]
    told = [f"move {_at(step.station, system)} to {_at(step.to or 0.0, system)}" for step in moved]
    if stay:
        told.insert(0, f"raise {' and '.join(_at(step.station, system) for step in stay)}")
    return "; ".join(told)


def step_lines(setup: SetUpTold, system: System) -> tuple[str, ...]:
    """Return what is done before each cut, a line each: ``Cut 3: move 4200 mm to 2600 mm``.

    What is moved is moved before the cut and, like the rest, raised before its last tab.
    """
    return tuple(
        f"Cut {cut}: {held_by_steps([step for step in setup.steps if step.cut == cut], system)}"
        for cut in dict.fromkeys(step.cut for step in setup.steps)
    )


def _at(position: float, system: System) -> str:
    return show(position, "mm", system)
