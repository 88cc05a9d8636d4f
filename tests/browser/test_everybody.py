"""Every page for everybody: a screen reader, a keyboard alone, a phone, 200 % zoom, the dark."""

import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from house import House, Visit
from playwright.sync_api import Browser, Page, expect

Visits = Callable[..., Visit]
AXE = Axe()
GRAVE = ("serious", "critical")
OF_COLOURS = ("color-contrast", "link-in-text-block")
"""Rules that may say something else in the dark; the other ninety look at no colour."""

PAGES = {
    "ask": "/",
    "ask, answered": "/?section=NPS+12+STD&length=40+ft&parts=1.2+m*3",
    "ask, with questions": "/?section=6+in+pipe&length=40&parts=1.2*3&coating=painted",
    "ask, with errors": "/?section=I-beam&length=six&grade=unobtainium&bow=bent",
    "ask, refused": "/?section=NPS+24+STD&length=12+m&machines=rowan-150",
    "range": "/range?machine=alder-320&against=larch-610&units=us",
    "range, wrong": "/range?machine=alder-320&wall=SCH+999",
    "backlogs": "/backlogs",
    "backlog": "BACKLOG",
    "limits": "/limits",
    "model": "/limits/rowan-150",
    "rules document": "/limits/rules",
    "draft": "DRAFT",
    "submitted": "SUBMITTED",
    "rules": "/rules",
    "rule": "/rules/INER-01",
    "answers": "/answers",
    "answer": "/answers/1",
    "answer today": "/answers/1?see=today",
    "account": "/account",
    "people": "/people",
    "missing": "/nothing",
}
"""Every page, by what it is."""


@pytest.fixture(scope="module")
def places(house: House, browser: Browser) -> dict[str, str]:
    """Addresses of the pages: there is an answer, a backlog, a draft, and one to be approved."""
    visit = Visit(browser, house.url).sign_in("Ravi Stone")
    page = visit.go("/?section=NPS+12+STD&length=40+ft")
    page.get_by_role("button", name="Keep this answer").click()
    page.get_by_role("link", name="Kept as answer").wait_for()
    page = visit.go("/backlogs")
    page.get_by_label("Choose a file").set_input_files({
        "name": "orders.csv", "mimeType": "text/csv",
        "buffer": b"job,section,length\nA,NPS 4 SCH 40,20 ft\nB,NPS 10 XS,12 m\nC,6 in pipe,6 m\n",
    })  # fmt: skip
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("heading", name="Answers")).to_be_visible(timeout=240_000)
    found = {"BACKLOG": page.url}
    for name in ("DRAFT", "SUBMITTED"):
        page = visit.go("/limits/medlar-300")
        page.get_by_label("Reason").fill("for the test")
        page.get_by_role("button", name="Draft it").click()
        file = page.get_by_label("medlar-300.toml")
        file.fill(f"{file.input_value()}# measured anew\n")
        page.get_by_role("button", name="Save the draft").click()
        expect(page.get_by_role("button", name="Submit for approval")).to_be_visible()
        found[name] = page.url
    page.get_by_role("button", name="Submit for approval").click()
    expect(page.locator("h1")).to_contain_text("submitted")
    visit.close()
    return {name: found.get(path, path).removeprefix(house.url) for name, path in PAGES.items()}


def settled(page: Page) -> None:
    """Open everything that is folded away, so that it is looked at too."""
    page.evaluate("document.querySelectorAll('details').forEach((item) => { item.open = true })")
    page.wait_for_timeout(50)


def findings(page: Page, *rules: str) -> list[tuple[str, str, list[Any]]]:
    """Return what is gravely wrong for somebody who sees, hears or moves otherwise.

    By all rules, or by those that are named.
    """
    only = {"runOnly": {"type": "rule", "values": list(rules)}} if rules else None
    found = AXE.run(page, options=only)
    return [
        (item["id"], item["help"], [node["target"] for node in item["nodes"]][:5])
        for item in found.response["violations"]
        if item["impact"] in GRAVE
    ]


IN_THE_DARK = (
    "ask, answered", "ask, with errors", "ask, refused", "range", "backlog", "model", "draft",
    "rule", "people",
)  # fmt: skip
"""Pages that between them have every colour there is; ``--full`` looks at all in the dark."""


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_for_everybody(
    visits: Visits, places: dict[str, str], name: str, *, is_full: bool
) -> None:
    """Nothing grave for axe-core, landmarks, headings in order, names, no sideways scrolling.

    In light and in the dark; at 200 % on a desk and on a phone.
    """
    page = visits("Ravi Stone").go(places[name])
    settled(page)
    assert findings(page) == []
    if is_full or name in IN_THE_DARK:
        page.emulate_media(color_scheme="dark")
        assert findings(page, *OF_COLOURS) == [], "dark"

    assert page.title().endswith(" · cuttable")
    assert page.locator("main").count() == 1
    assert page.locator("h1").count() == 1
    told: list[str] = page.locator("h1, h2, h3, h4").evaluate_all("all => all.map(e => e.tagName)")
    levels = [int(item[1]) for item in told]
    assert all(after - before <= 1 for before, after in pairwise(levels)), levels
    nameless: list[str] = page.locator(
        "main input:not([type=hidden]), main select, main textarea"
    ).evaluate_all(
        "all => all.filter(e => !e.labels?.length && !e.getAttribute('aria-label'))"
        ".map(e => e.outerHTML)"
    )
    assert nameless == []

    for width in (640, 390):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width


@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_the_page_to_sign_in_is_too(visits: Visits, is_dark: bool) -> None:
    """Before and after a wrong password."""
    page = visits(is_dark=is_dark, width=390).go("/sign-in")
    assert findings(page) == []
    page.get_by_label("Name").fill("Nobody")
    page.get_by_label("Password").fill("nothing")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_job_is_asked_on_a_phone(visits: Visits) -> None:
    """What is usual takes no room above the answer, which is below the two fields."""
    page = visits("Ada Quill", width=390).go("/")
    assert not page.get_by_role("checkbox", name="rowan-150").is_visible()
    page.get_by_label("Section", exact=True).fill("NPS 12 STD")
    page.get_by_label("Stock length").fill("40 ft")
    expect(page.locator(".heads li").first).to_contain_text("larch-610")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def at(page: Page, what: str, most: int = 60) -> None:
    """Press Tab until what has the focus bears a name."""
    for _ in range(most):
        page.keyboard.press("Tab")
        told: str = page.evaluate(
            "(() => { const e = document.activeElement; return (e.getAttribute('aria-label') || "
            "e.labels?.[0]?.textContent || e.textContent || '').trim() })()"
        )
        if re.match(what, told):
            style: str = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert style != "none", told
            return
    pytest.fail(f"Tab does not lead to {what}")


def test_a_job_is_asked_kept_and_looked_up_by_keyboard_alone(visits: Visits) -> None:
    """From the skip link to the rule that decides; the focus is seen at every stop."""
    page = visits("Ada Quill").go("/")
    at(page, "Skip to the content")
    page.keyboard.press("Enter")
    at(page, "Section")
    page.keyboard.type("NPS 10 XS", delay=10)
    page.keyboard.press("Escape")
    at(page, "Stock length")
    page.keyboard.type("12 m", delay=10)
    expect(page.locator("p.stock")).to_contain_text("NPS 10 XS")
    at(page, "alder-320")
    page.keyboard.press("Space")
    expect(page.locator("article")).to_have_count(1)
    at(page, "Keep this answer")
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Kept as answer")).to_be_visible()
    at(page, "INER-01")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Rotary inertia above rated")).to_be_visible()


def test_a_draft_is_made_by_keyboard_alone(visits: Visits) -> None:
    """From the list of limits to a reason that is saved."""
    page = visits("Eli Marsh").go("/limits")
    at(page, r"medlar-300$")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Draft a revision")).to_be_visible()
    at(page, "Reason")
    page.keyboard.type("by keyboard")
    at(page, "Draft it")
    page.keyboard.press("Enter")
    expect(page.locator("dl")).to_contain_text("by keyboard")
    at(page, "Withdraw", most=80)
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("withdrawn")


def test_a_printed_answer_leaves_out_what_is_for_the_screen(visits: Visits) -> None:
    """The verdicts, conditions and cautions stay."""
    page = visits("Ada Quill").go("/?section=NPS+12+STD&length=40+ft")
    page.emulate_media(media="print")
    assert not page.locator(".question").is_visible()
    assert not page.get_by_role("navigation").is_visible()
    assert page.locator(".heads").is_visible()
    assert page.locator(".cautions").is_visible()


def test_verdicts_differ_in_shape_and_word_not_in_colour_alone(visits: Visits) -> None:
    """Each mark is another drawing, and its word stands beside it."""
    page = visits("Ada Quill").go("/?section=NPS+12+STD&length=40+ft")
    marks: list[str] = page.locator(".heads svg").evaluate_all(
        "items => items.map(e => e.innerHTML)"
    )
    assert len(set(marks)) == len(marks) == 3
    for item in page.locator(".heads li").all():
        assert re.match(r"\s*(in range|allowed with conditions|refused)", item.inner_text())
    chart = visits("Ada Quill").go("/range?machine=alder-320")
    fills: list[str] = chart.locator("svg.range .edge").evaluate_all(
        "items => items.map(e => e.getAttribute('fill'))"
    )
    assert {"none", "url(#p-maybe)", "url(#p-no)"} <= set(fills)
