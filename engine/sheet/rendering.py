"""A set-up sheet as a file of the kind asked for."""

from pathlib import Path
from typing import Final, Literal

from ...catalogue.errors import InputError
from ..answer.document import Answer, PaperName
from ..answer.wording import System
from .content import content_of
from .drawing import bed_drawing
from .html_page import html_page
from .typst_page import pdf_page, svg_page

Kind = Literal["pdf", "svg", "html"]
KINDS: Final[tuple[Kind, ...]] = ("pdf", "svg", "html")


def kind_of_file(path: Path) -> Kind:
    """Return the kind of sheet a file's ending names.

    Raises:
        InputError: ``choice-unknown`` for an ending of no kind.
    """
    wanted = path.suffix.casefold().removeprefix(".")
    for kind in KINDS:
        if kind == wanted:
            return kind
    raise InputError(
        "choice-unknown", f"{path.name!r} is no kind of sheet",
        remedy=f"End the file name in {', '.join(f'.{item}' for item in KINDS)}.",
    )  # fmt: skip


def sheet_file(answer: Answer, kind: Kind, system: System, paper: PaperName | None = None) -> bytes:
    """Return the sheet of an answer.

    Args:
        answer: of one job on one machine.
        kind: of file.
        system: units shown first.
        paper: by default Letter for feet and inches, else A4.
    """
    content, drawing = content_of(answer, system), bed_drawing(answer, system)
    if kind == "html":
        return html_page(content, drawing).encode()
    size = "us-letter" if (paper or ("letter" if system == "us" else "a4")) == "letter" else "a4"
    return (pdf_page if kind == "pdf" else svg_page)(content, drawing, size)
