"""A set-up sheet as a file of the kind asked for."""

from typing import Final, Literal

from ..verdict import Verdict
from ..wording import System
from .content import content_of
from .drawing import bed_drawing
from .page import html_page, pdf_page, svg_page

Kind = Literal["pdf", "svg", "html"]
KINDS: Final[tuple[Kind, ...]] = ("pdf", "svg", "html")
PaperName = Literal["a4", "letter"]


def kind_of_file(suffix: str) -> Kind | None:
    """Return the kind of sheet a file's ending names, None for no kind."""
    wanted = suffix.casefold().removeprefix(".")
    return next((kind for kind in KINDS if kind == wanted), None)


def sheet_file(
    verdict: Verdict, kind: Kind, system: System, paper: PaperName | None = None
) -> bytes:
    """Return the sheet of a verdict.

    Args:
        verdict: of one job on one machine.
        kind: of file.
        system: units shown first.
        paper: by default Letter for feet and inches, else A4.
    """
    content, drawing = content_of(verdict, system), bed_drawing(verdict, system)
    if kind == "html":
        return html_page(content, drawing).encode()
    size = "us-letter" if (paper or ("letter" if system == "us" else "a4")) == "letter" else "a4"
    return (pdf_page if kind == "pdf" else svg_page)(content, drawing, size)
