"""A ledger in each kind of database it can be kept in."""

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from cuttable.catalogue.ledger.database import Ledger
from cuttable.catalogue.ledger.location import Location
from ledger_workshop import (
    Clock,
    Databases,
    PostgresDatabases,
    SqliteDatabases,
    first_release,
    opened,
    postgres_server,
    quick_folder,
)


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresDatabases]:
    """A PostgreSQL server for the whole session."""
    with postgres_server() as uri:
        databases = PostgresDatabases(uri)
        # What is tested is that nothing is lost when processes die, not when the power does.
        databases.ask("ALTER SYSTEM SET fsync = off")
        databases.ask("SELECT pg_reload_conf()")
        yield databases


@pytest.fixture(scope="session")
def sqlite() -> Iterator[SqliteDatabases]:
    """Files in a folder of the session."""
    folder = quick_folder()
    yield SqliteDatabases(folder)
    shutil.rmtree(folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def databases(request: pytest.FixtureRequest) -> Iterator[Databases]:
    """Each kind of database in turn; what a test made in it is taken away."""
    name = "sqlite" if request.param == "sqlite" else "postgres"
    found: Databases = request.getfixturevalue(name)
    yield found
    found.drop()


@pytest.fixture
def clock() -> Clock:
    """A clock that is set by hand."""
    return Clock()


@pytest.fixture
def fresh(databases: Databases) -> Location:
    """The place of an empty database."""
    return databases.empty()


@pytest.fixture
def ledger(databases: Databases, clock: Clock) -> Iterator[Ledger]:
    """A ledger that holds the first release; the test's clock tells it the time."""
    place = databases.copy_of("first", first_release)
    found = opened(place, clock)
    clock.on(hours=1)
    yield found
    found.close()
