"""Sign in and out, rights, one's own account, tokens, people."""

import re
from collections.abc import Callable

import pytest
from house import PASSWORD, PEOPLE, House, Visit
from playwright.sync_api import expect

Visits = Callable[..., Visit]


def test_nobody_signed_in_is_led_to_the_form_and_back(visits: Visits) -> None:
    """With the whole question that was asked."""
    page = visits().go("/?section=NPS+4+SCH+40&length=20+ft")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.get_by_label("Name").fill("ada quill")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("do not go together")
    expect(page.get_by_label("Name")).to_have_value("ada quill")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator("p.stock")).to_contain_text("NPS 4 SCH 40")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.goto(page.url.replace("/sign-in", "/rules"))
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


@pytest.mark.parametrize("there", [
    "https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "javascript:1",
    "/sign-in?next=/", "\t//elsewhere.example",
])  # fmt: skip
def test_signing_in_leads_to_own_pages_only(visits: Visits, there: str) -> None:
    """Another host is not led to; the first page is."""
    from urllib.parse import quote

    visit = visits()
    page = visit.go(f"/sign-in?next={quote(there)}")
    page.get_by_label("Name").fill("Ada Quill")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Can it be cut?")).to_be_visible()
    assert page.url == f"{visit.url}/"


def test_links_that_a_role_may_not_use_are_not_shown(visits: Visits) -> None:
    """And the page says which role is needed, where it is opened all the same."""
    page = visits("Ada Quill").go("/people")
    main = page.locator("main")
    expect(main).to_contain_text("This needs the role administrator; yours is asker")
    assert page.get_by_role("link", name="People").count() == 0
    page.goto(page.url.replace("/people", "/limits/rowan-150"))
    expect(page.get_by_role("heading", name="Revisions")).to_be_visible()
    assert page.get_by_role("button", name="Draft it").count() == 0


def test_a_person_is_added_chooses_a_password_and_is_closed(visits: Visits) -> None:
    """The one-time password is shown once and must be changed at once."""
    administrator = visits("Ravi Stone")
    page = administrator.go("/people")
    add = page.get_by_role("region", name="Add a person")
    add.get_by_label("Name").fill("Nora <i>Vale</i>")
    add.get_by_label("Role").select_option("engineer")
    add.get_by_role("button", name="Add").click()
    once = page.get_by_label("One-time password").input_value()
    assert page.locator("main i").count() == 0
    page.reload()

    newcomer = visits()
    theirs = newcomer.go("/sign-in")
    theirs.get_by_label("Name").fill("Nora <i>Vale</i>")
    theirs.get_by_label("Password").fill(once)
    theirs.get_by_role("button", name="Sign in").click()
    expect(theirs.locator("main")).to_contain_text("Choose your own to go on.")
    theirs.goto(f"{newcomer.url}/")
    theirs.get_by_role("link", name="Change the password").click()
    theirs.get_by_label("Password now").fill(once)
    theirs.get_by_label("New password").fill("granite lamp otter field")
    theirs.get_by_role("button", name="Change it").click()
    expect(theirs.get_by_role("status")).to_contain_text("The password is changed.")
    theirs.goto(f"{newcomer.url}/")
    expect(theirs.get_by_role("heading", name="Can it be cut?")).to_be_visible()

    page.goto(f"{administrator.url}/people")
    page.get_by_label("Role of Nora").select_option("approver")
    page.get_by_role("button", name=re.compile("Give Nora")).click()
    expect(page.get_by_label("Role of Nora")).to_have_value("approver")
    page.get_by_role("button", name=re.compile("Close the account of Nora")).click()
    row = page.get_by_role("row", name=re.compile("Nora"))
    expect(row).to_contain_text("closed")
    theirs.reload()
    expect(theirs.get_by_role("heading", name="Sign in")).to_be_visible()


def test_the_last_administrator_stays(visits: Visits) -> None:
    """The refusal of the ledger is told in place."""
    page = visits("Ravi Stone").go("/people")
    page.get_by_role("button", name="Close the account of Ravi Stone").click()
    expect(page.get_by_role("alert")).to_contain_text("is the last administrator")


def test_a_token_is_shown_once_used_and_ended(visits: Visits) -> None:
    """It does what it may, until it is ended."""
    visit = visits("Eli Marsh")
    page = visit.go("/account")
    page.get_by_label("What it is for").fill("nightly orders")
    page.get_by_role("button", name="Make it").click()
    secret = page.get_by_label("The token").input_value()
    headers = {"Authorization": f"Bearer {secret}"}
    asked = visits()
    assert asked.context.request.get(f"{visit.url}/api/v1/me", headers=headers).ok
    page.goto(f"{visit.url}/account")
    assert secret not in page.content()
    page.get_by_role("button", name="End nightly orders").click()
    expect(page.get_by_role("row", name=re.compile("nightly orders"))).to_have_count(0)
    assert asked.context.request.get(f"{visit.url}/api/v1/me", headers=headers).status == 401


def test_a_form_of_another_session_does_nothing(visits: Visits, house: House) -> None:
    """Every form carries the key of its session."""
    visit = visits("Ravi Stone")
    for path, form in (
        ("/people", {"name": "Mallory", "role": "administrator"}),
        ("/limits", {"document": "rowan-150"}),
        ("/ask/keep", {"query": "section=NPS+4+SCH+40&length=20+ft"}),
        ("/account/tokens", {"title": "x", "rights": "admin", "days": "9"}),
    ):
        for key in ("", "0" * 32):
            answer = visit.context.request.post(
                f"{house.url}{path}", form=form | {"form_key": key}, max_redirects=0
            )
            assert answer.status == 403, path
    page = visit.go("/people")
    assert page.get_by_text("Mallory").count() == 0


@pytest.mark.parametrize("name", PEOPLE)
def test_what_went_wrong_is_a_page_of_the_same_frame(visits: Visits, name: str) -> None:
    """With a title, a sentence, and a way on."""
    visit = visits(name)
    missing = (
        "/nothing", "/rules/NONE-99", "/answers/999999", "/limits/no-such-model",
        "/limits/rowan-150/99", "/backlogs/0123456789abcdef", "/sheet?section=x",
    )  # fmt: skip
    for path in missing:
        page = visit.go(path)
        expect(page.locator("h1")).to_be_visible()
        expect(page.get_by_role("navigation", name="Main")).to_be_visible()
        expect(page.get_by_role("link", name="To the first page")).to_be_visible()
