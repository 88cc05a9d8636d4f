"""What a change comes to for a backlog, as one page of HTML without anything from outside."""

from collections.abc import Sequence
from html import escape
from typing import Final

from ..answer.wording import System
from ..backlog.summary import MOST, STYLE, html_table
from . import text as words
from .model import Group, Impact, State

_MORE: Final = """
table.e td,table.e th{font-size:.85rem;text-align:left;padding-right:.8rem;white-space:nowrap}
table.e th{font-weight:normal;color:#666}h3{font-size:1rem;margin:1rem 0 .2rem}
p.c{margin:.5rem 0 0}ul.d{margin:0 0 .2rem;font-size:.9rem}.scroll{overflow-x:auto}
"""


def impact_page(
    impact: Impact, *, title: str, set_lines: Sequence[str], provenance: str, system: System = "si"
) -> str:
    """Return the page.

    Args:
        impact: what to tell.
        title: what it is about.
        set_lines: what was changed, a line each.
        provenance: what the answers rest on.
        system: units.
    """
    groups = "".join(_group(impact, group, system) for group in impact.groups)
    lines = "".join(f"<li>{escape(line)}</li>" for line in set_lines)
    numbers = words.numbers_told(impact)
    return (
        "<!doctype html><html lang='en'><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{escape(title)}</title><style>{STYLE}{_MORE}</style><body>"
        f"<h1>{escape(title)}</h1>"
        + (f"<ul>{lines}</ul>" if lines else "")
        + f"<p>{escape(impact.backlog.name)}: {escape(words.headline(impact))}.</p>"
        + f"<h2>Answers</h2>{html_table(words.totals(impact))}"
        + (f"<p class='small'>Only numbers: {escape(numbers)}.</p>" if numbers else "")
        + groups
        + "<div class='tables'>"
        + _ranking("Before", impact.before)
        + _ranking("After", impact.after)
        + "</div><p class='small'>Alone: nothing else refuses the job. Supports are not judged "
        "while something else refuses.</p>"
        f"<p class='small'>{escape(provenance)}; backlog {escape(impact.backlog.digest[7:15])}</p>"
        "</body></html>\n"
    )


def _group(impact: Impact, group: Group, system: System) -> str:
    head = f"{words.TITLES[group.kind]}: {group.jobs} ({words.verdicts_told(group)})"
    most, examples = words.causes_shown(group)
    causes, left = group.causes[:most], group.causes[most:]
    parts = [f"<section><h2>{escape(head)}</h2>"]
    has_machine = len(impact.before.machines) > 1
    for cause in causes:
        told = words.told(impact, group, cause)
        parts.append(f"<p class='c'><b>{told.jobs}</b> {escape(told.head)}</p>")
        if told.details:
            items = "".join(f"<li>{escape(item)}</li>" for item in told.details)
            parts.append(f"<ul class='d'>{items}</ul>")
        rows = [
            words.example_cells(item, system, has_machine=has_machine)
            for item in cause.examples[:examples]
        ]
        parts.append(_cells(words.example_heads(system), rows))
    if left:
        count = sum(cause.jobs for cause in left)
        parts.append(f"<p class='small'>{len(left)} other causes: {count}</p>")
    parts.append("</section>")
    return "".join(parts)


def _ranking(title: str, state: State) -> str:
    rows = words.ranking_cells(state.ranking[:MOST])
    head = f"{title}: {words.ranking_title(state)}"
    table = _cells(words.RANKING_HEADS, rows) if rows else ""
    return f"<section><h2>{escape(head)}</h2>{table}</section>"


def _cells(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    if not rows:
        return ""
    head = "".join(f"<th>{escape(item)}</th>" for item in heads)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows
    )
    return f"<div class='scroll'><table class='e'><tr>{head}</tr>{body}</table></div>"
