"""The sheet's page in a real browser: on a desk, on a phone, on paper.

Needs Debian's Chromium (apt-get install chromium); it is a failure to be without it.
"""

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

Run = Callable[..., "subprocess.CompletedProcess[str]"]
CHROMIUM = Path("/usr/bin/chromium")
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip

JOBS = {
    "in-range": ["HSS 6x4x1/4", "20 ft", "--machine", "medlar-300", "--part", "4 ft*4"],
    "conditional": ["NPS 10 XS", "12 m", "--machine", "alder-320"],
    "refused": ["NPS 24 STD", "12 m", "--machine", "rowan-150"],
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all pages."""
    assert CHROMIUM.exists(), "these tests need a browser: apt-get install chromium"
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=str(CHROMIUM), args=QUIET)
        yield found
        found.close()


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


@pytest.fixture(scope="module")
def sheets(cuttable: Run, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages, each made by a real process."""
    folder = tmp_path_factory.mktemp("sheets")
    made: dict[str, Path] = {}
    for name, words in JOBS.items():
        made[name] = folder / f"{name}.html"
        done = cuttable("sheet", *words, "--out", str(made[name]))
        assert done.returncode == (1 if name == "refused" else 0), done.stderr
    return made


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", JOBS)
def test_the_page_fits_and_asks_for_nothing(
    browser: Browser, sheets: dict[str, Path], name: str, width: int
) -> None:
    """No sideways scrolling of the page, on a phone neither; nothing is fetched, no error."""
    page, trouble = opened(browser, sheets[name], width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("h1").is_visible()
    assert not trouble
    page.close()


@pytest.mark.parametrize("name", ["in-range", "conditional"])
def test_boxes_are_ticked_by_keyboard_alone(
    browser: Browser, sheets: dict[str, Path], name: str
) -> None:
    """Tab reaches every box in order, and space ticks it."""
    page, _ = opened(browser, sheets[name], 1280)
    boxes = page.locator("input[type=checkbox]")
    for number in range(boxes.count()):
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
        assert boxes.nth(number).is_checked()
    assert boxes.count() > 0
    page.close()


def test_stations_and_figures_are_large_enough_to_read(
    browser: Browser, sheets: dict[str, Path]
) -> None:
    """Numbers to tape off stand out from the text around them, on paper too."""
    page, _ = opened(browser, sheets["conditional"], 1280)
    for medium in ("screen", "print"):
        page.emulate_media(media=medium)
        sizes = page.evaluate(
            "['.figures b', 'td b', 'body'].map(x => "
            "parseFloat(getComputedStyle(document.querySelector(x)).fontSize))"
        )
        assert sizes[0] > 1.3 * sizes[2]
        assert sizes[1] > 1.15 * sizes[2]
    assert page.locator("svg").is_visible()
    page.close()


def test_a_refused_job_shows_why_and_no_station(browser: Browser, sheets: dict[str, Path]) -> None:
    """Nothing on the page could be taken for leave to load it."""
    page, _ = opened(browser, sheets["refused"], 390)
    text = page.inner_text("body")
    assert text.startswith("Refused: do not load")
    assert "What would fit" in text
    assert page.locator("table").count() == 0
    assert page.locator("svg").count() == 0
    page.close()
