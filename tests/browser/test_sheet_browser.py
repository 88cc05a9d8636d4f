"""The sheet's page in a real browser: on a desk, on a phone, on paper.

Needs a Chromium (apt-get install chromium); it is a failure to be without it.
"""

import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import pytest
import typst
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.jobs.fields import JobText
from cuttable.engine.sheet import Content, bed_drawing, content_of
from cuttable.engine.sheet.typesetting import slimmed
from cuttable.engine.sheet.typst_page import typst_source
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

Run = Callable[..., "subprocess.CompletedProcess[str]"]

JOBS: dict[str, tuple[str, str, str, tuple[str, ...]]] = {
    "in-range": ("HSS 6x4x1/4", "20 ft", "medlar-300", ("4 ft*4",)),
    "conditional": ("NPS 10 XS", "12 m", "alder-320", ()),
    "many-parts": ("NPS 24 STD", "18 m", "larch-610", ("0.6 m*2", "0.9 m", "0.6 m*3", "1.1 m*9")),
    "refused": ("NPS 24 STD", "12 m", "rowan-150", ()),
}
LOADED = [name for name in JOBS if name != "refused"]


def opened(browser: Browser, path: Path, width: int) -> tuple[Page, list[str]]:
    """Open a page; what it asks of the network and complains of is collected."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    trouble: list[str] = []
    page.on("console", lambda message: trouble.append(message.text))
    page.on("pageerror", lambda fault: trouble.append(str(fault)))
    page.on(
        "request", lambda asked: trouble.append(asked.url) if asked.url[:5] != "file:" else None
    )
    page.goto(path.as_uri())
    return page, trouble


Opened = Callable[[str, int], tuple[Page, list[str]]]


@pytest.fixture(scope="module")
def shown(browser: Browser, sheets: dict[str, Path]) -> Opened:
    """A page at a width, opened once for all tests that leave it as it is."""
    pages: dict[tuple[str, int], tuple[Page, list[str]]] = {}

    def show(name: str, width: int) -> tuple[Page, list[str]]:
        if (name, width) not in pages:
            pages[name, width] = opened(browser, sheets[name], width)
        return pages[name, width]

    return show


@pytest.fixture(scope="module")
def sheets(whole_process: Run, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages, each made by a real process."""
    folder = tmp_path_factory.mktemp("sheets")
    made: dict[str, Path] = {}
    for name, (section, length, machine, parts) in JOBS.items():
        made[name] = folder / f"{name}.html"
        words = [section, length, "--machine", machine, "--out", str(made[name])]
        for part in parts:
            words += ["--part", part]
        done = whole_process("sheet", *words)
        assert done.returncode == (1 if name == "refused" else 0), done.stderr
    return made


def content(assessor: AssessorCore, name: str) -> Content:
    """Return what must stand on the page."""
    section, length, machine, parts = JOBS[name]
    verdict = assessor.ask(JobText(section, length, parts=parts), [machine]).verdicts[0]
    return content_of(verdict, "us" if length.endswith("ft") else "si")


def plain(text: str) -> str:
    """Return text with every run of blanks as one space."""
    return re.sub(r"\s+", " ", text).strip()


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", JOBS)
def test_the_page_fits_and_asks_for_nothing(shown: Opened, name: str, width: int) -> None:
    """No sideways scrolling of the page, on a phone neither; nothing is fetched, no error."""
    page, trouble = shown(name, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("h1").is_visible()
    assert not trouble


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", JOBS)
def test_the_page_prints_on_one_sheet(
    shown: Opened, assessor: AssessorCore, name: str, paper: str
) -> None:
    """From the headline to the provenance, with margins that printers keep."""
    page, trouble = shown(name, 1280)
    pages = PdfReader(io.BytesIO(page.pdf(format=paper))).pages
    assert len(pages) == 1
    text, wanted = plain(pages[0].extract_text()), content(assessor, name)
    assert text.startswith(wanted.headline)
    assert text.endswith(plain(wanted.provenance))
    left: list[float] = []
    pages[0].extract_text(
        visitor_text=lambda text, place, inner, *_: (
            left.append(inner[4] * place[0] + place[4]) if text.strip() else None
        )
    )
    assert min(left) > 28  # points: 10 mm
    assert not trouble


TOLD = r"""place => [...document.querySelectorAll(place)].map(item => [
  item.checkVisibility() ? item.innerText : "hidden",
  parseFloat(getComputedStyle(item).fontSize),
  item.getBoundingClientRect().height,
])"""


@pytest.mark.parametrize("medium", ["assessor", "phone", "print"])
@pytest.mark.parametrize("name", LOADED)
def test_stations_and_figures_are_shown_large_and_unbroken(
    shown: Opened, assessor: AssessorCore, name: str, medium: Literal["assessor", "phone", "print"]
) -> None:
    """Every number to tape off and to set stands on one line, larger than the text around it."""
    page, _ = shown(name, 390 if medium == "phone" else 1280)
    page.emulate_media(media="print" if medium == "print" else "screen")
    wanted = content(assessor, name)
    ((_, around, _),) = page.evaluate(TOLD, "body")
    for place, expected, larger in (
        ("td b", [row.station.shop for row in wanted.supports], 1.15),
        (".figures b", [item.value.shop for item in wanted.figures], 1.3),
    ):
        told = page.evaluate(TOLD, place)
        assert [plain(text) for text, _, _ in told] == expected
        assert all(size > larger * around for _, size, _ in told)
        assert all(0 < height < 2 * size for _, size, height in told)
    assert page.locator("svg").is_visible()
    page.emulate_media(media="screen")


BROKEN = r"""() => {
  const quantity = /\d'-\d+\s\d+\/\d+"|[\d.]+\s(?:mm|in|kN|N|lbf|lb|kg|%)(?!\w)/g;
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const broken = [];
  let seen = 0;
  for (let node = texts.nextNode(); node; node = texts.nextNode()) {
    if (node.parentElement.closest("svg")) continue;
    for (const found of node.data.matchAll(quantity)) {
      const range = document.createRange();
      range.setStart(node, found.index);
      range.setEnd(node, found.index + found[0].length);
      seen += 1;
      if (new Set([...range.getClientRects()].map(box => box.top)).size > 1) broken.push(found[0]);
    }
  }
  return [seen, broken];
}"""


@pytest.mark.parametrize("width", [1280, 390, 320])
@pytest.mark.parametrize("name", JOBS)
def test_no_quantity_is_broken_between_lines(shown: Opened, name: str, width: int) -> None:
    """7'-2 5/8" whose fraction stands on the next line would be read as 7'-2"."""
    page, _ = shown(name, width)
    seen, broken = page.evaluate(BROKEN)
    assert seen > 10
    assert broken == []


@pytest.mark.parametrize("name", LOADED)
def test_boxes_are_ticked_by_keyboard_alone(
    browser: Browser, sheets: dict[str, Path], assessor: AssessorCore, name: str
) -> None:
    """Tab reaches every box in order, and space ticks it."""
    page, _ = opened(browser, sheets[name], 1280)
    boxes = page.locator("input[type=checkbox]")
    told = content(assessor, name)
    assert boxes.count() == len(told.boxes) + len(told.between) > 0
    for number in range(boxes.count()):
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        assert boxes.nth(number).is_checked()
    page.close()


def test_a_column_that_would_be_empty_is_left_out(shown: Opened) -> None:
    """Flat rests have no centre to set; pairs of rollers have."""
    for name, expected in (("in-range", False), ("conditional", True)):
        page, _ = shown(name, 1280)
        table = page.locator("table").first
        heads = table.locator("th").all_inner_texts()
        assert ("Centre over datum" in heads) is expected
        cells = table.evaluate("table => [...table.rows].map(row => row.cells.length)")
        assert set(cells) == {len(heads) + 1}


def test_a_refused_job_shows_why_and_no_station(shown: Opened) -> None:
    """Nothing on the page could be taken for leave to load it."""
    page, _ = shown("refused", 390)
    text = page.inner_text("body")
    assert text.startswith("Refused: do not load")
    assert "What would fit" in text
    assert "Set up by" not in text
    assert page.locator("table, svg, input, .figures").count() == 0


def test_the_slim_svg_is_drawn_the_same(
    browser: Browser, assessor: AssessorCore, tmp_path: Path
) -> None:
    """Pixel by pixel what Typst made of the page, in about half of the bytes."""
    verdict = assessor.ask(JobText("NPS 10 XS", "12 m"), ["alder-320"]).verdicts[0]
    (tmp_path / "bed.svg").write_text(bed_drawing(verdict, "si"), encoding="utf-8")
    source = tmp_path / "page.typ"
    source.write_text(typst_source(content_of(verdict, "si"), "a4", 9.6), encoding="utf-8")
    made = bytes(typst.compile(str(source), format="svg", ignore_system_fonts=True))
    assert len(slimmed(made)) < 0.6 * len(made)
    shots: list[bytes] = []
    for number, text in enumerate((made, slimmed(made))):
        path = tmp_path / f"{number}.svg"
        path.write_bytes(text)
        page, trouble = opened(browser, path, 900)
        shots.append(page.screenshot())
        assert not trouble
        page.close()
    assert shots[0] == shots[1]
