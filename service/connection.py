"""Connections that are bounded in time and number, whatever the other end does.

The server would wait for ever for the head of a request, for the rest of one that is refused
already, and for a reader that does not read.
"""

import asyncio
from collections import Counter
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD: Final = 10.0
"""Seconds in which the head of a request must have come."""
READ: Final = 30.0
"""Seconds in which a reader must have taken what waits for it."""
MOST_OF_ONE: Final = 200
"""Connections of one address that is no trusted proxy."""


class Connection(H11Protocol):
    """One connection; the numbers are set by :func:`connections`."""

    head_seconds: float = HEAD
    body_seconds: float = 300.0
    read_seconds: float = READ
    most_of_one: int = MOST_OF_ONE
    proxies: Any = None
    counted: "Counter[str]"

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._coming: asyncio.TimerHandle | None = None
        self._awaited = ""
        self._reading: asyncio.TimerHandle | None = None
        self._address = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # pyright: ignore[reportIncompatibleMethodOverride] - as the server has it
        """Begin, unless the address has too many connections."""
        super().connection_made(transport)
        self._address = self.client[0] if self.client else ""
        self.counted[self._address] += 1
        is_known = self.proxies is not None and self.proxies.has(self._address)
        if self.counted[self._address] > self.most_of_one and not is_known:
            transport.abort()
            return
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """End, and forget it."""
        self.counted[self._address] -= 1
        if self.counted[self._address] <= 0:
            del self.counted[self._address]
        for timer in (self._coming, self._reading):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came, and see what is awaited next."""
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        """See what is awaited once an answer is out."""
        super().on_response_complete()
        self._look()

    def _look(self) -> None:
        """Set the clock for what is awaited; it is not set anew by every byte of the same."""
        state: Any = self.conn.their_state
        awaited = "head" if state is h11.IDLE else "body" if state is h11.SEND_BODY else ""
        is_used: Any = self.cycle
        is_idle = awaited == "head" and not self.conn.trailing_data[0] and is_used is not None
        if is_idle:
            awaited = ""  # the server's own clock of idle connections is set
        if awaited == self._awaited:
            return
        if self._coming is not None:
            self._coming.cancel()
            self._coming = None
        self._awaited = awaited
        if awaited:
            seconds = self.head_seconds if awaited == "head" else self.body_seconds
            self._coming = self.loop.call_later(seconds, self._abort)

    def pause_writing(self) -> None:
        """Give the reader some time to take what waits for it."""
        super().pause_writing()
        if self._reading is None:
            self._reading = self.loop.call_later(self.read_seconds, self._abort)

    def resume_writing(self) -> None:
        """Go on: it was taken."""
        super().resume_writing()
        if self._reading is not None:
            self._reading.cancel()
            self._reading = None

    def _abort(self) -> None:
        self.transport.abort()


def connections(**numbers: Any) -> type[Connection]:
    """Return connections with limits of their own and a count of their own."""
    return type("Connection", (Connection,), {"counted": Counter[str](), **numbers})
