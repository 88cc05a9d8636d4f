"""What the routes share, kept with the application."""

from typing import NamedTuple

from fastapi import Request

from .access import Books, Door
from .backlogs import Backlogs
from .bench import Benches
from .guard import Metrics
from .settings import Settings
from .warm import Warm


class State(NamedTuple):
    """Everything of one process."""

    settings: Settings
    books: Books
    benches: Benches
    door: Door
    metrics: Metrics
    warm: Warm
    backlogs: Backlogs

    def changed(self) -> None:
        """Look at the book again: limits, accounts or tokens were changed here."""
        self.benches.forget()
        self.door.forget()


def state_of(request: Request) -> State:
    """Return what the application keeps."""
    state: State = request.app.state.all
    return state
