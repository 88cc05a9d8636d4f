"""Sign in and out, and change a password: what the pages' forms do.

Every sign-in makes a session of its own with a new secret: one that somebody planted in the
browser before is worth nothing.
"""

import datetime as dt
from typing import Final

from fastapi import Request
from fastapi.responses import Response

from ...catalogue.errors import InputError
from ...catalogue.ledger import accounts, credentials, sessions
from ...catalogue.ledger.accounts import Person
from ...catalogue.ledger.database import Ledger
from ..addresses import counted_as, is_same_origin
from ..api.accounts import check_accounts
from ..state import State, state_of
from .authenticator import COOKIE, Asker, origin_of

_WRONG: Final = "name and password do not go together"


async def sign_in(request: Request, name: str, password: str) -> tuple[Asker, str]:
    """Return who signs in, and the secret of the new session for its cookie.

    Raises:
        InputError: ``sign-in-wrong``, ``too-many``; ``not-allowed`` where there are no accounts;
            ``form-stale`` for a form of another page.
    """
    state = state_of(request)
    check_accounts(state)
    check_page(request)
    keys = _keys(request, name)
    state.authenticator.check_tries(*keys)
    # Counted before it is known: tries made at once must not slip past each other.
    state.authenticator.tried(*keys, is_right=False)
    person = await _person(state, name, password)
    if person is None:
        raise InputError("sign-in-wrong", _WRONG, remedy="Try again, or ask an administrator.")
    state.authenticator.tried(*keys, is_right=True)
    return await _begin(request, person)


async def sign_out(request: Request, asker: Asker) -> None:
    """End the session of a request."""
    state = state_of(request)
    if asker.secret:
        await state.ledgers.run(lambda ledger: _ended(ledger, asker.secret))
    state.authenticator.forget()


async def change_password(request: Request, asker: Asker, old: str, new: str) -> tuple[Asker, str]:
    """Give a person the password they choose; all their sessions end and a new one begins.

    Raises:
        InputError: ``sign-in-wrong``, ``password-weak``, ``too-many``, ``not-allowed``.
    """
    state = state_of(request)
    check_accounts(state)
    if not asker.secret:
        raise InputError("not-allowed", "a password is changed by who is signed in with it",
                         remedy="Sign in with name and password.")  # fmt: skip
    name = asker.person.name
    keys = _keys(request, name)
    state.authenticator.check_tries(*keys)
    state.authenticator.tried(*keys, is_right=False)
    if await _person(state, name, old) is None:
        raise InputError("sign-in-wrong", "the old password is not right")
    state.authenticator.tried(*keys, is_right=True)
    if credentials.is_same_secret(old, new):
        raise InputError("password-weak", "the new password is the old one",
                         remedy="Choose four words that do not go together.")  # fmt: skip
    if not new:
        raise InputError("password-weak", "the new password is empty",
                         remedy="Choose four words that do not go together.")  # fmt: skip

    def work(ledger: Ledger) -> Person | None:
        with ledger.writing(name) as writing:
            accounts.set_password(writing, name, new)
            return accounts.named(writing.connection, name)

    person = await state.ledgers.run(work)
    state.changed()
    if person is None:
        raise InputError("sign-in-wrong", "the account was closed meanwhile")
    return await _begin(request, person)


def set_cookie(request: Request, response: Response, secret: str) -> None:
    """Give the browser the secret of a session: no script reads it, no other page sends it."""
    response.set_cookie(
        COOKIE, secret, max_age=int(sessions.SESSION.total_seconds()), path="/", httponly=True,
        samesite="strict", secure=state_of(request).settings.is_https,
    )  # fmt: skip


def clear_cookie(request: Request, response: Response) -> None:
    """Take the secret of a session from the browser."""
    response.delete_cookie(
        COOKIE, path="/", httponly=True, samesite="strict",
        secure=state_of(request).settings.is_https,
    )  # fmt: skip


def check_page(request: Request) -> None:
    """Refuse a form that another page sent: a session it began would be somebody else's.

    Raises:
        InputError: ``form-stale``.
    """
    if not is_same_origin(dict(request.scope["headers"])):
        raise InputError("form-stale", "the form is not of this service",
                         remedy="Open the page again and repeat.")  # fmt: skip


def _keys(request: Request, name: str) -> tuple[str, str]:
    return f"name {name.strip().casefold()[:200]}", f"from {counted_as(origin_of(request).client)}"


async def _person(state: State, name: str, password: str) -> Person | None:
    def work(ledger: Ledger) -> Person | None:
        with ledger.reading() as connection:
            return accounts.person_of(connection, name, password)

    return await state.ledgers.run(work)


async def _begin(request: Request, person: Person) -> tuple[Asker, str]:
    state = state_of(request)

    def work(ledger: Ledger) -> tuple[str, str]:
        with ledger.locked() as connection:
            return sessions.begin_session(connection, person, dt.datetime.now(dt.UTC))

    secret, csrf = await state.ledgers.run(work)
    request.state.who = person.name
    return Asker(person, person.rights, csrf, secret), secret


def _ended(ledger: Ledger, secret: str) -> None:
    with ledger.locked() as connection:
        sessions.end_session(connection, secret)
