"""What the routes share, kept with the application."""

from typing import NamedTuple

from fastapi import Request

from .auth.authenticator import Authenticator, Ledgers
from .engine_worker import EngineWorkers
from .metrics import Metrics
from .response_cache import ResponseCache
from .settings import Settings
from .workers.backlogs import Backlogs


class State(NamedTuple):
    """Everything of one process."""

    settings: Settings
    ledgers: Ledgers
    engine: EngineWorkers
    authenticator: Authenticator
    metrics: Metrics
    response_cache: ResponseCache
    backlogs: Backlogs

    def changed(self) -> None:
        """Look at the ledger again: limits, accounts or tokens were changed here."""
        self.engine.forget()
        self.authenticator.forget()


def state_of(request: Request) -> State:
    """Return what the application keeps."""
    state: State = request.app.state.all
    return state
