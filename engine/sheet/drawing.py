"""The bed to scale: chuck, stock, supports, cuts, centre of mass, and what each part does.

An SVG of its own: 1,000 units wide, dark lines on white, no colour that carries meaning alone.
"""

from collections.abc import Callable, Sequence
from html import escape
from typing import Final

from ..verdict import Verdict
from ..wording import System, show

WIDTH: Final = 1000.0
HEIGHT: Final = 214.0
LEFT: Final = 78.0
RIGHT: Final = 20.0
TOP: Final = 66.0
THICK: Final = 24.0
LINE: Final = 30.0  # height of one line of labels under the bed
NEAREST: Final = 74.0  # labels nearer than this go to another line

MARKS: Final = {
    "stays": "stays",
    "tips-inner-end-up": "tips out",
    "tips-inner-end-down": "tips in",
    "drops": "drops",
}
Scale = Callable[[float], float]
"""A position along the bed to a place on the drawing."""

_FONT: Final = "font-family='Libertinus Serif, Georgia, serif'"


def bed_drawing(verdict: Verdict, system: System) -> str:
    """Return the drawing as SVG text."""
    job, set_up, machine = verdict.job, verdict.set_up, verdict.machine
    reach = max(job.front, machine.bed.last_station if set_up.standing else job.front)
    scale = (WIDTH - LEFT - RIGHT) / reach

    def x(position: float) -> float:
        return LEFT + position * scale

    base = TOP + THICK
    lines = _lines([x(item.station) for item in set_up.standing], NEAREST)
    height = HEIGHT if any(lines) else HEIGHT - LINE
    parts = [
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH:g} {height:g}' "
        f"role='img' aria-label='{escape(_described(verdict, system))}'>",
        f"<rect width='{WIDTH:g}' height='{height:g}' fill='#fff'/>",
        # chuck body, jaws, and the bed line
        f"<rect x='14' y='{TOP - 34:g}' width='40' height='{THICK + 68:g}' fill='#4a4f55'/>",
        f"<rect x='54' y='{TOP - 13:g}' width='{LEFT - 54:g}' height='13' fill='#8b9197'/>",
        f"<rect x='54' y='{base:g}' width='{LEFT - 54:g}' height='13' fill='#8b9197'/>",
        f"<line x1='14' y1='{base + 48:g}' x2='{WIDTH - 6:g}' y2='{base + 48:g}' "
        "stroke='#4a4f55' stroke-width='2'/>",
        f"<rect x='{LEFT:g}' y='{TOP:g}' width='{job.front * scale:.2f}' height='{THICK:g}' "
        "fill='#e8e4da' stroke='#222' stroke-width='1.6'/>",
        f"<line x1='{LEFT:g}' y1='{TOP + THICK / 2:g}' x2='{x(job.front):.2f}' "
        f"y2='{TOP + THICK / 2:g}' stroke='#222' stroke-width='.7' stroke-dasharray='14 4 3 4'/>",
    ]
    parts += _cuts(verdict, x)
    parts += _supports(verdict, x, lines, system)
    centre = x(job.front / 2)
    parts += [
        f"<circle cx='{centre:.2f}' cy='{TOP + THICK / 2:g}' r='6' fill='#fff' stroke='#222' "
        "stroke-width='1.6'/>",
        f"<path d='M{centre:.2f} {TOP + THICK / 2 - 6:g}v12M{centre - 6:.2f} "
        f"{TOP + THICK / 2:g}h12' stroke='#222' stroke-width='1.6'/>",
        _text(34, TOP - 40, "chuck", 13),
        _text(x(job.front), TOP - 40, show(job.front, "mm", system), 14, anchor="end"),
        "</svg>",
    ]
    return "".join(parts)


def _cuts(verdict: Verdict, x: Scale) -> list[str]:
    parts: list[str] = []
    pieces = verdict.set_up.pieces
    lines = _lines([x(piece.centre) for piece in pieces], 58.0)
    for number, (piece, line) in enumerate(zip(pieces, lines, strict=True), start=1):
        at = x(piece.inner)
        parts.append(
            f"<line x1='{at:.2f}' y1='{TOP - 12:g}' x2='{at:.2f}' y2='{TOP + THICK + 12:g}' "
            "stroke='#a3261b' stroke-width='2' stroke-dasharray='5 3'/>"
        )
        if len(pieces) <= 24:
            label = str(number) if len(pieces) > 9 else f"{number} {MARKS[piece.behaviour]}"
            parts.append(_text(x(piece.centre), TOP - 8 - 14 * line, label, 13))
    return parts


def _supports(verdict: Verdict, x: Scale, lines: Sequence[int], system: System) -> list[str]:
    parts: list[str] = []
    base = TOP + THICK
    for item, line in zip(verdict.set_up.standing, lines, strict=True):
        at = x(item.station)
        fill = "#fff" if item.is_lifted else "#4a4f55"
        parts.append(
            f"<path d='M{at:.2f} {base + 1:g}l13 47h-26z' fill='{fill}' stroke='#222' "
            "stroke-width='1.4'/>"
        )
        low = base + 66 + LINE * line
        if line:
            parts.append(
                f"<line x1='{at:.2f}' y1='{base + 50:g}' x2='{at:.2f}' y2='{low - 14:g}' "
                "stroke='#222' stroke-width='.6'/>"
            )
        carries = "lifts off" if item.is_lifted else show(item.reaction, "N", system, digits=3)
        parts.append(_text(at, low, show(item.station, "mm", system), 15, weight="bold"))
        parts.append(_text(at, low + 14, carries, 12))
    return parts


def _lines(places: Sequence[float], nearest: float) -> list[int]:
    """Return a line for each label, so that labels of one line do not touch."""
    last: list[float] = []
    lines: list[int] = [0] * len(places)
    for number in sorted(range(len(places)), key=lambda item: places[item]):
        place = places[number]
        line = next((row for row, end in enumerate(last) if place - end >= nearest), len(last))
        if line == len(last):
            last.append(place)
        last[line] = place
        lines[number] = min(line, 1)
    return lines


def _text(
    x: float, y: float, text: str, size: float, *, anchor: str = "middle", weight: str = "normal"
) -> str:
    return (
        f"<text x='{x:.2f}' y='{y:.2f}' font-size='{size:g}' text-anchor='{anchor}' "
        f"font-weight='{weight}' fill='#222' {_FONT}>{escape(text)}</text>"
    )


def _described(verdict: Verdict, system: System) -> str:
    """Return the drawing in words, for who cannot see it."""
    stations = ", ".join(show(item.station, "mm", system) for item in verdict.set_up.standing)
    cuts = ", ".join(show(cut, "mm", system) for cut in verdict.set_up.cuts[:24])
    return (
        f"Stock of {show(verdict.job.front, 'mm', system)} in the chuck; "
        f"supports at {stations or 'no place'}; cuts at {cuts or 'no place'}."
    )
