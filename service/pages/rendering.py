"""How a page is made: templates that escape everything, the frame around them, who may see it."""

from collections.abc import AsyncGenerator, Callable
from pathlib import Path
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from ...catalogue.ledger.accounts import ROLES, Right
from ...catalogue.ledger.records import minute
from ...engine.answer.words import OUTCOMES
from ...engine.version import VERSION
from ..auth.authenticator import COOKIE, FORM_FIELD, Asker, authenticator_of, needs
from .static import address
from .theme import verdict_mark, verdict_words

FOLDER: Final = Path(__file__).parent / "templates"


class Link(NamedTuple):
    """A page of the main navigation, and the right it needs."""

    address: str
    title: str
    right: Right = "ask"


LINKS: Final = (
    Link("/", "Ask"), Link("/range", "Range"), Link("/backlogs", "Backlog"),
    Link("/limits", "Limits"), Link("/rules", "Rules"), Link("/answers", "Answers"),
    Link("/people", "People", "admin"),
)  # fmt: skip


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    known: dict[str, Any] = made.globals
    known |= {
        "static": address, "tool": f"cuttable {VERSION}", "form_field": FORM_FIELD,
        "verdict_words": verdict_words, "outcomes": OUTCOMES, "verdict_mark": verdict_mark,
    }  # fmt: skip
    made.filters["moment"] = minute
    return made


ENVIRONMENT: Final = _environment()


def asker_of(request: Request) -> Asker | None:
    """Return who asks, where that is known already."""
    found: Asker | None = getattr(request.state, "asker", None)
    return found


def has_accounts(request: Request) -> bool:
    """Say whether people sign in here: not on an open page."""
    return not authenticator_of(request).settings.is_open


def fragment(request: Request, template: str, **known: Any) -> str:
    """Return a rendered template with what every template may use."""
    asker = asker_of(request)
    rights = asker.rights if asker is not None else _likely_rights(request)
    path = request.url.path
    frame: dict[str, Any] = {
        "asker": asker,
        "rights": rights,
        "form_key": asker.form_key if asker is not None else "",
        "has_accounts": has_accounts(request),
        "links": [(link, _is_here(link, path)) for link in LINKS if link.right in rights],
        "path": path,
    }
    return ENVIRONMENT.get_template(template).render(frame | known)


def _likely_rights(request: Request) -> frozenset[Right]:
    """Return what somebody may do of whom only the cookie was seen: links, nothing more."""
    is_likely = not has_accounts(request) or COOKIE in request.cookies
    return frozenset({"ask"} if is_likely else ())


def page(request: Request, template: str, status: int = 200, **known: Any) -> HTMLResponse:
    """Return a whole page."""
    return HTMLResponse(fragment(request, template, **known), status)


def _is_here(link: Link, path: str) -> bool:
    return path == link.address or (link.address != "/" and path.startswith(f"{link.address}/"))


def roles_with(right: Right) -> list[str]:
    """Return the roles that have a right, the least first."""
    return [name for name, rights in ROLES.items() if right in rights]


def _for_page(right: Right) -> Callable[[Request], AsyncGenerator[Asker]]:
    check = needs(right)

    async def let_in(request: Request) -> AsyncGenerator[Asker]:
        # Known before the check, so that the page of a refusal has the right frame.
        request.state.asker = await authenticator_of(request).asker(request)
        request.state.wanted = right
        try:
            yield await check(request)
        finally:
            await request.close()  # files that were sent lie in temporary ones

    let_in.right = right  # pyright: ignore[reportFunctionMemberAccess] - read by the tests' table
    return let_in


Asks = Annotated[Asker, Depends(_for_page("ask"))]
Drafts = Annotated[Asker, Depends(_for_page("draft"))]
Approves = Annotated[Asker, Depends(_for_page("approve"))]
Administers = Annotated[Asker, Depends(_for_page("admin"))]


def own_path(text: str) -> str:
    """Return a path of this service that a person may be led back to, else the first page.

    Two slashes, or a slash and a backslash, begin the name of another host.
    """
    is_own = text.startswith("/") and text[1:2] not in ("/", "\\") and text.isprintable()
    is_loop = text.startswith(("/sign-in", "/sign-out"))
    return text[:2000] if is_own and not is_loop and "\\" not in text else "/"
