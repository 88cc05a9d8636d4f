"""The set-up sheet as one HTML file: on a screen, on a phone, printed by a browser."""

from html import escape
from typing import Final

from .content import BEFORE_LAST_TAB, Both, Content
from .typesetting import tied

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
    figures = "".join(
        f"<li>{_h(item.title)}<b>{_h(item.value.shop)}</b>{_other(item.value)}</li>"
        for item in content.figures
    )
    supports = "".join(
        f"<tr><td>{row.number}</td><td><b>{_h(row.station.shop)}</b> {_other(row.station)}</td>"
        f"<td>{_h(row.kind)}</td>"
        + (f"<td>{_h(row.centre.shop)} {_other(row.centre)}</td>" if content.has_centres else "")
        + f"<td>{_h(row.carries.shop)} {_other(row.carries)}</td></tr>"
        for row in content.supports
    )
    parts = "".join(
        f"<tr><td>{_h(row.cuts)}</td><td>{row.how_many}</td>"
        f"<td>{_h(row.length.shop)} {_other(row.length)}</td>"
        f"<td>{_h(row.behaviour)}</td><td>{_h(row.held)}</td></tr>"
        for row in content.parts
    )
    boxes, between = (
        "".join(
            f"<li><label><input type='checkbox'><span>{_h(item)}</span></label></li>"
            for item in items
        )
        for items in (content.boxes, content.between)
    )
    tables = ""
    if supports:
        tables += (
            "<h2>Supports</h2><div class='scroll'><table><tr><td></td><th>Tape off</th>"
            f"<th>Support</th>{'<th>Centre over datum</th>' if content.has_centres else ''}"
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
        f"<body style='--mark:{content.mark}'><header><h1>{_h(content.headline)}</h1>"
        f"{_h(content.model)}</header>"
        f"<p class='stock'>{_h(content.stock)}</p>{_h(content.subtitle)}"
        f"{bed if content.figures else ''}{tables}"
        f"{_items('Steps', content.sequence, 'ol')}{_items('Why', content.reasons, 'ul')}"
        f"{_items('What would fit', content.fits, 'ul')}"
        + (f"<h2>Tick before turning</h2><ul class='boxes'>{boxes}</ul>" if boxes else "")
        + (f"<h2>{BEFORE_LAST_TAB}</h2><ul class='boxes'>{between}</ul>" if between else "")
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
                     content.fits, content.boxes, content.between)
    )  # fmt: skip
    return max(7.5, min(10.5, 10.5 * 38.5 / lines))


def _other(value: Both) -> str:
    return f"<span class='other'>{_h(value.other)}</span>" if value.other else ""


def _items(title: str, items: tuple[str, ...], kind: str) -> str:
    if not items:
        return ""
    rows = "".join(f"<li>{_h(item)}</li>" for item in items)
    return f"<h2>{title}</h2><{kind}>{rows}</{kind}>"


def _h(text: str) -> str:
    return escape(tied(text))
