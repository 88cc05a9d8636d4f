"""Ask: the answer as it is typed, questions asked back, links, units, what goes on from there."""

import re
from collections.abc import Callable

import pytest
from house import House, Visit
from playwright.sync_api import Page, Route, expect

Visits = Callable[..., Visit]


def typed(page: Page, section: str, length: str) -> None:
    """Type a job as people do: key by key."""
    page.get_by_label("Section", exact=True).press_sequentially(section, delay=15)
    page.get_by_label("Stock length").press_sequentially(length, delay=15)


def answered(page: Page, text: str) -> None:
    """Wait for the answer about a stock."""
    expect(page.locator("p.stock")).to_contain_text(text)


def test_a_new_person_learns_which_models_take_a_stock_and_on_what_conditions(
    visits: Visits,
) -> None:
    """From the first page, with nothing read before: type two fields and read."""
    page = visits("Ada Quill").page
    typed(page, "NPS 12 STD", "40 ft")
    answered(page, "NPS 12 STD, 40'-0\"")
    heads = page.locator(".heads li")
    expect(heads).to_have_count(3)
    expect(heads.nth(0)).to_have_text(re.compile(r"in range\s+larch-610"))
    expect(heads.nth(1)).to_have_text(re.compile(r"allowed with conditions\s+alder-320"))
    expect(heads.nth(2)).to_have_text(re.compile(r"refused\s+rowan-150, medlar-300"))
    conditions = page.locator("#on-alder-320 .boxes li")
    assert conditions.filter(has_text="review and sign").is_visible()
    assert conditions.filter(has_text="rapid override to 50 %").is_visible()
    assert page.locator(".cautions li").count() >= 5


def test_the_answer_follows_what_is_typed(visits: Visits) -> None:
    """No button is needed; the address is that of the question, and the status line tells it."""
    page = visits("Ada Quill").page
    typed(page, "NPS 4 SCH 40", "20 ft")
    answered(page, "NPS 4 SCH 40")
    assert "section=NPS+4+SCH+40" in page.url
    expect(page.get_by_role("status").first).to_contain_text("In range on rowan-150")
    page.get_by_label("Stock length").fill("6 m")
    answered(page, "6000 mm")
    page.get_by_role("checkbox", name="rowan-150").check()
    expect(page.locator("article")).to_have_count(1)
    assert "machines=rowan-150" in page.url


def test_the_deciding_numbers_and_the_bed_are_told(visits: Visits) -> None:
    """The limit that decides, every limit's use in words, the bed to scale, what would fit."""
    page = visits("Ada Quill").go("/?section=NPS+10+XS&length=12+m&machines=alder-320")
    card = page.locator("#on-alder-320")
    expect(card.get_by_text("Largest use of a limit: rotary inertia")).to_be_visible()
    row = card.locator("tr.decisive")
    expect(row).to_contain_text("decides")
    expect(row).to_contain_text("127 % over")
    expect(card.get_by_role("img", name=re.compile("Stock of 12000 mm"))).to_be_visible()
    expect(card).to_contain_text("in range 800 mm to 8447 mm")


def test_a_refused_job_shows_no_bed_and_no_stations(visits: Visits) -> None:
    """They would be taken for leave to load it."""
    page = visits("Ada Quill").go("/?section=NPS+24+STD&length=12+m&machines=rowan-150")
    card = page.locator("#on-rowan-150")
    expect(card).to_contain_text("Smallest model that has this job in range: larch-610.")
    card.locator("summary").click()
    assert card.locator(".bed").count() == 0
    assert card.get_by_role("heading", name="Supports").count() == 0


def test_questions_are_asked_back_beside_their_fields(visits: Visits) -> None:
    """Each choice is a button that fills its field; together they lead to the answer."""
    page = visits("Ada Quill").page
    typed(page, "6 in pipe", "40")
    expect(page.locator("#note-section")).to_contain_text("Which schedule or wall")
    expect(page.locator("#note-length")).to_contain_text("In which unit is the length '40'?")
    assert page.locator(".heads").count() == 0
    page.get_by_role("button", name="40 ft", exact=True).click()
    expect(page.get_by_label("Stock length")).to_have_value("40 ft")
    expect(page.get_by_label("Stock length")).to_be_focused()
    page.get_by_role("button", name="NPS 6 SCH 80").click()
    answered(page, "NPS 6 SCH 80, 40'-0\"")


def test_a_question_about_one_of_several_parts_changes_that_part(visits: Visits) -> None:
    """The others stay as they were typed."""
    page = visits("Ada Quill").page
    typed(page, "NPS 6 SCH 80", "6 m")
    page.get_by_text("More about the job").click()
    page.get_by_label("Parts to cut").fill("1 m*2; 0.5")
    page.get_by_role("button", name="0.5 m", exact=True).click()
    expect(page.get_by_label("Parts to cut")).to_have_value("1 m*2; 0.5 m")
    expect(page.locator("#on-alder-320")).to_contain_text("Parts as they come free")


def test_errors_stand_beside_the_field_they_belong_to(visits: Visits) -> None:
    """All at once, with the remedy; no old answer stays beside them."""
    page = visits("Ada Quill").page
    typed(page, "NPS 6 SCH 80", "6 m")
    answered(page, "NPS 6 SCH 80")
    page.get_by_label("Stock length").fill("six")
    page.get_by_label("Grade", exact=True).fill("unobtainium")
    expect(page.locator("#note-length .error")).to_be_visible()
    expect(page.locator("#note-grade .error")).to_be_visible()
    assert page.get_by_label("Stock length").get_attribute("aria-invalid") == "true"
    assert page.locator(".heads").count() == 0
    page.get_by_role("link", name="length").click()
    expect(page.get_by_label("Stock length")).to_be_focused()


def test_suggestions_work_from_the_keyboard(visits: Visits) -> None:
    """Arrow keys choose, Enter takes, Escape leaves what was typed."""
    page = visits("Ada Quill").page
    field = page.get_by_label("Section", exact=True)
    field.press_sequentially("hss 6x4", delay=15)
    listed = page.get_by_role("listbox", name="Section: suggestions")
    expect(listed).to_be_visible()
    field.press("Escape")
    expect(listed).to_be_hidden()
    expect(field).to_have_value("hss 6x4")
    field.press("ArrowDown")
    expect(listed).to_be_visible()
    field.press("ArrowDown")
    chosen = listed.get_by_role("option", selected=True)
    expect(chosen).to_have_count(1)
    assert field.get_attribute("aria-activedescendant") == chosen.get_attribute("id")
    field.press("Enter")
    assert field.input_value().startswith("HSS 6x4")
    page.get_by_label("Stock length").fill("20 ft")
    answered(page, "HSS 6x4")


def test_units_switch_in_place(visits: Visits) -> None:
    """The same answer in the other units; the link keeps the choice."""
    page = visits("Ada Quill").go("/?section=NPS+4+SCH+40&length=20+ft")
    answered(page, "20'-0\" (6096 mm)")
    page.get_by_label("mm, kg").check()
    answered(page, "6096 mm (20'-0\")")
    assert "units=si" in page.url
    page.reload()
    answered(page, "6096 mm (20'-0\")")
    expect(page.get_by_label("mm, kg")).to_be_checked()


def test_a_link_that_is_shared_asks_the_same(visits: Visits) -> None:
    """Everything that was said is in the address, for somebody else in other units too."""
    page = visits("Ada Quill").page
    typed(page, "HSS 6x4x1/4", "20 ft")
    page.get_by_text("More about the job").click()
    page.get_by_label("Parts to cut").fill("4 ft*4")
    page.get_by_label("Coating").select_option("galvanised")
    expect(page.locator("#on-medlar-300")).to_contain_text("Parts as they come free")
    page.get_by_text("Pass it on").click()
    link = page.get_by_label("Link to share").input_value()
    before = page.locator(".provenance").inner_text()
    other = visits("Pia Holm").page
    other.goto(link)
    assert other.locator(".provenance").inner_text() == before
    expect(other.get_by_label("Parts to cut")).to_have_value("4 ft*4")
    expect(other.get_by_label("Coating")).to_have_value("galvanised")


def test_the_mail_says_no_more_than_the_verdict(visits: Visits) -> None:
    """Every condition and what was taken for granted; no word of an offer."""
    page = visits("Ada Quill").go("/?section=NPS+12+STD&length=40+ft")
    page.get_by_text("Pass it on").click()
    text = page.get_by_label("To mail to the customer").input_value()
    assert "alder-320" in text
    assert "only under these conditions:" in text
    for box in page.locator("#on-alder-320 .boxes li").all_inner_texts():
        assert f"- {box}" in text
    assert "Grade not stated" in text
    assert "not a release and no offer" in text


def test_the_sheet_comes_as_a_file_and_as_a_page(visits: Visits) -> None:
    """Of the model it stands beside."""
    visit = visits("Ada Quill")
    page = visit.go("/?section=NPS+4+SCH+40&length=20+ft&machines=rowan-150")
    href = page.get_by_role("link", name="PDF").get_attribute("href")
    made = visit.context.request.get(f"{visit.url}{href}")
    assert made.headers["content-type"] == "application/pdf"
    assert made.body().startswith(b"%PDF")
    page.get_by_role("link", name="page to print").click()
    expect(page.get_by_role("heading", name="In range")).to_be_visible()


def test_an_answer_is_kept_and_found_again(visits: Visits) -> None:
    """The number is shown in place; the answer is the same to the byte, and today."""
    page = visits("Ada Quill").go("/?section=NPS+8+SCH+40&length=6+m")
    page.get_by_role("button", name="Keep this answer").click()
    page.get_by_role("link", name="Kept as answer").click()
    expect(page.get_by_role("heading", name=re.compile(r"Answer \d+"))).to_be_visible()
    expect(page.locator("main")).to_contain_text("Given to Ada Quill")
    page.get_by_role("link", name="Work it out again").click()
    expect(page.get_by_role("status")).to_contain_text("The same to the byte")
    page.get_by_role("link", name="Today", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("Today the answer is the same.")
    page.get_by_role("link", name="Ask it anew").click()
    answered(page, "NPS 8 SCH 40, 6000 mm")


def test_it_works_without_scripts(visits: Visits) -> None:
    """The form is sent, choices fill their fields, an answer is kept."""
    page = visits("Ada Quill", has_scripts=False).page
    page.get_by_label("Section", exact=True).fill("NPS 6 SCH 80")
    page.get_by_label("Stock length").fill("6")
    page.get_by_role("button", name="Ask", exact=True).click()
    page.get_by_role("button", name="6 m", exact=True).click()
    answered(page, "NPS 6 SCH 80, 6000 mm")
    page.get_by_role("button", name="Keep this answer").click()
    expect(page.get_by_role("status").first).to_contain_text("Kept as answer")


SCRIPT = "<img src=x onerror=alert(1)>'\"</textarea><script>alert(1)</script>"


@pytest.mark.parametrize("name", [
    "section", "length", "grade", "parts", "cuts", "stations", "bow", "off_axis", "behind",
    "ends", "contents", "coating", "grip", "fitted", "machines", "units",
])  # fmt: skip
def test_script_text_is_shown_as_text(visits: Visits, name: str) -> None:
    """In every field of the question, in the answer and in the status line."""
    visit = visits("Ada Quill")
    visit.page.on("dialog", lambda asked: visit.trouble.append(asked.message))
    known = {"section": "NPS 4 SCH 40", "length": "20 ft"} | {name: SCRIPT}
    from urllib.parse import urlencode

    page = visit.go(f"/?{urlencode(known)}")
    assert page.locator("main img, main script").count() == 0
    if name == "units":  # what is no unit is left out
        answered(page, "NPS 4 SCH 40")
    else:
        expect(page.locator(f"#note-{name} .error, #note-{name} .question").first).to_be_visible()
    page.get_by_label("Stock length").fill("21 ft")
    page.wait_for_timeout(400)
    assert page.locator("main img, main script").count() == 0


def test_the_latest_question_wins(visits: Visits) -> None:
    """However the answers come in: the one shown is that of what stands in the fields."""
    visit = visits("Ada Quill")
    page = visit.page
    slow: list[str] = []

    def hold(route: Route) -> None:
        url = route.request.url
        if "length=7+m" in url or "length=7%20m" in url:
            slow.append(url)
            page.wait_for_timeout(600)
        route.continue_()

    page.route("**/ask/answer?**", hold)
    page.get_by_label("Section", exact=True).fill("NPS 4 SCH 40")
    page.get_by_label("Stock length").fill("7 m")
    page.wait_for_timeout(250)
    page.get_by_label("Stock length").fill("5 m")
    answered(page, "5000 mm")
    page.wait_for_timeout(700)
    answered(page, "5000 mm")
    assert slow


def test_an_open_page_answers_and_keeps_nothing(visits: Visits, open_house: House) -> None:
    """No account, no button to keep; a form that tries it anyhow is refused with words."""
    visit = visits(url=open_house.url)
    page = visit.go("/?section=NPS+4+SCH+40&length=20+ft")
    answered(page, "NPS 4 SCH 40")
    assert page.get_by_role("button", name="Keep this answer").count() == 0
    assert page.get_by_role("link", name="Sign in").count() == 0
    sent = visit.context.request.post(f"{visit.url}/ask/keep", form={"query": "section=NPS+4"})
    assert sent.status in (403, 422)
