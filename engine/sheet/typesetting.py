"""Type: text that no markup or line break spoils, and one page of Typst as PDF or SVG."""

import re
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, cast

SIZES: Final = (9.6, 9.0, 8.4, 7.8, 7.2, 6.6, 6.1)
"""Type sizes tried until everything stands on one page, in points."""


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


def escaped(text: str) -> str:
    """Return text with everything that Typst reads as markup escaped."""
    return "".join(f"\\{char}" if char in "\\#*_`$<>@=-+/~[]\"'" else char for char in text)


_IN_ONE: Final = re.compile(r"(?<=\d) (?=\d+/\d|%|(?:mm|m|in|ft|kg|lbf?|k?N|MPa|ksi|rad)\b)")


def tied(text: str) -> str:
    """Return text in which no line ends between a number and its fraction or unit.

    7'- 2 5/8" that is broken after the 2 reads as another station.
    """
    return _IN_ONE.sub("\u00a0", text)
