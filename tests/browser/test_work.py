"""Range, backlog, limits, rules: what product managers and engineers do."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from house import House, Visit
from playwright.sync_api import Page, expect

Visits = Callable[..., Visit]

ORDERS = """order no,size,length,mat,qty,parts
A-101,NPS 4 SCH 40,20 ft,A106 B,3,
A-102,NPS 10 XS,12 m,,1,
A-103,SHS 100x5 cf,6 m,,2,3*1.2 m + 0.4 m
A-104,6 in pipe,6 m,,1,
"<script>alert(1)</script>",NPS 8 SCH 80,5 m,,4,
"""


@pytest.fixture(scope="module")
def orders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small backlog."""
    path = tmp_path_factory.mktemp("orders") / "orders.csv"
    path.write_text(ORDERS)
    return path


def sent(visit: Visit, path: Path) -> Page:
    """Send a backlog and wait until it is answered."""
    page = visit.go("/backlogs")
    page.get_by_label("Choose a file").set_input_files(path)
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("heading", name="Answers")).to_be_visible(timeout=240_000)
    return page


# --- range --------------------------------------------------------------------------------


def test_a_field_of_the_range_tells_what_decides_and_leads_to_its_question(visits: Visits) -> None:
    """Pointing tells; a click asks the length under the pointer."""
    page = visits("Ada Quill").go("/range?machine=alder-320")
    field = page.get_by_role("link", name=re.compile("^NPS 10 SCH 40, .*allowed with conditions"))
    field.hover()
    told = page.locator("#said")
    expect(told).to_contain_text("NPS 10 SCH 40")
    expect(told).to_contain_text("allowed with conditions")
    expect(told).to_contain_text("click asks")
    field.click()
    expect(page.locator(".heads li")).to_have_text(re.compile(r"allowed with conditions\s+alder"))
    expect(page.get_by_label("Section", exact=True)).to_have_value("NPS 10 SCH 40")


def test_the_range_is_walked_with_arrow_keys(visits: Visits) -> None:
    """One stop of the Tab key; Enter leads to the question of the field."""
    page = visits("Ada Quill").go("/range?machine=rowan-150&units=us")
    assert page.locator("svg.range a[tabindex='0']").count() == 1
    page.locator("svg.range a[tabindex='0']").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#said")).to_contain_text("in range")
    page.keyboard.press("Enter")
    expect(page.locator(".heads li")).to_have_text(re.compile(r"in range\s+rowan-150"))


def test_the_range_is_a_table_too_and_in_both_units(visits: Visits) -> None:
    """For who does not see the picture; two models stand beside each other."""
    page = visits("Ada Quill").go("/range?machine=alder-320&against=larch-610")
    assert page.locator("svg.range").count() == 2
    page.get_by_text("larch-610 as a table").click()
    row = page.get_by_role("row", name=re.compile("NPS 24 SCH 40"))
    expect(row.first).to_contain_text("mm")
    page.get_by_role("link", name="in, lb").click()
    expect(page.locator("svg.range").first).to_contain_text("40 ft")
    assert "against=larch-610" in page.url


def test_a_range_that_cannot_be_drawn_says_why(visits: Visits) -> None:
    """In place, with the walls there are; what was typed stays."""
    page = visits("Ada Quill").go("/range?machine=alder-320&wall=SCH+999")
    expect(page.get_by_role("alert")).to_contain_text("No pipe has the wall")
    expect(page.get_by_label("Wall or schedule")).to_have_value("SCH 999")


# --- backlog ------------------------------------------------------------------------------


def test_a_backlog_is_sent_watched_filtered_sorted_and_taken_away(
    visits: Visits, orders: Path
) -> None:
    """From the file to the file."""
    visit = visits("Ada Quill")
    page = sent(visit, orders)
    expect(page.locator(".lead")).to_contain_text("5 jobs")
    expect(page.get_by_role("table", name="Jobs")).to_contain_text("in range")
    answers = page.locator("#answers")
    expect(answers.get_by_role("status")).to_have_text("20 answers")
    assert answers.locator("script").count() == 0
    page.get_by_label("Verdict").select_option("refused")
    page.get_by_label("Model").select_option("rowan-150")
    page.get_by_role("button", name="Show").click()
    expect(answers.locator("tbody tr").first).to_contain_text("refused")
    assert set(answers.locator("tbody td.code").all_inner_texts()) == {"rowan-150"}
    page.get_by_role("link", name="Used", exact=True).click()
    expect(page.get_by_role("columnheader", name=re.compile("^Used ↑"))).to_be_visible()
    page.get_by_role("link", name=re.compile("^Used ↑")).click()
    expect(page.locator("th[aria-sort=descending]")).to_contain_text("Used")
    page.get_by_label("Job, rule, error").fill("A-102")
    page.get_by_role("button", name="Show").click()
    expect(answers.get_by_role("status")).to_have_text("1 answer")
    for words, begins in (("CSV", b'"row","job"'), ("Excel", b"PK"), ("Parquet", b"PAR1"),
                          ("JSON Lines", b"{")):  # fmt: skip
        with page.expect_download() as coming:
            page.get_by_role("link", name=words, exact=True).click()
        path = coming.value.path()
        assert path.read_bytes().removeprefix(b"\xef\xbb\xbf").startswith(begins), words


def test_a_backlog_without_a_machine_of_that_kind_is_refused_in_place(
    visits: Visits, tmp_path: Path
) -> None:
    """A file of another kind, and an empty one."""
    visit = visits("Ada Quill")
    for name, content, told in (("orders.pdf", b"%PDF-1.4", "is no kind of backlog"),
                                ("empty.csv", b"", "the file is empty")):  # fmt: skip
        path = tmp_path / name
        path.write_bytes(content)
        page = visit.go("/backlogs")
        page.get_by_label("Choose a file").set_input_files(path)
        page.get_by_role("button", name="Send").click()
        expect(page.get_by_role("alert")).to_contain_text(re.compile(told, re.IGNORECASE))


def test_a_backlog_that_cannot_be_read_says_what_is_wrong(visits: Visits, tmp_path: Path) -> None:
    """With the problem of the file, on its page; it can be forgotten."""
    path = tmp_path / "odd.csv"
    path.write_text("colour,shape\nred,round\n")
    visit = visits("Ada Quill")
    page = visit.go("/backlogs")
    page.get_by_label("Choose a file").set_input_files(path)
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("alert")).to_be_visible(timeout=240_000)
    page.get_by_role("button", name="Forget it").click()
    expect(page.get_by_role("heading", name="A whole backlog")).to_be_visible()


def test_a_backlog_of_somebody_else_is_not_there(visits: Visits, orders: Path) -> None:
    """Its page says that there is no such backlog."""
    url = sent(visits("Eli Marsh"), orders).url
    page = visits("Ada Quill").page
    page.goto(url)
    expect(page.locator("main")).to_contain_text("There is no backlog")


# --- limits -------------------------------------------------------------------------------


def drafted(page: Page) -> None:
    """Edit the draft that is shown; what the ledger refuses is told beside the step."""
    file = page.get_by_label("rowan-150.toml")
    text = file.input_value()
    assert '"280 kg"' in text
    page.get_by_role("button", name="Submit for approval").click()
    expect(page.get_by_role("alert")).to_contain_text("Edit the file first")
    file.fill(text.replace('"280 kg"', '"250 kg"'))
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_role("button", name="Submit for approval").click()
    expect(page.get_by_role("alert")).to_contain_text("Say why in the field for the reason.")
    page.get_by_label("Reason").fill("bearing worn <b>bold</b>")
    page.get_by_role("button", name="Save the draft").click()
    row = page.get_by_role("row", name=re.compile("limits, stock mass, rated"))
    expect(row).to_contain_text("-30 kg, -10.7 %")
    expect(page.locator("dl")).to_contain_text("bearing worn <b>bold</b>")


def looked_at(page: Page) -> None:
    """Work out what the draft would change over the backlog."""
    page.get_by_label("Over the jobs of").select_option(label="orders.csv (5 rows)")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("link", name=re.compile("watch|see why")).click()
    expect(page.get_by_role("heading", name="Impact of rowan-150/2")).to_be_visible(timeout=240_000)
    page.get_by_role("link", name="rowan-150/2", exact=True).click()
    expect(page.locator("main")).to_contain_text("5 jobs of orders.csv")


def given_back(page: Page) -> None:
    """Give the revision back, which needs a reason."""
    page.get_by_role("link", name="rowan-150/2").click()
    page.get_by_role("button", name="Give it back to Eli Marsh").click()
    expect(page.get_by_role("alert")).to_contain_text("Say why")
    page.get_by_role("region", name="Give back").get_by_label("Why").fill("which bearing?")
    page.get_by_role("button", name="Give it back to Eli Marsh").click()
    expect(page.locator("h1")).to_contain_text("draft")


def approved(page: Page) -> None:
    """Approve the revision, not for a day that is past."""
    page.get_by_label("To take effect on").fill("2001-01-01")
    page.get_by_role("button", name="Approve").click()
    expect(page.get_by_role("alert")).to_contain_text("past")
    page.get_by_label("To take effect on").fill("")
    page.get_by_role("button", name="Approve").click()
    expect(page.locator("h1")).to_contain_text("approved")


def test_a_change_of_limits_from_draft_to_approval(visits: Visits, orders: Path) -> None:
    """Drafted, edited, looked at, submitted; given back and brought again; approved by another."""
    engineer, approver = visits("Eli Marsh"), visits("Pia Holm")
    sent(engineer, orders)
    page = engineer.go("/limits/rowan-150")
    expect(page.get_by_role("row", name=re.compile("^stock mass"))).to_contain_text("280 kg")
    page.get_by_role("button", name="Draft it").click()
    drafted(page)
    looked_at(page)
    page.get_by_role("button", name="Submit for approval").click()
    expect(page.locator("main")).to_contain_text("You had a hand in it")
    here = page.url

    other = approver.go("/limits")
    given_back(other)
    page.goto(here)
    page.get_by_label("Evidence").fill("spindle bearing, measured")
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_role("button", name="Submit for approval").click()
    other.goto(here)
    approved(other)

    # who did what and why; the answers of today are of the new limit
    other.goto(f"{approver.url}/limits/rowan-150")
    journal = other.get_by_role("region", name="Who did what")
    expect(journal).to_contain_text("Pia Holm gave back revision 2: which bearing?")
    expect(journal).to_contain_text("Pia Holm approved revision 2")
    expect(other.get_by_role("row", name=re.compile("^stock mass"))).to_contain_text("250 kg")


def test_a_file_that_is_wrong_is_told_line_by_line(visits: Visits) -> None:
    """Every problem of it, and what was typed stays."""
    page = visits("Eli Marsh").go("/limits/medlar-300")
    page.get_by_role("button", name="Draft it").click()
    file = page.get_by_label("medlar-300.toml")
    file.fill(file.input_value().replace("rated ", "rates ", 2))
    page.get_by_label("Reason").fill("a try")
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_role("button", name="Submit for approval").click()
    expect(page.get_by_role("alert").locator("li").first).to_be_visible()
    page.get_by_role("region", name="Give it up").get_by_label("Why").fill("was a try")
    page.get_by_role("button", name="Withdraw").click()
    expect(page.locator("h1")).to_contain_text("withdrawn")


def test_an_approval_can_be_without_a_report_and_taken_back(visits: Visits) -> None:
    """With a reason and a date to come; revoked before it."""
    page = visits("Eli Marsh").go("/limits/larch-610")
    page.get_by_label("Reason").fill("bed lengthened")
    page.get_by_role("button", name="Draft it").click()
    file = page.get_by_label("larch-610.toml")
    file.fill(file.input_value().replace("\nbuilder", "\n# lengthened\nbuilder", 1))
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_role("button", name="Submit for approval").click()
    here = page.url
    other = visits("Pia Holm").page
    other.goto(here)
    other.get_by_label("To take effect on").fill("2099-01-01")
    other.get_by_role("button", name="Approve").click()
    expect(other.get_by_role("alert")).to_contain_text("Make the report of its impact")
    other.get_by_label("Without a report, because").fill("a comment only")
    other.get_by_role("button", name="Approve").click()
    expect(other.locator("dl")).to_contain_text("in force from 2099-01-01")
    other.get_by_label("Why").fill("too early")
    other.get_by_role("button", name="Revoke it").click()
    expect(other.locator("h1")).to_contain_text("revoked")


def test_a_site_is_drafted_from_nothing(visits: Visits) -> None:
    """Its name and its file; a name that cannot be is told, and the file stays."""
    page = visits("Eli Marsh").go("/limits")
    page.get_by_text("A new model or site").click()
    page.get_by_label("Name").fill("rowan 150@north yard")
    text = 'schema = 1\nmodel = "rowan-150"\noverlay = "north"\ntitle = "north yard"\n'
    page.get_by_label("File (TOML)").fill(text)
    page.get_by_label("Reason").fill("what stands there")
    page.get_by_role("button", name="Draft it").click()
    expect(page.get_by_role("alert")).to_contain_text("cannot be the name")
    expect(page.get_by_label("File (TOML)")).to_have_value(text)
    page.get_by_label("Name").fill("rowan-150@north")
    page.get_by_role("button", name="Draft it").click()
    expect(page.locator("h1")).to_contain_text("rowan-150@north/1")


# --- rules --------------------------------------------------------------------------------


def test_rules_are_found_and_tell_which_cases_prove_them(visits: Visits) -> None:
    """By a word of theirs; each with condition, reason, basis, what lifts it, cases."""
    page = visits("Ada Quill").go("/rules")
    page.get_by_label("Find").fill("inertia above rated")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="INER-01").click()
    main = page.locator("main")
    for words in ("rotary_inertia > limit.rotary_inertia.rated", "Because", "Basis",
                  "May be wrong when", "Builder's review"):  # fmt: skip
        expect(main).to_contain_text(words)
    expect(page.locator("tbody tr").filter(has_text="just above the rated limit")).to_be_visible()


def test_an_answer_of_before_a_change_tells_what_is_different_today(
    visits: Visits, house: House
) -> None:
    """Which model, which verdict, and the revision that it comes from."""
    page = visits("Ada Quill").go("/?section=NPS+5+SCH+40&length=6+m&machines=alder-320")
    page.get_by_role("button", name="Keep this answer").click()
    page.get_by_role("link", name="Kept as answer").click()
    here = page.url
    from cuttable.catalogue.ledger import lifecycle
    from cuttable.catalogue.ledger.blobs import kept
    from cuttable.catalogue.ledger.database import open_ledger

    ledger = open_ledger(house.place)
    with ledger.writing("Eli Marsh") as writing:
        made = lifecycle.draft(writing, "alder-320", None, reason="bed shortened")
        (file,) = kept(writing.connection, made.content, "alder-320").values()
        changed = file.replace(b'rated    = "12.5 m"', b'rated    = "5 m"')
        assert changed != file
        files = {"alder-320.toml": changed}
        lifecycle.edit(writing, "alder-320", made.number, files=files)
        lifecycle.submit(writing, "alder-320", made.number)
    with ledger.writing("Pia Holm") as writing:
        lifecycle.approve(writing, "alder-320", made.number, without_impact="a test")
    ledger.close()
    page.wait_for_timeout(1100)  # the service looks at the ledger again after a second
    page.goto(f"{here.partition('?')[0]}?see=today")
    main = page.locator("main")
    expect(main).to_contain_text("What is different today")
    expect(main).to_contain_text("approved by Pia Holm (bed shortened)")
    page.get_by_role("link", name="Work it out again").click()
    expect(page.get_by_role("status")).to_contain_text("The same to the byte")
    shown = page.get_by_role("link", name="The answer to the byte").get_attribute("href")
    assert json.loads(page.request.get(f"{house.url}{shown}").body())["verdicts"]
