"""The words in which an impact is told, on a terminal and on a page alike."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from ..answer.wording import System, show
from ..answer.words import WORDS_BY_NAME
from ..backlog.summary import MOST
from .model import KINDS, REFUSED, WORSE, Cause, Example, Group, Impact, State
from .ranking import Refusal

TITLES: Final[dict[str, str]] = dict(
    zip(
        KINDS,
        (
            "Newly refused",
            "No longer in range: allowed with conditions",
            "No answer any more",
            "Lifted",
            "Answered otherwise",
        ),
        strict=True,
    )
)
"""What kinds of groups are called."""

_COLUMNS: Final = {
    "utilisation": "how full the limit is", "heavy_utilisation": "how full at the heavy end",
    "rapid_override": "rapid override", "acceleration": "ramp acceleration",
    "jaw_force": "jaw force", "bow_to_refuse": "bow to refuse above", "stock_mass": "stock mass",
    "stock_mass_heavy": "stock mass at the heavy end", "rotary_inertia": "rotary inertia",
    "rotary_inertia_heavy": "rotary inertia at the heavy end", "stations": "support stations",
    "grade": "grade taken", "details": "reactions, heights, tabs or another number of the set-up",
}  # fmt: skip
ARROW: Final = " → "
NOTHING: Final = "none"


class Told(NamedTuple):
    """A cause in words: what decides, and what of it changes for how many."""

    jobs: int
    head: str
    details: tuple[str, ...]


def headline(impact: Impact) -> str:
    """Return the whole in one sentence."""
    parts = [f"{impact.jobs} {'job' if impact.jobs == 1 else 'jobs'}"]
    if impact.not_asked:
        parts.append(f"{impact.not_asked} of another model")
    if impact.answers != impact.jobs - impact.not_asked:
        noun = "answer" if impact.answers == 1 else "answers"
        parts.append(f"{impact.answers} {noun} compared")
    changed = f"{impact.changed} {'changes' if impact.changed == 1 else 'change'}"
    if impact.changed:
        worse = impact.count(*WORSE)
        lifted = impact.count("lifted")
        other = impact.changed - worse - lifted
        told = [(worse, "worse"), (lifted, "lifted"), (other, "otherwise")]
        changed += f" ({', '.join(f'{count} {word}' for count, word in told if count)})"
    return f"{', '.join(parts)}: {changed}"


def totals(impact: Impact) -> list[tuple[str, int]]:
    """Return how the answers divide."""
    rows = [
        ("changed", impact.changed),
        ("only numbers differ", impact.numbers_only),
        ("unchanged", impact.unchanged),
        ("in error or with a question, as before", impact.faulty),
        ("not asked: the row names another model", impact.not_asked),
    ]
    return [(name, count) for name, count in rows if count]


def numbers_told(impact: Impact) -> str:
    """Return which numbers differ where nothing else does; empty for none."""
    items = sorted(impact.columns.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{_COLUMNS.get(name, name)} {count}" for name, count in items)


def verdicts_told(group: Group) -> str:
    """Return the verdicts of a group, before and after."""
    words = WORDS_BY_NAME | {"": "no answer"}
    return f"{words[group.before]}{ARROW}{words[group.after]}"


def told(impact: Impact, group: Group, cause: Cause) -> Told:
    """Return a cause in words."""
    names = impact.names
    head = f"{deciding(impact, cause.before)}{ARROW}{deciding(impact, cause.after)}"
    if cause.before == cause.after:
        head = deciding(impact, cause.after)
    details: list[str] = []
    lists = [
        ("also to do", cause.gained, names.mitigations),
        ("no longer to do", cause.lost, names.mitigations),
        ("now lacking", cause.missing, names.accessories),
        ("no longer lacking", cause.fitted, names.accessories),
    ]
    # What would have to be done for a job that is refused is of no use.
    for title, counts, words in lists[2 if group.after == REFUSED else 0 :]:
        if counts:
            details.append(f"{title}: {_counted(counts, words, cause.jobs)}")
    if cause.governing:
        pairs = {
            f"{_measure(impact, before)}{ARROW}{_measure(impact, after)}": count
            for before, after, count in cause.governing
        }
        details.append(f"fullest limit: {_counted(pairs, {}, cause.jobs)}")
    if not details and cause.before == cause.after:
        details.append("only what would have to be done differs")
    return Told(cause.jobs, head, tuple(details))


def causes_shown(group: Group) -> tuple[int, int]:
    """Return how many causes of a group are shown, and how many examples of each."""
    return (3, 1) if group.kind == "other" else (MOST, 3)


def deciding(impact: Impact, code: str) -> str:
    """Return what decides, in words with its code."""
    if not code:
        return "nothing against it"
    title = impact.names.deciding.get(code)
    return f"{title} ({code})" if title else code


def _measure(impact: Impact, name: str) -> str:
    return impact.names.measures.get(name, name) or "none"


def _counted(counts: Mapping[str, int], words: Mapping[str, str], jobs: int) -> str:
    """Return what was counted, with the count where it is not all of so many."""
    return ", ".join(
        words.get(name, name) + ("" if count == jobs else f" ({count})")
        for name, count in counts.items()
    )


def example_heads(system: System) -> tuple[str, ...]:
    """Return what stands above the cells of examples, with units."""
    units = [show(1.0, unit, system).split()[-1] for unit in ("kg", "kg*m^2")]
    return (
        "row", "job", "section", "length", "used %", "heavy %", *units, "rapid %",
    )  # fmt: skip


def example_cells(example: Example, system: System, *, has_machine: bool = False) -> list[str]:
    """Return an example as cells under :func:`example_heads`: numbers before and after."""

    def pair(name: str, shown: Callable[[float], str]) -> str:
        values: list[float | None] = [
            getattr(side, name) for side in (example.before, example.after)
        ]
        before, after = ("" if value is None else shown(value) for value in values)
        return after if before == after else f"{before or NOTHING}{ARROW}{after or NOTHING}"

    def number(unit: str) -> Callable[[float], str]:
        return lambda value: show(value, unit, system, digits=4).split()[0]

    return [
        str(example.row),
        f"{example.job} on {example.machine}" if has_machine else example.job,
        example.section,
        example.length,
        pair("utilisation", _percent),
        pair("heavy_utilisation", _percent),
        pair("stock_mass", number("kg")),
        pair("rotary_inertia", number("kg*m^2")),
        pair("rapid_override", _percent),
    ]


def _percent(share: float) -> str:
    """Return a percentage that never rounds an excess away."""
    percent = share * 100
    return f"{percent:.1f}" if 100 < percent < 100.5 else f"{percent:.0f}"


def ranking_title(state: State) -> str:
    """Return what a ranking is of."""
    refused = state.verdicts.get("refused", 0)
    return f"{refused} of {sum(state.verdicts.values())} answers refused"


def ranking_cells(ranking: Sequence[Refusal]) -> list[list[str]]:
    """Return a ranking as cells: jobs, those nothing else refuses, and what refuses."""
    return [
        [str(item.jobs), str(item.alone or ""), f"{item.title} ({item.code})"] for item in ranking
    ]


RANKING_HEADS: Final = ("refuses", "alone", "limit")
