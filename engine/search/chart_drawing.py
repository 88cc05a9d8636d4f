"""Range charts: as a picture by Matplotlib, as a page with our own drawing.

A verdict has a tint and a pattern, so that colour never carries meaning alone; what decides is
written along the borders.
"""

import io
from collections.abc import Callable, Sequence
from html import escape
from itertools import groupby
from typing import Any, Final, NamedTuple

from ..answer.document import VERDICTS
from ..answer.wording import System, show
from ..answer.words import WORDS_BY_NAME
from .chart import Chart, ChartRow
from .lengths import Interval


class Look(NamedTuple):
    """How a verdict looks: words, tint, line, and its pattern in Matplotlib's letters."""

    words: str
    tint: str
    line: str
    hatch: str


LOOKS: Final[dict[str, Look]] = {
    VERDICTS["setting"]: Look(WORDS_BY_NAME[VERDICTS["setting"]], "#dcebe1", "#1c6b3a", ""),
    VERDICTS["conditions"]: Look(WORDS_BY_NAME[VERDICTS["conditions"]], "#f3e3bf", "#8a5a00", "//"),
    VERDICTS["refused"]: Look(WORDS_BY_NAME[VERDICTS["refused"]], "#f0d5d2", "#a3261b", "xx"),
    "": Look(WORDS_BY_NAME[""], "#e4e4ee", "#4a4a7a", ".."),
}
Reason = Callable[[Interval], str]


def label(row: ChartRow, system: System) -> str:
    """Return how a row is named on the axis: the designation and its outside."""
    section = row.section
    if section.shape != "round":
        return section.designation
    unit = "mm" if system == "si" else "in"
    return f"{section.designation}  {section.printed_sizes(system)[0]} {unit}"


class Border(NamedTuple):
    """Where the verdict changes the same way in rows that follow each other."""

    first: int
    last: int
    length: float
    text: str


def borders(chart: Chart, reason: Reason) -> list[Border]:
    """Return what to write along the borders: once for each run of rows with the same reason.

    A border belongs to the interval that is worse: what decides there is why the range ends.
    """
    found: list[tuple[int, float, str]] = []
    for place, row in enumerate(chart.rows):
        for shorter, longer in zip(row.intervals, row.intervals[1:], strict=False):
            worse = max(shorter, longer, key=lambda item: _RANK[item.verdict])
            if shorter.verdict != longer.verdict:
                found.append((place, longer.low, reason(worse)))
        if len(row.intervals) == 1 and row.intervals[0].verdict == VERDICTS["refused"]:
            found.append((place, chart.longest / 2, reason(row.intervals[0])))
    result: list[Border] = []
    for text in dict.fromkeys(item[2] for item in found):
        rows = sorted((place, at) for place, at, words in found if words == text)
        for _, group in groupby(enumerate(rows), key=lambda pair: pair[1][0] - pair[0]):
            run = [pair[1] for pair in group]
            middle = run[len(run) // 2]
            result.append(Border(run[0][0], run[-1][0], middle[1], text))
    return result


_RANK: Final = {VERDICTS["setting"]: 0, VERDICTS["conditions"]: 1, "": 2, VERDICTS["refused"]: 3}


def picture(
    charts: Sequence[Chart], *, title: str, system: System, reason: Reason, kind: str
) -> bytes:
    """Return the charts side by side on one scale, as SVG or PNG."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.patches import Patch

    # Text stays text, and the same chart gives the same file.
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "cuttable", "font.size": 9,
                         "hatch.linewidth": 0.5})  # fmt: skip
    rows = max(len(chart.rows) for chart in charts)
    size = (7.6 * len(charts) + 1.6, 1.9 + 0.3 * rows)
    figure: Any
    axes: Any
    figure, axes = plt.subplots(1, len(charts), figsize=size, sharey=True, squeeze=False)
    factor, unit = (1000.0, "m") if system == "si" else (304.8, "ft")
    longest = max(chart.longest for chart in charts)
    for axis, chart in zip(axes[0], charts, strict=True):
        _draw(axis, chart, factor, reason)
        axis.set_xlim(0, longest / factor)
        axis.set_ylim(-0.5, rows - 0.5)
        axis.set_xlabel(f"stock length, {unit}")
        axis.set_title(f"{chart.machine.code}, {chart.machine.release}", loc="left")
        axis.spines[["top", "right"]].set_visible(False)
    axes[0][0].set_yticks(range(rows), [label(row, system) for row in charts[0].rows])
    seen = {item.verdict for chart in charts for row in chart.rows for item in row.intervals}
    patches = [
        Patch(facecolor=look.tint, edgecolor=look.line, hatch=look.hatch, label=look.words,
              linewidth=0.6)
        for verdict, look in LOOKS.items() if verdict in seen
    ]  # fmt: skip
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    figure.legend(handles=patches, loc="lower right", ncols=len(patches), frameon=False)
    figure.tight_layout(rect=(0, 0.045, 1, 1))
    made = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {}
    figure.savefig(made, format=kind, dpi=160, metadata=metadata)
    plt.close(figure)
    return made.getvalue()


def _draw(axis: Any, chart: Chart, factor: float, reason: Reason) -> None:
    for place, row in enumerate(chart.rows):
        for item in row.intervals:
            look = LOOKS[item.verdict]
            axis.barh(
                place, (item.high - item.low) / factor, left=item.low / factor, height=0.96,
                facecolor=look.tint, edgecolor=look.line, hatch=look.hatch, linewidth=0.3,
            )  # fmt: skip
    taken: Taken = {}
    wide = chart.longest / factor
    for border in borders(chart, reason):
        place = round((border.first + border.last) / 2)
        start = border.length / factor
        width = 0.0125 * wide * len(border.text)
        start = min(max(start + 0.006 * wide, 0.005 * wide), wide - width)
        spot = _free(place, border, start, width, taken)
        is_crowded = spot != int(spot)
        axis.text(
            start, spot, border.text, va="center", fontsize=6 if is_crowded else 7.5,
            bbox={"facecolor": "white", "alpha": 0.82, "linewidth": 0, "pad": 0.5},
        )  # fmt: skip


Taken = dict[float, list[tuple[float, float]]]


def _free(place: int, border: Border, start: float, width: float, taken: Taken) -> float:
    """Return a height in the border's run of rows at which the text hits no other."""
    rows = sorted(range(border.first, border.last + 1), key=lambda row: abs(row - place))
    # Where every row has its text, two stand above each other in one.
    for spot in (*map(float, rows), *(row + shift for row in rows for shift in (0.27, -0.27))):
        near = [span for at, spans in taken.items() if abs(at - spot) < 0.4 for span in spans]
        if all(start > end or start + width < begin for begin, end in near):
            taken.setdefault(spot, []).append((start, start + width))
            return spot
    return float(place)


_STYLE: Final = """
body{font:15px/1.4 Georgia,'Libertinus Serif',serif;color:#222;background:#fff;margin:0 auto;
padding:1rem;max-width:80rem}h1{font-size:1.3rem;margin:0 0 .4rem}svg{width:100%;height:auto}
rect:focus{outline:none;stroke-width:2.5}#told{min-height:2.8em;border-top:1px solid #bbb;
padding-top:.4rem;position:sticky;bottom:0;background:#fff}text{font-family:inherit}
.scroll{overflow-x:auto}.scroll svg{min-width:46rem}
svg.key{width:1.6rem;height:1rem;vertical-align:middle}
"""
_SCRIPT: Final = """
const told=document.getElementById('told');
document.querySelectorAll('rect[data-t]').forEach(r=>{
 const say=()=>{told.textContent=r.dataset.t};
 r.addEventListener('mouseenter',say);r.addEventListener('focus',say);r.addEventListener('click',say)});
"""
_LEFT, _WIDTH, _ROW, _TOP = 190, 1000, 24, 30


def page(charts: Sequence[Chart], *, title: str, system: System, reason: Reason) -> str:
    """Return the charts as one HTML page that tells what is pointed at, nothing from outside."""
    drawn = "".join(_svg(chart, system, reason) for chart in charts)
    seen = {item.verdict for chart in charts for row in chart.rows for item in row.intervals}
    legend = "".join(
        f"<svg class='key' viewBox='0 0 32 20'>"
        f"<rect width='32' height='20' fill='{look.tint}' stroke='{look.line}'/>"
        f"<rect width='32' height='20' fill='url(#{_pattern(verdict)})'/></svg> "
        f"{look.words} &nbsp; "
        for verdict, look in LOOKS.items()
        if verdict in seen
    )
    return (
        "<!doctype html><html lang='en'><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{escape(title)}</title><style>{_STYLE}</style><body><h1>{escape(title)}</h1>"
        f"{_defs()}<p>{legend}</p><div class='scroll'>{drawn}</div>"
        "<p id='told' aria-live='polite'>Point at a field, or step through them with Tab.</p>"
        f"<script>{_SCRIPT}</script></body></html>\n"
    )


def _pattern(verdict: str) -> str:
    return {VERDICTS["conditions"]: "p1", VERDICTS["refused"]: "p2", "": "p3"}.get(verdict, "p0")


def _defs() -> str:
    looks = LOOKS
    one, two, open_ = (
        looks[name].line for name in (VERDICTS["conditions"], VERDICTS["refused"], "")
    )
    start = "patternUnits='userSpaceOnUse' width='8' height='8'"
    return (
        "<svg style='position:absolute;width:0;height:0;min-width:0' aria-hidden='true'><defs>"
        f"<pattern id='p0' {start}></pattern>"
        f"<pattern id='p1' {start}><path d='M0 8L8 0' stroke='{one}' stroke-width='.7'/></pattern>"
        f"<pattern id='p2' {start}><path d='M0 8L8 0M0 0L8 8' stroke='{two}' stroke-width='.6'/>"
        f"</pattern><pattern id='p3' {start}><circle cx='4' cy='4' r='1' fill='{open_}'/></pattern>"
        "</defs></svg>"
    )


def _svg(chart: Chart, system: System, reason: Reason) -> str:
    scale = (_WIDTH - _LEFT - 20) / chart.longest
    height = _TOP + _ROW * len(chart.rows) + 40
    parts = [
        f"<svg viewBox='0 0 {_WIDTH} {height}' role='img' font-size='12'>"
        f"<text x='{_LEFT}' y='18' font-size='15' font-weight='bold'>"
        f"{escape(chart.machine.code)}, {escape(chart.machine.release)}</text>"
    ]
    for place, row in enumerate(reversed(chart.rows)):
        y = _TOP + place * _ROW
        parts.append(
            f"<text x='{_LEFT - 8}' y='{y + 16}' text-anchor='end'>"
            f"{escape(label(row, system))}</text>"
        )
        for item in row.intervals:
            look = LOOKS[item.verdict]
            x, width = _LEFT + item.low * scale, max((item.high - item.low) * scale, 0.5)
            told = (
                f"{row.section.designation}, {show(item.low, 'mm', system)} to "
                f"{show(item.high, 'mm', system)}: {look.words}; {reason(item)}"
            )
            shape = f"x='{x:.1f}' y='{y}' width='{width:.1f}' height='{_ROW - 2}'"
            parts.append(f"<rect {shape} fill='{look.tint}'/>")
            parts.append(
                f"<rect {shape} fill='url(#{_pattern(item.verdict)})' stroke='{look.line}' "
                f"stroke-width='.5' pointer-events='all' tabindex='0' role='img' "
                f"aria-label='{escape(told, quote=True)}' data-t='{escape(told, quote=True)}'/>"
            )
    step = 2000.0 if system == "si" else 5 * 304.8
    tick = 0.0
    base = _TOP + _ROW * len(chart.rows)
    while tick <= chart.longest:
        x = _LEFT + tick * scale
        words = f"{tick / 1000:g} m" if system == "si" else f"{tick / 304.8:.0f} ft"
        parts.append(
            f"<path d='M{x:.1f} {base}v5' stroke='#222'/>"
            f"<text x='{x:.1f}' y='{base + 19}' text-anchor='middle'>{words}</text>"
        )
        tick += step
    parts.append("</svg>")
    return "".join(parts)
