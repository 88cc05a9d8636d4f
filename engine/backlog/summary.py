"""What a backlog came to: in lines for a terminal, and as a page."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final, NamedTuple

from ...rules.model import RuleSet
from ..answer.words import WORDS_BY_NAME
from ..impact.ranking import OTHER_TITLES
from .tally import Tally

MOST: Final = 8
"""Entries of a list that are shown; the rest is counted."""


class Table(NamedTuple):
    """Counts under a title, the largest first."""

    title: str
    rows: tuple[tuple[str, int], ...]


class Summary(NamedTuple):
    """A headline, how the jobs divide, and tables of counts."""

    headline: str
    jobs: tuple[tuple[str, int], ...]
    tables: tuple[Table, ...]
    taken: tuple[tuple[str, int], ...]


def summary_of(tally: Tally, rule_set: RuleSet, models: int) -> Summary:
    """Return the summary of a run on so many models."""
    titles = rule_set.vocabulary.titles
    rules = {rule.code: rule.title for rule in rule_set.rules}
    rules |= OTHER_TITLES
    mitigations = {item.code: item.title for item in rule_set.mitigations.values()}
    accessories = rule_set.vocabulary.accessories
    jobs = [(words, tally.best.get(name, 0)) for name, words in WORDS_BY_NAME.items()]
    jobs.append(("in error or with a question", tally.faulty))
    where = "one model" if models == 1 else f"the best of {models} models"
    allowed = sum(tally.best.get(name, 0) for name in list(WORDS_BY_NAME)[:2])
    tables = [
        Table("Answers by verdict", _named(tally.verdicts, WORDS_BY_NAME)),
        Table("What decides", _named(tally.decided_by, rules, has_code=True)),
        Table("Fullest limit", _named(tally.governing, titles)),
        Table("What must be done where it is not refused", _named(tally.mitigations, mitigations)),
        Table(
            "Refused for nothing but an accessory not fitted", _named(tally.wanting, accessories)
        ),
        Table("Rows without an answer", _named(tally.errors, {})),
    ]
    return Summary(
        f"{tally.jobs} {'job' if tally.jobs == 1 else 'jobs'}; {allowed} can be cut on {where}",
        tuple((words, count) for words, count in jobs if count),
        tuple(table for table in tables if table.rows),
        tuple(sorted(tally.taken.items(), key=lambda item: -item[1])),
    )


def _named(
    counts: Mapping[str, int], names: Mapping[str, str], *, has_code: bool = False
) -> tuple[tuple[str, int], ...]:
    rows = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return tuple(
        (f"{names.get(key, key)} ({key})" if has_code else names.get(key, key), count)
        for key, count in rows
        if key or key in names
    )


def shortened(rows: Sequence[tuple[str, int]]) -> list[tuple[str, int]]:
    """Return the largest rows, and what is left as one."""
    most = MOST if len(rows) > MOST + 1 else len(rows)
    shown, left = list(rows[:most]), rows[most:]
    if left:
        shown.append((f"{len(left)} others", sum(count for _, count in left)))
    return shown


STYLE: Final = """
body{font:16px/1.45 Georgia,'Libertinus Serif',serif;color:#222;background:#fff;margin:0 auto;
padding:1rem;max-width:60rem}h1{font-size:1.6rem;margin:0}
h2{font-size:1.05rem;margin:1.4rem 0 .3rem}
table{border-collapse:collapse;width:100%}td{padding:.15rem .6rem .15rem 0;vertical-align:middle}
td.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}td.b{width:45%}
td.b span{display:block;height:.75rem;background:#3d5a6c}
.tables{display:grid;grid-template-columns:repeat(auto-fit,minmax(22rem,1fr));gap:0 2rem}
.small{font-size:.85rem}@media print{body{font-size:11px;max-width:none}}
"""
"""Style of a page of counts."""


def html_report(summary: Summary, *, about: str, provenance: str) -> str:
    """Return the summary as one HTML page without anything from outside."""
    tables = "".join(
        f"<section><h2>{escape(table.title)}</h2>{html_table(shortened(table.rows))}</section>"
        for table in summary.tables
    )
    taken = "".join(f"<li>{escape(text)} ({count} rows)</li>" for text, count in summary.taken)
    return (
        "<!doctype html><html lang='en'><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{escape(summary.headline)}</title><style>{STYLE}</style><body>"
        f"<h1>{escape(summary.headline)}</h1><p>{escape(about)}</p>"
        f"<h2>Jobs</h2>{html_table(summary.jobs)}<div class='tables'>{tables}</div>"
        + (f"<h2>Taken for granted</h2><ul>{taken}</ul>" if taken else "")
        + f"<p class='small'>{escape(provenance)}</p></body></html>\n"
    )


def html_table(rows: Sequence[tuple[str, int]]) -> str:
    """Return counts with bars as a table; the longest bar is the largest count."""
    most = max((count for _, count in rows), default=1)
    return (
        "<table>"
        + "".join(
            f"<tr><td>{escape(name)}</td><td class='n'>{count}</td><td class='b'>"
            f"<span style='width:{100 * count / most:.1f}%'></span></td></tr>"
            for name, count in rows
        )
        + "</table>"
    )


def pdf_report(summary: Summary, *, about: str, provenance: str) -> bytes:
    """Return the summary as a PDF of one page."""
    from ..sheet.typesetting import compiled, escaped

    def table(rows: Sequence[tuple[str, int]]) -> str:
        most = max((count for _, count in rows), default=1)
        cells = ", ".join(
            f"[{escaped(name)}], [{count}], "
            f'box(width: {38 * count / most:.1f}mm, height: 6pt, fill: rgb("#3d5a6c"))'
            for name, count in rows
        )
        return (
            "#table(columns: (1fr, auto, 38mm), stroke: none, inset: 2pt, "
            f"align: (left, right, left + horizon), {cells})"
        )

    def source(size: float) -> str:
        parts = [
            '#set page(paper: "a4", margin: (x: 14mm, y: 12mm))',
            f'#set text(font: "Libertinus Serif", size: {size:.1f}pt, lang: "en")',
            f'#text({size * 1.7:.1f}pt, weight: "bold")[{escaped(summary.headline)}]\\ ',
            f"{escaped(about)}",
            f"#block(above: 0.9em)[*Jobs*]{table(summary.jobs)}",
        ]
        blocks = ", ".join(
            f"[*{escaped(item.title)}* {table(shortened(item.rows))}]" for item in summary.tables
        )
        if blocks:
            parts.append(f"#grid(columns: (1fr, 1fr), gutter: 8mm, row-gutter: 4mm, {blocks})")
        parts += [f"- {escaped(text)} ({count} rows)" for text, count in summary.taken[:MOST]]
        parts.append(f"#text({size - 2:.1f}pt)[{escaped(provenance)}]")
        return "\n".join(parts)

    return compiled(source, "pdf")
