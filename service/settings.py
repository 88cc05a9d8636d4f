"""What a service is started with."""

import os
from pathlib import Path
from typing import NamedTuple

from ..catalogue.ledger.location import Location

API = "/api/v1"
"""Where the API begins."""


class Settings(NamedTuple):
    """Settings of one process.

    Attributes:
        place: the ledger.
        data: folder for backlogs and their answers.
        is_open: no accounts, nothing can be changed; only for loopback.
        is_https: cookies are for HTTPS only; behind a proxy that speaks it.
        header: of a reverse proxy that has signed the person in; empty for none.
        proxies: addresses from which that header is believed.
        most_body: bytes of a request that is no upload.
        most_upload: bytes of a backlog.
        patience: seconds in which a request must have come and been answered.
        rate: requests a minute from one address, after a burst of as many.
        fresh: seconds after which the ledger is looked at again.
        workers: processes of a backlog; None for one less than there are processors.
        most_memory: bytes that each process of a backlog may use.
    """

    place: Location
    data: Path
    is_open: bool = False
    is_https: bool = False
    header: str = ""
    proxies: tuple[str, ...] = ()
    most_body: int = 256 * 1024
    most_upload: int = 256 * 2**20
    patience: float = 60.0
    rate: int = 1200
    fresh: float = 1.0
    workers: int | None = None
    most_memory: int = 4 * 2**30

    @property
    def backlog_workers(self) -> int:
        """Processes of a backlog: one processor is left to those who ask."""
        return self.workers or max((os.cpu_count() or 2) - 1, 1)
