"""A range chart as a page draws it: places on the drawing, words, and where each field leads."""

from collections.abc import Sequence
from typing import Final, NamedTuple
from urllib.parse import urlencode

from ...engine.answer.document import VERDICTS
from ...engine.answer.wording import System, show
from ...engine.search.chart import Chart
from ...engine.search.chart_drawing import LOOKS, label
from ...engine.search.charting import Charts
from ...engine.search.lengths import Interval
from .theme import MARKS

LEFT: Final = 196.0
WIDTH: Final = 1000.0
ROW: Final = 25
TOP: Final = 8


class Field(NamedTuple):
    """Lengths of one section with one verdict: a rectangle that leads to a question."""

    x: float
    width: float
    mark: str
    told: str
    low: float
    high: float
    length: str
    query: str


class Row(NamedTuple):
    """One section."""

    label: str
    section: str
    y: int
    fields: tuple[Field, ...]
    intervals: tuple[tuple[str, str, str, str], ...]


class Drawing(NamedTuple):
    """One model's chart.

    Attributes:
        scale: drawing units a mm.
        ticks: place and words of each mark of the axis.
    """

    model: str
    title: str
    rows: tuple[Row, ...]
    height: int
    base: int
    scale: float
    ticks: tuple[tuple[float, str], ...]
    legend: tuple[tuple[str, str], ...]


def drawings(charts: Charts, system: System, grade: str) -> list[Drawing]:
    """Return the charts on one scale."""
    longest = max((chart.longest for chart in charts.charts), default=0.0)
    return [_drawing(chart, charts, system, grade, longest) for chart in charts.charts]


def _drawing(chart: Chart, charts: Charts, system: System, grade: str, longest: float) -> Drawing:
    scale = (WIDTH - LEFT - 24) / max(longest, 1.0)
    rows = tuple(
        Row(
            label(row, system).replace("  ", ", "),
            row.section.designation,
            TOP + place * ROW,
            tuple(
                _field(row.section.designation, item, charts, system, chart, grade, scale)
                for item in row.intervals
            ),
            tuple(
                (
                    show(item.low, "mm", system),
                    show(item.high, "mm", system),
                    item.verdict,
                    charts.reason(item),
                )
                for item in row.intervals
            ),
        )
        for place, row in enumerate(reversed(chart.rows))
    )
    base = TOP + ROW * len(rows)
    seen = {item.verdict for row in chart.rows for item in row.intervals}
    legend = tuple((MARKS[verdict], look.words) for verdict, look in LOOKS.items()
                   if verdict in seen)  # fmt: skip
    machine = chart.machine
    return Drawing(machine.code, f"{machine.code}, revision {machine.revision}", rows, base + 34,
                   base, scale, tuple(_ticks(longest, scale, system)), legend)  # fmt: skip


def _field(
    section: str, item: Interval, charts: Charts, system: System, chart: Chart, grade: str,
    scale: float,
) -> Field:  # fmt: skip
    words = LOOKS[item.verdict].words
    told = (
        f"{section}, {show(item.low, 'mm', system)} to {show(item.high, 'mm', system)}: {words}; "
        f"{charts.reason(item)}"
    )
    # The length nearest to where the verdict changes is the one worth asking.
    is_refused = item.verdict == VERDICTS["refused"]
    length = show(item.low if is_refused else item.high, "mm", system)
    pairs = [("section", section), ("machines", chart.machine.code), ("units", system)]
    query = urlencode(pairs + ([("grade", grade)] if grade else []))
    return Field(
        round(LEFT + item.low * scale, 2), round(max((item.high - item.low) * scale, 1.0), 2),
        MARKS[item.verdict], told, item.low, item.high, urlencode({"length": length}), query,
    )  # fmt: skip


def _ticks(longest: float, scale: float, system: System) -> Sequence[tuple[float, str]]:
    step = 2000.0 if system == "si" else 5 * 304.8
    while longest / step > 14:
        step *= 2
    count = int(longest / step + 1e-9)
    return [
        (round(LEFT + number * step * scale, 1),
         f"{number * step / 1000:g} m" if system == "si" else f"{number * step / 304.8:.0f} ft")
        for number in range(count + 1)
    ]  # fmt: skip
