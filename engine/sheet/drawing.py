"""The bed to scale: chuck, stock, supports, cuts, centre of mass, and what each part does.

An SVG of its own: 1,000 units wide, dark lines on white, no colour that carries meaning alone.
"""

from collections.abc import Callable, Sequence
from html import escape
from typing import Final

from ..answer.document import Answer
from ..answer.wording import System, show

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
    "caught": "caught",
}
Scale = Callable[[float], float]
"""A position along the bed to a place on the drawing."""

_FONT: Final = "font-family='Libertinus Serif, Georgia, serif'"


def bed_drawing(answer: Answer, system: System) -> str:
    """Return the drawing as SVG text."""
    job, setup = answer.job, answer.setup
    places = [job.front, *(item.station for item in setup.supports)]
    if setup.supports and setup.last_station is not None:
        places.append(setup.last_station)
    reach = max(places)
    scale = (WIDTH - LEFT - RIGHT) / reach

    def x(position: float) -> float:
        return LEFT + position * scale

    base = TOP + THICK
    lines = _lines([x(item.station) for item in setup.supports], NEAREST)
    height = HEIGHT if any(lines) else HEIGHT - LINE
    parts = [
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH:g} {height:g}' "
        f"role='img' aria-label='{escape(_described(answer, system))}'>",
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
    parts += _cuts(answer, x)
    parts += _supports(answer, x, lines, system)
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


def _cuts(answer: Answer, x: Scale) -> list[str]:
    parts: list[str] = []
    pieces = answer.setup.parts
    centres = [x(piece.cut + piece.length / 2) for piece in pieces]
    lines = _lines(centres, 58.0)
    for number, (piece, centre, line) in enumerate(zip(pieces, centres, lines, strict=True), 1):
        at = x(piece.cut)
        parts.append(
            f"<line x1='{at:.2f}' y1='{TOP - 12:g}' x2='{at:.2f}' y2='{TOP + THICK + 12:g}' "
            "stroke='#a3261b' stroke-width='2' stroke-dasharray='5 3'/>"
        )
        if len(pieces) <= 24:
            label = str(number) if len(pieces) > 9 else f"{number} {MARKS[piece.behaviour]}"
            parts.append(_text(centre, TOP - 8 - 14 * line, label, 13))
    return parts


def _supports(answer: Answer, x: Scale, lines: Sequence[int], system: System) -> list[str]:
    parts: list[str] = []
    base = TOP + THICK
    for item, line in zip(answer.setup.supports, lines, strict=True):
        at = x(item.station)
        is_catcher = item.role == "catches"
        fill = "#fff" if item.lifts_off or is_catcher else "#4a4f55"
        # What is raised only to catch stands lower, and is drawn with a broken line.
        top, line_kind = (base + 9, " stroke-dasharray='4 3'") if is_catcher else (base + 1, "")
        parts.append(
            f"<path d='M{at:.2f} {top:g}l13 {base + 48 - top:g}h-26z' fill='{fill}' stroke='#222' "
            f"stroke-width='1.4'{line_kind}/>"
        )
        low = base + 66 + LINE * line
        if line:
            parts.append(
                f"<line x1='{at:.2f}' y1='{base + 50:g}' x2='{at:.2f}' y2='{low - 14:g}' "
                "stroke='#222' stroke-width='.6'/>"
            )
        carries = "lifts off" if item.lifts_off else show(item.reaction, "N", system, digits=3)
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


def _described(answer: Answer, system: System) -> str:
    """Return the drawing in words, for who cannot see it."""
    stations = ", ".join(show(item.station, "mm", system) for item in answer.setup.supports)
    cuts = ", ".join(show(part.cut, "mm", system) for part in answer.setup.parts[:24])
    return (
        f"Stock of {show(answer.job.front, 'mm', system)} in the chuck; "
        f"supports at {stations or 'no place'}; cuts at {cuts or 'no place'}."
    )
