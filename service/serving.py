"""Run the service: a socket, the server, and a quiet end."""

import gc
import resource
import signal
import socket
import sys
from contextlib import suppress
from typing import Any, Final

import uvicorn

from ..catalogue.errors import InputError
from .addresses import Proxies
from .app import create_app
from .connection import connections
from .settings import Settings

MOST_CONNECTIONS: Final = 2000
"""Connections at once; whoever comes beyond them is told to come again."""
KEEP_ALIVE: Final = 15
"""Seconds a connection may be idle between requests."""
LARGEST_HEAD: Final = 32 * 1024
"""Bytes of the head of a request."""
LAST_ANSWERS: Final = 20
"""Seconds that answers under way have when the service is stopped."""
SWITCH: Final = 0.001
"""Seconds after which one thread of the process makes way for another."""


def bound(host: str, port: int) -> socket.socket:
    """Return a socket that listens at an address.

    Raises:
        InputError: ``address-unusable``.
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, number, _, address = found[0]
        made = socket.socket(family, kind, number)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(address)
        made.listen(2048)
        made.setblocking(False)
    except OSError as fault:
        raise InputError(
            "address-unusable", f"nothing can listen at {host[:60]} port {port} "
            f"({(fault.strerror or 'unknown reason').lower()})",
            remedy="Name another --host or --port, or end what listens there.",
        ) from None  # fmt: skip
    return made


def server_of(settings: Settings, **options: Any) -> uvicorn.Server:
    """Return a server of the application, with every limit of time and size set."""
    # The guard ends a body that comes too slowly with an answer; this is for what is not read.
    protocol = connections(proxies=Proxies(settings), body_seconds=settings.patience * 5 + 5)
    config = uvicorn.Config(
        create_app(settings), http=protocol, ws="none", loop="asyncio", lifespan="on",
        log_config=None, access_log=False, proxy_headers=False, server_header=False,
        limit_concurrency=MOST_CONNECTIONS, timeout_keep_alive=KEEP_ALIVE,
        timeout_graceful_shutdown=LAST_ANSWERS, h11_max_incomplete_event_size=LARGEST_HEAD,
        **options,
    )  # fmt: skip
    return uvicorn.Server(config)


def serve(settings: Settings, listening: socket.socket) -> None:
    """Serve until the process is told to end; what is under way is finished first."""
    gc.enable()
    # An answer that is known must not wait long behind one that is being worked out.
    sys.setswitchinterval(SWITCH)
    # A reader who leaves is an error of one request, not the end of the service.
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    # The server ends cleanly by itself and then raises the signal again.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.SIG_IGN)
    with suppress(ValueError, OSError):
        _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    server_of(settings).run(sockets=[listening])
