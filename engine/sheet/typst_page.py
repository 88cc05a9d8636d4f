"""The set-up sheet through Typst: PDF and SVG."""

from typing import Literal

from .content import BEFORE_LAST_TAB, Both, Content
from .typesetting import compiled, escaped, tied

Paper = Literal["a4", "us-letter"]


def pdf_page(content: Content, drawing: str, paper: Paper) -> bytes:
    """Return the sheet as a PDF of one page."""
    return _compiled(content, drawing, paper, "pdf")


def svg_page(content: Content, drawing: str, paper: Paper) -> bytes:
    """Return the sheet as an SVG of one page."""
    return _compiled(content, drawing, paper, "svg")


def _compiled(content: Content, drawing: str, paper: Paper, kind: str) -> bytes:
    return compiled(lambda size: typst_source(content, paper, size), kind, {"bed.svg": drawing})


def typst_source(content: Content, paper: Paper, size: float) -> str:
    """Return the Typst source of the page at a type size in points."""
    big = size * 1.75
    small = f"{size - 1.6:.1f}pt"  # few sizes: an SVG holds every letter once a size
    figures = ", ".join(
        f"[#text({small})[{_t(item.title)}]\\ "
        f'#text({big:.1f}pt, weight: "bold")[{_t(item.value.shop)}]\\ '
        f"#text({small})[{_t(item.value.other)}]]"
        for item in content.figures
    )
    return "\n".join(
        [
            f'#set page(paper: "{paper}", margin: (x: 14mm, y: 11mm))',
            f'#set text(font: "Libertinus Serif", size: {size:.1f}pt, lang: "en")',
            "#set par(leading: 0.5em, spacing: 0.7em)",
            "#set table(stroke: (x, y) => (bottom: 0.4pt + luma(150)), inset: (x: 3pt, y: 2.6pt))",
            f'#block(width: 100%, stroke: (bottom: 2pt + rgb("{content.mark}")), '
            "inset: (bottom: 4pt))"
            f'[#text({big + 3:.1f}pt, weight: "bold")[{_t(content.headline)}] #h(1fr) '
            f"Set-up sheet\\ {_t(content.model)}]",
            f'#text({big:.1f}pt, weight: "bold")[{_t(content.stock)}]\\ {_t(content.subtitle)}',
            f"#grid(columns: (1fr,) * {max(len(content.figures), 1)}, gutter: 5pt, {figures})",
            # A refused job is drawn without its bed: stations would read as leave to load it.
            *(['#image("bed.svg", width: 100%)'] if content.figures else []),
            *_support_table(content, size),
            *_part_table(content),
            *_list("Steps", content.sequence, "#enum.item"),
            *_list("Why", content.reasons[:8], "#list.item"),
            *_list("What would fit", content.fits, "#list.item"),
            *_boxes("Tick before turning", content.boxes),
            *_boxes(BEFORE_LAST_TAB, content.between, pairs=3),
            f"#text({small})[*Cautions.* {_t(' '.join(content.cautions))}]",
            *_fields(content, size),
            f"#text({small})[{_t(content.provenance)}]",
        ]
    )


def _t(text: str) -> str:
    return escaped(tied(text))


def _pair(value: Both, size: float) -> str:
    small = f" #text({size - 1.6:.1f}pt)[{_t(value.other)}]" if value.other else ""
    return f"[{_t(value.shop)}{small}]"


def _support_table(content: Content, size: float) -> list[str]:
    if not content.supports:
        return [_t(content.support_note)]
    cells = ", ".join(
        f'[{_t(row.number)}], [#text({size + 3:.1f}pt, weight: "bold")[{_t(row.station.shop)}] '
        f"#text({size - 1.6:.1f}pt)[{_t(row.station.other)}]], [{_t(row.kind)}], "
        + (f"{_pair(row.centre, size)}, " if content.has_centres else "")
        + f"{_pair(row.carries, size)}, [#box(width: 8pt, height: 8pt, stroke: 0.8pt)]"
        for row in content.supports
    )
    centre = ("auto, ", "[*Centre over datum*], ") if content.has_centres else ("", "")
    return [
        f"#table(columns: (auto, auto, 1fr, {centre[0]}auto, auto), align: left + horizon, "
        f"table.header([], [*Tape off*], [*Support*], {centre[1]}[*Carries*], [*Set*]), {cells})",
        _t(content.support_note),
    ]


def _part_table(content: Content) -> list[str]:
    if not content.parts:
        return []
    cells = ", ".join(
        f"[{_t(row.cuts)}], [{_t(row.how_many)}], "
        f"[{_t(row.length.shop)}{' (' + _t(row.length.other) + ')' if row.length.other else ''}], "
        f"[{_t(row.behaviour)}], [{_t(row.held)}]"
        for row in content.parts
    )
    head = "[*Cut at*], [*Parts*], [*Length*], [*As it comes free the part*], [*Held by*]"
    return [f"#table(columns: (auto, auto, auto, 1fr, auto), table.header({head}), {cells})"]


def _list(title: str, items: tuple[str, ...], mark: str) -> list[str]:
    if not items:
        return []
    return [_heading(title), *(f"{mark}[{_t(item)}]" for item in items)]


def _heading(title: str) -> str:
    """Return a heading that stands on a line of its own."""
    return f"#block(above: 0.9em, below: 0.5em)[*{title}*]"


def _boxes(title: str, items: tuple[str, ...], pairs: int = 1) -> list[str]:
    if not items:
        return []
    rows = ", ".join(f"box(width: 9pt, height: 9pt, stroke: 0.9pt), [{_t(item)}]" for item in items)
    return [
        _heading(title),
        f"#grid(columns: (auto, 1fr) * {pairs}, column-gutter: 6pt, row-gutter: 5pt, {rows})",
    ]


def _fields(content: Content, size: float) -> list[str]:
    cells = ", ".join(
        f"[#text({size - 1.6:.1f}pt)[{_t(name)}]\\ #v(7pt) #line(length: 100%, stroke: 0.5pt)]"
        for name in content.fields
    )
    return [f"#grid(columns: (1fr,) * 4, gutter: 7pt, {cells})"]
