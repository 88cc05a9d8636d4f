"""Accounts: who asks, their tokens for programs, and, for administrators, people."""

import datetime as dt
from typing import Annotated, Literal, NotRequired

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from ...catalogue.errors import InputError
from ...catalogue.ledger import accounts, tokens
from ...catalogue.ledger.accounts import Person, Right
from ...catalogue.ledger.database import Ledger
from ...catalogue.ledger.tokens import Token
from ..auth.authenticator import Asker, CanAdmin, CanAsk
from ..content import Content, lists, sends
from ..paging import Page, paged
from ..settings import API
from ..state import State, state_of

router = APIRouter(prefix=API, tags=["accounts"])

Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Role = Literal["asker", "engineer", "approver", "administrator"]


class NewToken(BaseModel):
    """A token for a program: what it is for, what it may do, and for how many days."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"title": "nightly orders", "rights": ["ask"], "days": 90},
    ]})  # fmt: skip

    title: Name
    rights: Annotated[list[Right], Field(min_length=1, max_length=4)] = ["ask"]
    days: Annotated[int, Field(ge=1, le=366)] = 90


class NewPerson(BaseModel):
    """An account; its password is made, shown once, and to be changed at the first sign-in."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"name": "Ines Alder", "role": "engineer"},
    ]})  # fmt: skip

    name: Name
    role: Role = "asker"


class ChangedPerson(BaseModel):
    """What of an account changes: its role, that it is closed, or its password."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [
        {"role": "approver"}, {"closed": True}, {"new_password": True},
    ]})  # fmt: skip

    role: Role | None = None
    closed: Literal[True] | None = None
    new_password: Literal[True] | None = None


class Me(Content):
    """Who asks and what they may do."""

    name: str
    role: str
    rights: list[Right]


class TokenLine(Content):
    """A token of a program; its secret is not kept."""

    id: str
    owner: str
    title: str
    """What it is for."""
    rights: list[Right]
    created: str
    expires: str


class MadeToken(TokenLine):
    """A token that was just made."""

    secret: str
    """In this answer and nowhere else."""


class PersonLine(Content):
    """An account."""

    name: str
    role: str
    is_active: bool
    """False once it is closed."""
    must_change: bool
    """Its password must be changed at the next sign-in."""
    rights: list[Right]


class PersonMade(PersonLine):
    """An account that was just made or changed."""

    password: NotRequired[str]
    """A one-time password, where one was made: in this answer and nowhere else."""


def plain_person(item: Person) -> PersonLine:
    """Return an account as data."""
    return {"name": item.name, "role": item.role, "is_active": item.is_active,
            "must_change": item.must_change, "rights": sorted(item.rights)}  # fmt: skip


def plain_token(item: Token) -> TokenLine:
    """Return a token as data, without its secret: nobody knows it any more."""
    return {"id": item.id, "owner": item.owner, "title": item.title,
            "rights": sorted(item.rights), "created": item.created,
            "expires": item.expires}  # fmt: skip


@router.get("/me", response_model=None, responses=sends(Me))
async def me(asker: CanAsk) -> Me:
    """Return who asks and what they may do."""
    return {"name": asker.person.name, "role": asker.person.role,
            "rights": sorted(asker.rights)}  # fmt: skip


# --- tokens -------------------------------------------------------------------------------


@router.get("/tokens", responses=lists(TokenLine))
async def own_tokens(request: Request, asker: CanAsk, page: Page) -> Response:
    """List the tokens of whoever asks."""
    return paged(request, await tokens_of(state_of(request), asker.person.name), page)


async def tokens_of(state: State, owner: str) -> list[TokenLine]:
    """Return a person's tokens."""

    def work(ledger: Ledger) -> list[TokenLine]:
        with ledger.reading() as connection:
            return [plain_token(item) for item in tokens.tokens(connection, owner)]

    return await state.ledgers.run(work)


@router.post("/tokens", status_code=201, response_model=None, responses=sends(MadeToken, 201))
async def make_token(request: Request, asker: CanAsk, asked: NewToken) -> MadeToken:
    """Make a token; its secret is in this answer and nowhere else."""
    return await added_token(state_of(request), asker, asked)


async def added_token(state: State, asker: Asker, asked: NewToken) -> MadeToken:
    """Make a token and return it with its secret.

    Raises:
        InputError: ``token-unusable``; ``not-allowed`` where there are no accounts.
    """
    check_accounts(state)
    rights = frozenset(asked.rights)
    if not rights <= asker.rights:
        # A token does not make another that may do more than itself.
        raise InputError("token-unusable", "a token can do no more than who makes it",
                         remedy=f"Choose of: {', '.join(sorted(asker.rights))}.")  # fmt: skip

    def work(ledger: Ledger) -> tuple[Token, str]:
        with ledger.writing(asker.person.name) as writing:
            owner = accounts.named(writing.connection, asker.person.name)
            if owner is None:
                raise InputError("not-allowed", "the account was closed meanwhile")
            until = dt.datetime.fromisoformat(writing.at) + dt.timedelta(days=asked.days)
            return tokens.add_token(writing, owner, asked.title, rights, until)

    token, secret = await state.ledgers.run(work)
    return {**plain_token(token), "secret": secret}


@router.delete("/tokens/{token}", status_code=204)
async def revoke_token(request: Request, asker: CanAsk, token: str) -> Response:
    """Revoke a token: one's own, or as an administrator anybody's."""
    await ended_token(state_of(request), asker, token)
    return Response(status_code=204)


async def ended_token(state: State, asker: Asker, token: str) -> None:
    """Revoke a token.

    Raises:
        InputError: ``token-unknown``; ``not-allowed`` where there are no accounts.
    """
    check_accounts(state)
    owner = "" if "admin" in asker.rights else asker.person.name

    def work(ledger: Ledger) -> None:
        with ledger.writing(asker.person.name) as writing:
            tokens.end_token(writing, token, owner)

    await state.ledgers.run(work)
    state.changed()


# --- people -------------------------------------------------------------------------------


@router.get("/people", responses=lists(PersonLine))
async def every(request: Request, asker: CanAdmin, page: Page) -> Response:
    """List the accounts."""
    _ = asker
    return paged(request, await people_of(state_of(request)), page)


async def people_of(state: State) -> list[PersonLine]:
    """Return all accounts."""

    def work(ledger: Ledger) -> list[PersonLine]:
        with ledger.reading() as connection:
            return [plain_person(item) for item in accounts.people(connection)]

    return await state.ledgers.run(work)


@router.post("/people", status_code=201, response_model=None, responses=sends(PersonMade, 201))
async def add(request: Request, asker: CanAdmin, asked: NewPerson) -> PersonMade:
    """Make an account; its one-time password is in this answer and nowhere else."""
    return await added_person(state_of(request), asker, asked)


async def added_person(state: State, asker: Asker, asked: NewPerson) -> PersonMade:
    """Make an account and return it with its one-time password.

    Raises:
        InputError: ``account-exists``, ``name-unusable`` …
    """
    check_accounts(state)

    def work(ledger: Ledger) -> PersonMade:
        with ledger.writing(asker.person.name) as writing:
            password = accounts.add_person(writing, asked.name, asked.role)
            found = accounts.known(writing.connection, asked.name)
            return {**plain_person(found), "password": password}

    made = await state.ledgers.run(work)
    state.changed()
    return made


@router.patch("/people/{name}", response_model=None, responses=sends(PersonMade))
async def change(request: Request, asker: CanAdmin, name: str, asked: ChangedPerson) -> PersonMade:
    """Give a person another role, close their account, or make them a one-time password."""
    return await changed_person(state_of(request), asker, name, asked)


async def changed_person(state: State, asker: Asker, name: str, asked: ChangedPerson) -> PersonMade:
    """Change an account, all of it or nothing, and return it.

    A new password opens a closed account again; with it the one-time password is returned.

    Raises:
        InputError: ``account-unknown``, ``last-administrator``, ``option-needs``.
    """
    check_accounts(state)
    if not (asked.role or asked.closed or asked.new_password):
        raise InputError("option-needs", "nothing is to be changed",
                         remedy="Name a role, closed or new_password.")  # fmt: skip
    if asked.closed and asked.new_password:
        raise InputError("option-needs", "a closed account has no password",
                         remedy="Name one of closed and new_password.")  # fmt: skip

    def work(ledger: Ledger) -> PersonMade:
        password = ""
        with ledger.writing(asker.person.name) as writing:
            if asked.role:
                accounts.set_role(writing, name, asked.role)
            if asked.closed:
                accounts.close_account(writing, name)
            if asked.new_password:
                password = accounts.set_password(writing, name)
            found = plain_person(accounts.known(writing.connection, name))
        return {**found, "password": password} if password else {**found}

    made = await state.ledgers.run(work)
    state.changed()
    return made


def check_accounts(state: State) -> None:
    """Refuse where there are no accounts.

    Raises:
        InputError: ``not-allowed``.
    """
    if state.settings.is_open:
        raise InputError("not-allowed", "an open page has no accounts",
                         remedy="Start the service without --open.")  # fmt: skip
