"""Where a request comes from: addresses, trusted proxies, this machine, a page of this service."""

import functools
import ipaddress
from collections.abc import MutableMapping
from typing import Any, Final, NamedTuple

from .settings import Settings

Scope = MutableMapping[str, Any]

MOST_ADDRESSES: Final = 10_000
"""Addresses that are remembered."""
HERE: Final = frozenset({"localhost", "127.0.0.1", "[::1]"})
"""Names by which a browser on this machine calls this machine."""


class From(NamedTuple):
    """Where a request comes from.

    Attributes:
        peer: address of the other end of the connection.
        client: address of the asker, as a trusted proxy tells it; else the same.
        is_proxied: a proxy handed it on, trusted or not.
    """

    peer: str
    client: str
    is_proxied: bool


class Proxies:
    """Addresses whose word is taken for where a request comes from and who asks."""

    def __init__(self, settings: Settings) -> None:
        self._networks = [ipaddress.ip_network(item, strict=False) for item in settings.proxies]
        self._known: dict[str, bool] = {}

    def has(self, address: str) -> bool:
        """Say whether an address is one of them."""
        if not self._networks:
            return False
        found = self._known.get(address)
        if found is None:
            try:
                there = ipaddress.ip_address(address)
            except ValueError:
                return False
            mapped = getattr(there, "ipv4_mapped", None)
            found = any((mapped or there) in network for network in self._networks)
            if len(self._known) < MOST_ADDRESSES:
                self._known[address] = found
        return found

    def origin(self, scope: Scope) -> From:
        """Return where a request comes from: the last address that is no trusted proxy."""
        peer = str((scope.get("client") or ("",))[0])
        told = [value for name, value in scope["headers"] if name == b"x-forwarded-for"]
        is_proxied = bool(told) or any(name == b"forwarded" for name, _ in scope["headers"])
        client = peer
        if told and self.has(peer):
            for item in reversed(b",".join(told).decode("latin-1").split(",")):
                client = item.strip()[:64]
                if not self.has(client):
                    break
        return From(peer, client, is_proxied)


def host_name(host: bytes) -> str:
    """Return the name of a Host header without its port, in small letters."""
    text = host.decode("latin-1").strip().lower()
    return text.partition("]")[0] + "]" if text.startswith("[") else text.partition(":")[0]


def is_same_origin(head: dict[bytes, bytes]) -> bool:
    """Say whether a request comes from a page of this service, or from no page at all."""
    if head.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
        return False
    origin = head.get(b"origin")
    if origin is None:
        return True
    return origin.lower().partition(b"://")[2] == head.get(b"host", b"").strip().lower()


@functools.lru_cache(maxsize=MOST_ADDRESSES)
def counted_as(address: str) -> str:
    """Return the name under which an address is counted, however it is written.

    An IPv4 address within IPv6 is that IPv4 address; of IPv6 a customer has a whole /64.
    """
    try:
        there = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(there, ipaddress.IPv4Address):
        return str(there)
    if there.ipv4_mapped is not None:
        return str(there.ipv4_mapped)
    return str(ipaddress.IPv6Address(int(there) >> 64 << 64))


def is_loopback(address: str) -> bool:
    """Say whether an address is of this machine."""
    try:
        there = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(there, "ipv4_mapped", None)
    return bool((mapped or there).is_loopback)
