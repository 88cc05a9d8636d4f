"""What a change comes to for a backlog, on a terminal."""

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from ...engine.answer.wording import System
from ...engine.backlog.summary import MOST
from ...engine.impact import text as words
from ...engine.impact.model import WORSE, Group, Impact, State
from .rows import columns, counted, paragraph

_STYLES = {
    "newly-refused": "bold red", "newly-conditional": "bold yellow", "no-answer": "bold magenta",
    "lifted": "bold green", "other": "bold",
}  # fmt: skip


def print_impact(impact: Impact, out: Console, system: System) -> None:
    """Print how the answers divide, and every group of changed ones with examples."""
    _line(out, f"{impact.backlog.name}: {words.headline(impact)}.")
    rows = [[str(count), name] for name, count in words.totals(impact)]
    if rows:
        _put(out, columns(rows, out.width, indent=2))
    numbers = words.numbers_told(impact)
    if numbers:
        _put(out, paragraph(f"Only numbers: {numbers}.", out.width, indent=2))
    if not any(group.kind in WORSE for group in impact.groups):
        _line(out, "\nNothing gets worse.")
    if not impact.count("lifted"):
        _line(out, "\nNo refusal and no condition is lifted.")
    for group in impact.groups:
        _print_group(impact, group, out, system)


def print_ranking(title: str, state: State, out: Console) -> None:
    """Print which limits refuse, the one that refuses most first."""
    _line(out, f"\n{title}: {words.ranking_title(state)}.")
    shown, left = state.ranking[:MOST], state.ranking[MOST:]
    if not shown:
        return
    cells = words.ranking_cells(shown)
    _put(out, columns(cells, out.width, heads=words.RANKING_HEADS, indent=2))
    if left:
        _line(out, f"  {counted(len(left), 'limit')} more.")


def explain_ranking(out: Console) -> None:
    """Print what the columns of a ranking mean."""
    _put(
        out,
        paragraph(
            "refuses: jobs that the limit refuses; alone: those that nothing else refuses. "
            "Supports are not judged while something else refuses.",
            out.width,
            style="dim",
        ),
    )


def _print_group(impact: Impact, group: Group, out: Console, system: System) -> None:
    head = f"{words.TITLES[group.kind]}: {group.jobs}"
    text = Text(f"\n{head}", style=_STYLES[group.kind])
    text.append(f"  {words.verdicts_told(group)}", style="default")
    _put(out, text)
    most, examples = words.causes_shown(group)
    for cause in group.causes[:most]:
        told = words.told(impact, group, cause)
        _put(out, paragraph(told.head, out.width, indent=2, mark=f"{told.jobs}  "))
        for detail in told.details:
            _put(out, paragraph(detail, out.width, indent=4, mark="- "))
        has_machine = len(impact.before.machines) > 1
        rows = [
            words.example_cells(item, system, has_machine=has_machine)
            for item in cause.examples[:examples]
        ]
        _put(out, _table(words.example_heads(system), rows, out.width))
    left = group.causes[most:]
    if left:
        _line(out, f"  {sum(item.jobs for item in left)}  {counted(len(left), 'cause')} more")


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> Text:
    """Return rows without the columns that are empty in all of them."""
    used = [place for place in range(len(heads)) if any(row[place] for row in rows)]
    return columns(
        [[row[place] for place in used] for row in rows],
        width,
        heads=[heads[place] for place in used],
        indent=4,
    )


def _line(out: Console, text: str) -> None:
    out.print(Text(text), soft_wrap=True)


def _put(out: Console, text: Text) -> None:
    out.print(text, soft_wrap=True)
