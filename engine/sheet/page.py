"""Set the content on a page: PDF and SVG through Typst, HTML by itself."""

import re
import tempfile
from collections.abc import Callable, Mapping
from html import escape
from pathlib import Path
from typing import Any, Final, Literal, cast

from ..answer.document import Verdict
from .content import Both, Content

Paper = Literal["a4", "us-letter"]
MARKS: Final[Mapping[Verdict | None, str]] = {
    Verdict.IN_RANGE: "#1c6b3a", Verdict.REFUSED: "#a3261b",
}  # fmt: skip
"""The colour of a verdict; all others have that of conditions."""
SIZES: Final = (9.6, 9.0, 8.4, 7.8, 7.2, 6.6)
"""Type sizes tried until everything stands on one page, in points."""


def pdf_page(content: Content, drawing: str, paper: Paper) -> bytes:
    """Return the sheet as a PDF of one page."""
    return _compiled(content, drawing, paper, "pdf")


def svg_page(content: Content, drawing: str, paper: Paper) -> bytes:
    """Return the sheet as an SVG of one page."""
    return _compiled(content, drawing, paper, "svg")


def _compiled(content: Content, drawing: str, paper: Paper, kind: str) -> bytes:
    return compiled(lambda size: typst_source(content, paper, size), kind, {"bed.svg": drawing})


def compiled(
    source_of: Callable[[float], str], kind: str, files: Mapping[str, str] | None = None
) -> bytes:
    """Return one page of Typst as PDF or SVG, in the largest type in which it is one page.

    Args:
        source_of: returns the Typst source for a type size in points.
        kind: ``pdf`` or ``svg``.
        files: texts of files that the source names.
    """
    import typst  # slow to import, and only a page needs it

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name, text in (files or {}).items():
            (folder / name).write_text(text, encoding="utf-8")
        source = folder / "page.typ"
        pages: list[bytes] = []
        for size in SIZES:
            source.write_text(source_of(size), encoding="utf-8")
            pages = _pages(typst.compile(str(source), format="svg", ignore_system_fonts=True))
            if len(pages) == 1:
                break
        if kind == "svg":
            return slimmed(pages[0])
        return _pages(typst.compile(str(source), format="pdf", ignore_system_fonts=True))[0]


def _pages(made: Any) -> list[bytes]:
    """Return what the compiler made as a list: one page comes bare, several as a list."""
    items = cast("list[Any]", made) if isinstance(made, list) else [made]
    return [bytes(item) for item in items]


_NOT_NEEDED: Final = re.compile(r"(?<![\d.])0(?=\.)| (?=-)|(?<=[A-Za-z]) | (?=[A-Za-z])")
_GLYPH: Final = re.compile(r'<symbol id="(\w+)" overflow="visible"><path d="([^"]*)"/></symbol>')


def slimmed(page: bytes) -> bytes:
    """Return an SVG page of Typst in about half of the bytes, drawn the same.

    Every letter refers to its outline. The references have names of 33 characters and say what
    holds anyhow (black, nonzero, y = 0), and the outlines have spaces and zeros that no reader
    of paths needs.
    """
    text = page.decode("utf-8")
    names = {name: f"g{number}" for number, (name, _) in enumerate(_GLYPH.findall(text))}
    text = _GLYPH.sub(
        lambda found: f'<path id="{names[found[1]]}" d="{_NOT_NEEDED.sub("", found[2]).strip()}"/>',
        text,
    )
    text = re.sub(r'(?<=xlink:href="#)\w+', lambda found: names.get(found[0], found[0]), text)
    for said in (' y="0"', ' fill="#000000"', ' fill-rule="nonzero"'):
        text = re.sub(rf"(<use [^>]*?){said}", r"\1", text)
    return text.encode("utf-8")


def typst_source(content: Content, paper: Paper, size: float) -> str:
    """Return the Typst source of the page at a type size in points."""
    big = size * 1.75
    mark = MARKS.get(content.verdict, "#8a5a00")
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
            f'#block(width: 100%, stroke: (bottom: 2pt + rgb("{mark}")), inset: (bottom: 4pt))'
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
            *_boxes(content, size),
            f"#text({small})[*Cautions.* {_t(' '.join(content.cautions))}]",
            *_fields(content, size),
            f"#text({small})[{_t(content.provenance)}]",
        ]
    )


def escaped(text: str) -> str:
    """Return text with everything that Typst reads as markup escaped."""
    return "".join(f"\\{char}" if char in "\\#*_`$<>@=-+/~[]\"'" else char for char in text)


_IN_ONE: Final = re.compile(r"(?<=\d) (?=\d+/\d|%|(?:mm|m|in|ft|kg|lbf?|k?N|MPa|ksi|rad)\b)")


def tied(text: str) -> str:
    """Return text in which no line ends between a number and its fraction or unit.

    7'- 2 5/8" that is broken after the 2 reads as another station.
    """
    return _IN_ONE.sub("\u00a0", text)


def _t(text: str) -> str:
    return escaped(tied(text))


def _h(text: str) -> str:
    return escape(tied(text))


def _pair(value: Both, size: float) -> str:
    small = f" #text({size - 1.6:.1f}pt)[{_t(value.other)}]" if value.other else ""
    return f"[{_t(value.shop)}{small}]"


def _support_table(content: Content, size: float) -> list[str]:
    if not content.supports:
        return [_t(content.support_note)]
    has_centre = _has_centre(content)
    cells = ", ".join(
        f'[{_t(row.number)}], [#text({size + 3:.1f}pt, weight: "bold")[{_t(row.station.shop)}] '
        f"#text({size - 1.6:.1f}pt)[{_t(row.station.other)}]], [{_t(row.kind)}], "
        + (f"{_pair(row.centre, size)}, " if has_centre else "")
        + f"{_pair(row.carries, size)}, [#box(width: 8pt, height: 8pt, stroke: 0.8pt)]"
        for row in content.supports
    )
    centre = ("auto, ", "[*Centre over datum*], ") if has_centre else ("", "")
    return [
        f"#table(columns: (auto, auto, 1fr, {centre[0]}auto, auto), align: left + horizon, "
        f"table.header([], [*Tape off*], [*Support*], {centre[1]}[*Carries*], [*Set*]), {cells})",
        _t(content.support_note),
    ]


def _has_centre(content: Content) -> bool:
    """Say whether any support is set by the height of a centre: flat rests are not."""
    return any(row.centre.shop for row in content.supports)


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


def _boxes(content: Content, size: float) -> list[str]:
    if not content.boxes:
        return []
    rows = ", ".join(
        f"box(width: 9pt, height: 9pt, stroke: 0.9pt), [{_t(item)}]" for item in content.boxes
    )
    _ = size
    return [
        _heading("Tick before turning"),
        f"#grid(columns: (auto, 1fr), column-gutter: 6pt, row-gutter: 5pt, {rows})",
    ]


def _fields(content: Content, size: float) -> list[str]:
    cells = ", ".join(
        f"[#text({size - 1.6:.1f}pt)[{_t(name)}]\\ #v(7pt) #line(length: 100%, stroke: 0.5pt)]"
        for name in content.fields
    )
    return [f"#grid(columns: (1fr,) * 4, gutter: 7pt, {cells})"]


_STYLE: Final = """
:root{color-scheme:light}
body{font:1rem/1.4 Georgia,'Libertinus Serif',serif;color:#222;background:#fff;margin:0 auto;
padding:1rem;max-width:60rem}
h1{margin:0;font-size:1.9rem}header{border-bottom:4px solid var(--mark);padding-bottom:.4rem}
h2{font-size:1.05rem;margin:1rem 0 .3rem}.stock{font-size:1.35rem;font-weight:bold;margin:.6rem 0 0}
.figures{display:flex;flex-wrap:wrap;gap:.6rem 1.6rem;margin:.8rem 0;padding:0;list-style:none}
.figures b{display:block;font-size:1.5rem}.other{color:#555;font-size:.85em}
svg{width:100%;height:auto}.bed svg{min-width:40rem}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.25rem .5rem .25rem 0;border-bottom:1px solid #bbb;
vertical-align:baseline}
td b{font-size:1.25rem}.scroll{overflow-x:auto}.boxes{list-style:none;padding:0}
.boxes label{display:flex;gap:.6rem;padding:.2rem 0}
.boxes input{width:1.2rem;height:1.2rem;flex:none}
.fields{display:grid;grid-template-columns:repeat(auto-fill,minmax(max(9rem,22%),1fr));
gap:1.4rem 1rem;margin-top:1rem}
.fields div{border-bottom:1px solid #222;font-size:.85rem;padding-bottom:1.4rem}
.small{font-size:.85rem}@page{margin:11mm 14mm}
@media print{html{font-size:var(--print)}body{padding:0;max-width:none;line-height:1.25}
h2{margin:.6rem 0 .2rem}ol,ul,p{margin:.3rem 0}.figures{margin:.5rem 0}
th,td{padding:.1rem .5rem .1rem 0}.boxes label{padding:0}.boxes input{margin:.1rem}
.fields{margin-top:.6rem;gap:.6rem 1rem}li,tr,.fields div{break-inside:avoid}}
"""


def html_page(content: Content, drawing: str) -> str:
    """Return the sheet as one HTML file without anything from outside."""
    mark = MARKS.get(content.verdict, "#8a5a00")
    figures = "".join(
        f"<li>{_h(item.title)}<b>{_h(item.value.shop)}</b>{_other(item.value)}</li>"
        for item in content.figures
    )
    has_centre = _has_centre(content)
    supports = "".join(
        f"<tr><td>{row.number}</td><td><b>{_h(row.station.shop)}</b> {_other(row.station)}</td>"
        f"<td>{_h(row.kind)}</td>"
        + (f"<td>{_h(row.centre.shop)} {_other(row.centre)}</td>" if has_centre else "")
        + f"<td>{_h(row.carries.shop)} {_other(row.carries)}</td></tr>"
        for row in content.supports
    )
    parts = "".join(
        f"<tr><td>{_h(row.cuts)}</td><td>{row.how_many}</td>"
        f"<td>{_h(row.length.shop)} {_other(row.length)}</td>"
        f"<td>{_h(row.behaviour)}</td><td>{_h(row.held)}</td></tr>"
        for row in content.parts
    )
    boxes = "".join(
        f"<li><label><input type='checkbox'><span>{_h(item)}</span></label></li>"
        for item in content.boxes
    )
    tables = ""
    if supports:
        tables += (
            "<h2>Supports</h2><div class='scroll'><table><tr><td></td><th>Tape off</th>"
            f"<th>Support</th>{'<th>Centre over datum</th>' if has_centre else ''}"
            f"<th>Carries</th></tr>{supports}</table></div>"
        )
    tables += f"<p>{_h(content.support_note)}</p>"
    if parts:
        tables += (
            "<h2>Parts</h2><div class='scroll'><table><tr><th>Cut at</th><th>Parts</th>"
            "<th>Length</th><th>As it comes free the part</th><th>Held by</th></tr>"
            f"{parts}</table></div>"
        )
    # A refused job is shown without its bed: stations would read as leave to load it.
    bed = f"<ul class='figures'>{figures}</ul><div class='scroll bed'>{drawing}</div>"
    return (
        f"<!doctype html><html lang='en' style='--print:{_print_size(content):.1f}px'>"
        "<meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{_h(content.stock)}: set-up sheet</title><style>{_STYLE}</style>"
        f"<body style='--mark:{mark}'><header><h1>{_h(content.headline)}</h1>"
        f"{_h(content.model)}</header>"
        f"<p class='stock'>{_h(content.stock)}</p>{_h(content.subtitle)}"
        f"{bed if content.figures else ''}{tables}"
        f"{_items('Steps', content.sequence, 'ol')}{_items('Why', content.reasons, 'ul')}"
        f"{_items('What would fit', content.fits, 'ul')}"
        + (f"<h2>Tick before turning</h2><ul class='boxes'>{boxes}</ul>" if boxes else "")
        + f"<p class='small'><b>Cautions.</b> {_h(' '.join(content.cautions))}</p>"
        f"<div class='fields'>{''.join(f'<div>{_h(name)}</div>' for name in content.fields)}"
        f"</div><p class='small'>{_h(content.provenance)}</p></body></html>\n"
    )


def _print_size(content: Content) -> float:
    """Return the type size in CSS px (3/4 point) in which the printed page is one sheet.

    A browser does not try sizes as Typst is made to, so lines are counted: beside the drawing a
    sheet has room for about 40 of them, of which 17 are always there. Below 6 points it may
    rather take a second sheet.
    """
    lines = 17 + sum(
        len(rows)
        for rows in (content.supports, content.parts, content.sequence, content.reasons,
                     content.fits, content.boxes)
    )  # fmt: skip
    return max(8.0, min(10.5, 10.5 * 41.5 / lines))


def _other(value: Both) -> str:
    return f"<span class='other'>{_h(value.other)}</span>" if value.other else ""


def _items(title: str, items: tuple[str, ...], kind: str) -> str:
    if not items:
        return ""
    rows = "".join(f"<li>{_h(item)}</li>" for item in items)
    return f"<h2>{title}</h2><{kind}>{rows}</{kind}>"
