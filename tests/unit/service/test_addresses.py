"""Addresses as they come: IPv4 within IPv6 is the same machine, and a /64 is one customer."""

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from cuttable.catalogue.errors import InputError
from cuttable.service.addresses import From, counted_as
from cuttable.service.auth import accounts_flow
from cuttable.service.auth.authenticator import TRIES
from fastapi import Request
from service_workshop import JOB, PASSWORD, Service

Made = Callable[..., AbstractContextManager[Service]]

PROXY = "10.0.0.5"
HEADER = "X-Remote-User"


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("::FFFF:c000:207", "192.0.2.7"),
        ("2001:db8::1", "2001:db8::"),
        ("2001:db8:0:0:ffff::2", "2001:db8::"),
        ("2001:0DB8:0000:0000:1:2:3:4", "2001:db8::"),
        ("2001:db8:0:1::1", "2001:db8:0:1::"),
        ("::1", "::"),
        ("not an address", "not an address"),
        ("", ""),
    ],
)
def test_an_address_is_counted_by_what_it_is(address: str, counted: str) -> None:
    """Not by how it is written."""
    assert counted_as(address) == counted


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("::ffff:10.0.0.5", 200),
        ("::ffff:a00:5", 200),
        ("::ffff:10.0.0.6", 401),
        ("::10.0.0.5", 401),
    ],
)
def test_a_trusted_proxy_is_known_within_ipv6(made: Made, address: str, status: int) -> None:
    """A server that listens on both kinds tells IPv4 addresses so."""
    with made(header=HEADER, proxies=(PROXY,)) as service:
        found = service.ask("GET", "/api/v1/me", headers={HEADER: "Eng"}, client=address)
        assert found.status_code == status


@pytest.mark.parametrize(
    ("address", "status"),
    [("::ffff:127.0.0.1", 200), ("::ffff:127.9.9.9", 200), ("::1", 200),
     ("::ffff:192.0.2.7", 403), ("::127.0.0.1", 403), ("", 403), ("localhost", 403)],
)  # fmt: skip
def test_an_open_page_knows_this_machine_within_ipv6(made: Made, address: str, status: int) -> None:
    """The same loopback, and nobody else."""
    with made(is_open=True) as service:
        found = service.ask("POST", "/api/v1/check", json=JOB, client=address)
        assert found.status_code == status


@pytest.mark.parametrize(
    ("first", "second", "is_same"),
    [
        ("192.0.2.7", "::ffff:192.0.2.7", True),
        ("2001:db8::1", "2001:db8::2", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("192.0.2.7", "192.0.2.8", False),
    ],
)
def test_another_spelling_is_no_new_allowance(
    made: Made, first: str, second: str, *, is_same: bool
) -> None:
    """Requests of one customer are counted together."""
    with made(rate=5) as service:
        for _ in range(5):
            assert service.ask("GET", "/health/live", client=first).status_code == 200
        found = service.ask("GET", "/health/live", client=second)
        assert found.status_code == (429 if is_same else 200)


def test_who_guesses_passwords_is_known_by_either_address(service: Service) -> None:
    """Guesses at many names from one machine add up, however the address is told."""

    def sign_in(name: str, password: str, client: str) -> None:
        request = Request({
            "type": "http", "method": "POST", "path": "/sign-in", "query_string": b"",
            "headers": [(b"host", b"localhost:8460")], "app": service.app,
            "state": {"origin": From(client, client, is_proxied=False)},
        })  # fmt: skip
        service.run(accounts_flow.sign_in(request, name, password))

    for number in range(TRIES):
        client = "192.0.2.7" if number % 2 else "::ffff:192.0.2.7"
        with pytest.raises(InputError, match="sign-in-wrong"):
            sign_in(f"nobody {number}", "guess", client)
    for client in ("192.0.2.7", "::ffff:192.0.2.7"):
        with pytest.raises(InputError, match="too-many"):
            sign_in("Eng", PASSWORD, client)
    sign_in("Eng", PASSWORD, "192.0.2.8")
