"""Sign in and out, one's own account with its tokens, and for administrators the people."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError

from ...catalogue.errors import CuttableError
from ...catalogue.ledger.accounts import RIGHTS, ROLES
from ..api.accounts import (
    ChangedPerson,
    MadeToken,
    NewPerson,
    NewToken,
    PersonMade,
    added_person,
    added_token,
    changed_person,
    ended_token,
    people_of,
    tokens_of,
)
from ..auth.accounts_flow import change_password, clear_cookie, set_cookie, sign_in, sign_out
from ..problems import status_of
from ..state import state_of
from .faults import Fault, fault_of
from .rendering import Administers, Asks, authenticator_of, own_path, page

router = APIRouter()


async def _sent(request: Request) -> dict[str, str]:
    """Return the texts of a sent form; of several of one name the last."""
    form = await request.form()
    return {name: text for name, text in form.items() if isinstance(text, str)}


# --- sign in and out ----------------------------------------------------------------------


@router.get("/sign-in")
async def sign_in_page(request: Request) -> Response:
    """Show the form; whoever is signed in already is led on."""
    back = own_path(request.query_params.get("next", "/"))
    request.state.asker = await authenticator_of(request).asker(request)
    if request.state.asker is not None:
        return RedirectResponse(back, 303)
    return page(request, "sign_in.html", back=back, told=None, name="", links=())


@router.post("/sign-in")
async def sign_in_form(request: Request) -> Response:
    """Begin a session and lead back to where the person wanted to go."""
    sent = await _sent(request)
    back, name = own_path(sent.get("next", "/")), sent.get("name", "")
    try:
        asker, secret = await sign_in(request, name, sent.get("password", ""))
    except CuttableError as fault:
        return page(request, "sign_in.html", status_of(fault.code), back=back,
                    told=fault_of(fault), name=name[:200], links=())  # fmt: skip
    made = RedirectResponse("/account" if asker.person.must_change else back, 303)
    set_cookie(request, made, secret)
    return made


@router.post("/sign-out")
async def sign_out_form(request: Request) -> Response:
    """End the session; a form that is not of this session ends nothing."""
    from ...catalogue.ledger.credentials import is_same_secret
    from ..auth.authenticator import FORM_FIELD

    asker = await authenticator_of(request).asker(request)
    made = RedirectResponse("/sign-in", 303)
    if asker is not None and asker.secret:
        sent = await _sent(request)
        if not is_same_secret(sent.get(FORM_FIELD, ""), asker.form_key):
            return RedirectResponse("/account", 303)
        await sign_out(request, asker)
    clear_cookie(request, made)
    return made


# --- one's own account --------------------------------------------------------------------


async def _account(
    request: Request, asker: Any, status: int = 200, *, fault: Fault | None = None,
    where: str = "", made: MadeToken | None = None, is_changed: bool = False,
) -> HTMLResponse:  # fmt: skip
    state = state_of(request)
    tokens = [] if state.settings.is_open else await tokens_of(state, asker.person.name)
    return page(
        request, "account.html", status, tokens=tokens, fault=fault, where=where, made=made,
        is_changed=is_changed, choices=[right for right in RIGHTS if right in asker.rights],
    )  # fmt: skip


@router.get("/account")
async def account(request: Request, asker: Asks) -> Response:
    """Show who is signed in, what they may do, and their tokens."""
    return await _account(request, asker, is_changed="changed" in request.query_params)


@router.post("/account/password")
async def password(request: Request, asker: Asks) -> Response:
    """Change the password; every other session of the person ends."""
    sent = await _sent(request)
    try:
        _, secret = await change_password(request, asker, sent.get("old", ""), sent.get("new", ""))
    except CuttableError as fault:
        # Who asks is known: 401 would say that nobody is.
        status = 422 if fault.code == "sign-in-wrong" else status_of(fault.code)
        return await _account(request, asker, status, fault=fault_of(fault), where="password")
    made = RedirectResponse("/account?changed=1", 303)
    set_cookie(request, made, secret)
    return made


@router.post("/account/tokens")
async def new_token(request: Request, asker: Asks) -> Response:
    """Make a token and show its secret, once."""
    form = await request.form()
    try:
        asked = NewToken.model_validate({
            "title": str(form.get("title", "")).strip(), "rights": form.getlist("rights"),
            "days": str(form.get("days", "")),
        })  # fmt: skip
    except ValidationError as fault:
        return await _account(request, asker, 422, fault=_unreadable(fault), where="token")
    try:
        made = await added_token(state_of(request), asker, asked)
    except CuttableError as fault:
        return await _account(request, asker, status_of(fault.code), fault=fault_of(fault),
                              where="token")  # fmt: skip
    return await _account(request, asker, made=made)


@router.post("/account/tokens/{token}/end")
async def end_token(request: Request, asker: Asks, token: str) -> Response:
    """End a token."""
    await ended_token(state_of(request), asker, token)
    return RedirectResponse("/account", 303)


# --- people -------------------------------------------------------------------------------


async def _people(
    request: Request, status: int = 200, *, fault: Fault | None = None, who: str = "",
    made: PersonMade | None = None,
) -> HTMLResponse:  # fmt: skip
    state = state_of(request)
    people = [] if state.settings.is_open else await people_of(state)
    return page(request, "people.html", status, people=people, roles=list(ROLES), fault=fault,
                who=who, made=made)  # fmt: skip


@router.get("/people")
async def people(request: Request, asker: Administers) -> Response:
    """List the accounts."""
    _ = asker
    return await _people(request)


@router.post("/people")
async def add_person(request: Request, asker: Administers) -> Response:
    """Make an account and show its one-time password, once."""
    sent = await _sent(request)
    try:
        asked = NewPerson.model_validate({"name": sent.get("name", "").strip(),
                                          "role": sent.get("role", "")})  # fmt: skip
    except ValidationError as fault:
        return await _people(request, 422, fault=_unreadable(fault))
    try:
        made = await added_person(state_of(request), asker, asked)
    except CuttableError as fault:
        return await _people(request, status_of(fault.code), fault=fault_of(fault))
    return await _people(request, made=made)


@router.post("/people/change")
async def change_person(request: Request, asker: Administers) -> Response:
    """Give a person another role, close their account, or make them a one-time password."""
    sent = await _sent(request)
    who, step = sent.get("who", ""), sent.get("step", "")
    change: dict[str, Any] = {
        "role": {"role": sent.get("role", "")},
        "close": {"closed": True},
        "reset": {"new_password": True},
    }.get(step, {})
    try:
        made = await changed_person(
            state_of(request), asker, who, ChangedPerson.model_validate(change)
        )
    except ValidationError as fault:
        return await _people(request, 422, fault=_unreadable(fault), who=who)
    except CuttableError as fault:
        return await _people(request, status_of(fault.code), fault=fault_of(fault), who=who)
    if "password" in made:
        return await _people(request, made=made)
    return RedirectResponse("/people", 303)


def _unreadable(fault: ValidationError) -> Fault:
    """Return what of a form cannot be read, without what was sent."""
    places = dict.fromkeys(str(item["loc"][0]) for item in fault.errors() if item["loc"])
    fields = {"title": "what the token is for", "rights": "what it may do", "days": "for how long",
              "name": "the name", "role": "the role"}  # fmt: skip
    told = " and ".join(fields.get(place, place) for place in places)
    return Fault(f"{told or 'the form'} must be given", "Fill it in and send the form again.")
