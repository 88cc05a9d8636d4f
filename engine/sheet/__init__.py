"""The set-up sheet: one page that an operator works from, as PDF, SVG or HTML.

All three are made from the same content (:mod:`cuttable.engine.sheet.content`), and the bed
drawing is one SVG in each of them.
"""

from .content import Content, content_of
from .drawing import bed_drawing
from .html_page import html_page
from .typst_page import pdf_page, svg_page

__all__ = ["Content", "bed_drawing", "content_of", "html_page", "pdf_page", "svg_page"]
