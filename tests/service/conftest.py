"""A service of its own for every test that changes something, one for those that only ask."""

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from service_workshop import Service, Template, made_template, service_of

Made = Callable[..., AbstractContextManager[Service]]


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Template:
    """The book that services copy."""
    return made_template(tmp_path_factory.mktemp("template"))


@pytest.fixture(scope="session")
def asked(tmp_path_factory: pytest.TempPathFactory, template: Template) -> Iterator[Service]:
    """A service for tests that leave it as it is."""
    with service_of(tmp_path_factory.mktemp("asked"), template, rate=1_000_000) as found:
        yield found


@pytest.fixture
def service(tmp_path: Path, template: Template) -> Iterator[Service]:
    """A service of the test's own."""
    with service_of(tmp_path, template) as found:
        yield found


@pytest.fixture
def made(tmp_path: Path, template: Template) -> Made:
    """Make a service with other settings over a book of the test's own."""

    def start(**settings: object) -> AbstractContextManager[Service]:
        return service_of(tmp_path, template, **settings)

    return start
