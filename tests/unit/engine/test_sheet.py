"""The set-up sheet: one page, the same content in every form."""

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest
from cuttable.engine.answer.document import Answer
from cuttable.engine.answer.wording import System
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.sheet import bed_drawing, content_of, html_page, pdf_page, svg_page
from cuttable.engine.sheet.drawing import HEIGHT, WIDTH
from pypdf import PdfReader

CORE = AssessorCore()
SVG, LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"

JOBS: dict[str, tuple[str, str, str, dict[str, Any]]] = {
    "smallest": ("NPS 1 SCH 40", "0.6 m", "rowan-150", {}),
    "parts": ("NPS 4 SCH 40", "20 ft", "rowan-150", {"parts": ["4 ft*3"]}),
    "longest": ("NPS 24 STD", "18 m", "larch-610", {"parts": ["0.6 m*20"]}),
    "many parts": ("NPS 2 SCH 40", "6 m", "rowan-150", {"parts": ["0.1 m*40"]}),
    "square": ("SHS 200x8 hf", "9 m", "medlar-300", {"cuts": ["4 m"], "coating": "galvanised"}),
    "refused": ("NPS 10 XS", "12 m", "rowan-150", {}),
    "given stations": ("NPS 4 SCH 40", "6 m", "rowan-150",
                       {"stations": ["1650 mm", "3450 mm", "5250 mm"]}),
    "all said": ("NPS 5 SCH 40", "6.5 m", "rowan-150",
                 {"parts": ["0.9 m*2", "0.45 m*4", "0.2 m*5"], "grade": "304",
                  "coating": "oily", "off_axis": "2 kg @ 80 mm", "ends": "flanged"}),
}  # fmt: skip


def verdict_of(name: str) -> Answer:
    """Ask one of the jobs."""
    section, length, machine, more = JOBS[name]
    return CORE.ask(JobText(section, length, **more), [machine]).verdicts[0]


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", JOBS)
def test_the_pdf_is_one_page_with_text_that_can_be_selected(name: str, system: System) -> None:
    """Verdict, stock, every station, every box and the provenance can be read out of it."""
    verdict = verdict_of(name)
    content = content_of(verdict, system)
    made = pdf_page(content, bed_drawing(verdict, system), "a4" if system == "si" else "us-letter")
    reader = PdfReader(io.BytesIO(made))
    assert len(reader.pages) == 1
    text = _plain(reader.pages[0].extract_text())
    for wanted in (content.headline, content.stock, verdict.id, "Cautions.", *content.fields):
        assert _plain(wanted) in text
    for row in content.supports:
        assert _plain(row.station.shop) in text
    for box in content.boxes:
        assert _plain(box) in text
    for caution in content.cautions:
        assert _plain(caution) in text


def _plain(text: str) -> str:
    """Drop what line breaks and typographic quotes change."""
    for fancy, simple in (("’", "'"), ("‘", "'"), ("”", '"'), ("“", '"'), ("−", "-"), ("ﬁ", "fi"),
                          ("ﬂ", "fl"), ("ﬀ", "ff"), ("ﬃ", "ffi")):  # fmt: skip
        text = text.replace(fancy, simple)
    return re.sub(r"[\s\u00ad-]+", "", text)


def test_the_svg_is_one_page_too() -> None:
    """A page of its own, whose letters all have their outline."""
    verdict = verdict_of("parts")
    made = svg_page(content_of(verdict, "us"), bed_drawing(verdict, "us"), "us-letter")
    root = ET.fromstring(made)  # noqa: S314 - our own file
    outlines = {item.get("id") for item in root.iter(f"{SVG}path") if item.get("id")}
    letters = [item.get(LINK, "") for item in root.iter(f"{SVG}use")]
    assert {name.removeprefix("#") for name in letters} == outlines
    assert len(letters) > 1000


@pytest.mark.parametrize("name", JOBS)
def test_the_html_says_the_same_and_needs_nothing_from_outside(name: str) -> None:
    """Every text of the content is in it, escaped; no address is fetched."""
    verdict = verdict_of(name)
    content = content_of(verdict, "si")
    page = html_page(content, bed_drawing(verdict, "si"))
    collector = _Texts()
    collector.feed(page)
    text = _plain(" ".join(collector.texts))
    for wanted in (content.stock, *content.boxes, *content.cautions, *content.sequence):
        assert _plain(wanted) in text
    addresses = set(re.findall(r"https?://[^'\" >]+", page))
    assert addresses <= {"http://www.w3.org/2000/svg"}
    assert "<script" not in page


class _Texts(HTMLParser):
    """Collects the texts of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def handle_data(self, data: str) -> None:
        """Keep a text."""
        self.texts.append(data)


@pytest.mark.parametrize("name", JOBS)
def test_labels_of_the_drawing_stay_inside_and_apart(name: str) -> None:
    """Stations of one line are no nearer than a label is wide."""
    drawing = bed_drawing(verdict_of(name), "us")
    bold = re.findall(
        r"<text x='([\d.]+)' y='([\d.]+)' font-size='15' text-anchor='middle' font-weight='bold'",
        drawing,
    )
    places = [(float(y), float(x)) for x, y in bold]
    for (y, x), (other_y, other_x) in zip(sorted(places), sorted(places)[1:], strict=False):
        assert y != other_y or other_x - x >= 70
    for y, x in places:
        assert 0 <= x <= WIDTH
        assert 0 <= y <= HEIGHT


def test_a_refused_job_says_not_to_load() -> None:
    """The headline of the page is the first thing read."""
    content = content_of(verdict_of("refused"), "si")
    assert "do not load" in content.headline
    assert content.reasons
    given = (content.figures, content.supports, content.parts, content.sequence, content.boxes)
    assert not any(given), "a refused job must not read as a loading instruction"
    assert "Set up by" not in content.fields
    assert "Set up by" in content_of(verdict_of("parts"), "si").fields


def test_parts_alike_are_told_once() -> None:
    """Twenty equal parts are a few rows, and their number adds up."""
    content = content_of(verdict_of("longest"), "si")
    assert sum(int(row.how_many) for row in content.parts) == 20
    assert len(content.parts) <= 13


def test_text_that_looks_like_markup_is_set_as_text() -> None:
    """A machine's title cannot break the page."""
    verdict = verdict_of("parts")
    title = '#eval("x") *bold* $x$ <b> [y] \\ // `z` @ref ~'
    machine = replace(verdict.machine, title=title)
    content = content_of(replace(verdict, machine=machine), "si")
    made = pdf_page(content, bed_drawing(verdict, "si"), "a4")
    assert _plain(title) in _plain(PdfReader(io.BytesIO(made)).pages[0].extract_text())
    assert "<b>" not in html_page(content, "").split("</header>")[0].split("<header>")[1][20:]
