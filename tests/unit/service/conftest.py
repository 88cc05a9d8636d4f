"""A service of its own for every test that changes something, one for those that only ask."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from cuttable.engine.decision import decide
from cuttable.engine.decision.inference import Inference
from cuttable.rules.model import RuleSet
from service_workshop import Service, Template, made_template, service_of

Made = Callable[..., AbstractContextManager[Service]]


@pytest.fixture(scope="session", autouse=True)
def one_inference_a_rule_set() -> Iterator[None]:
    """Let all services of the tests share what chains one rule set; it may be asked by threads.

    The library keeps about 3 MB of each rule set it has deleted. A service makes some for its
    threads and stays; the tests start hundreds of services, and would grow by gigabytes.
    """
    made: dict[str, Inference] = {}
    making = threading.Lock()

    def shared(rule_set: RuleSet) -> Inference:
        with making:
            if rule_set.digest not in made:
                made[rule_set.digest] = Inference(rule_set)
            return made[rule_set.digest]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(decide, "Inference", shared)
        yield


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Template:
    """The ledger that services copy."""
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
    """Make a service with other settings over a ledger of the test's own."""

    def start(**settings: object) -> AbstractContextManager[Service]:
        return service_of(tmp_path, template, **settings)

    return start
