"""What takes long keeps nobody waiting who asks briefly; what is known is not worked out again."""

import json
import threading
import time

import pytest
from cuttable.service.asking import Question
from cuttable.service.engine_worker import Standing
from cuttable.service.response_cache import ResponseCache
from cuttable.service.settings import Settings
from cuttable.service.state import State
from service_workshop import JOB, Service


def state_of(service: Service) -> State:
    """Return what the application keeps."""
    state: State = service.app.state.all
    return state


def test_a_check_is_answered_while_something_long_is_worked_out(service: Service) -> None:
    state, may_end = state_of(service), threading.Event()

    def long(standing: Standing) -> str:
        assert may_end.wait(60)
        return standing.key

    thread = threading.Thread(target=lambda: service.run(state.engine.long.run(long)))
    thread.start()
    try:
        for feet in (6, 7, 8):
            assert service.api("POST", "/check", json=JOB | {"length": f"{feet} ft"})["verdicts"]
        assert service.api("GET", "/rules")["total"] > 0
        assert thread.is_alive()
    finally:
        may_end.set()
        thread.join()


@pytest.mark.parametrize(
    ("more", "is_heavy"),
    [({}, False), ({"parts": ["1200 mm*3", "0.4 m"]}, False), ({"parts": ["1 mm*4000"]}, True),
     ({"parts": ["4000 * 1 mm"]}, True),
     ({"parts": ["10 mm"] * 61}, True), ({"cuts": ["1 m"] * 40, "stations": ["2 m"] * 30}, True),
     ({"machines": ["rowan-150"] * 21}, True)],
)  # fmt: skip
def test_what_may_take_long_waits_with_what_takes_long(
    more: dict[str, list[str]], *, is_heavy: bool
) -> None:
    assert Question(**(JOB | more)).is_heavy is is_heavy


def test_a_heavy_question_is_answered_as_any_other(asked: Service) -> None:
    question = JOB | {"length": "6 m", "parts": ["10 mm*100"]}
    first = asked.api("POST", "/check", json=question)
    assert first == asked.api("POST", "/check", json=question)
    assert first["verdicts"]


def test_the_same_question_is_worked_out_once_until_limits_change(service: Service) -> None:
    body = json.dumps(JOB).encode()
    head = {"Content-Type": "application/json"}
    first = service.ask("POST", "/api/v1/check", role="asker", content=body, headers=head)
    again = service.ask("POST", "/api/v1/check", role="asker", content=body, headers=head)
    assert first.content == again.content
    told = service.ask("GET", "/metrics").text
    assert 'cuttable_answers_total{source="new"} 1.0' in told
    assert 'cuttable_answers_total{source="known"} 1.0' in told
    made = service.api("POST", "/revisions", json={"document": "rowan-150", "reason": "x"})
    path = f"/revisions/rowan-150/{made['number']}"
    text = service.api("GET", path)["files"]["rowan-150.toml"].replace('"280 kg"', '"90 kg"', 1)
    service.api("PATCH", path, json={"file": text})
    service.api("POST", f"{path}/submit", json={})
    service.api("POST", f"{path}/approve", "approver", json={"without_impact": "x"})
    other = service.ask("POST", "/api/v1/check", role="asker", content=body, headers=head)
    assert other.json()["verdicts"][0]["machine"]["revision"] == 2


def test_limits_approved_elsewhere_are_in_force_within_the_time_that_is_set(
    service: Service,
) -> None:
    from cuttable.catalogue.ledger import lifecycle

    assert Settings(service.settings.place, service.settings.data).fresh <= 2
    service.api("POST", "/check", json=JOB)
    ledger = service.ledger()
    with ledger.writing("Ines") as writing:
        made = lifecycle.draft(writing, "rowan-150", None, reason="x")
        files = {"rowan-150.toml": _lower(service)}
        lifecycle.edit(writing, "rowan-150", made.number, files=files)
        lifecycle.submit(writing, "rowan-150", made.number)
    with ledger.writing("Jon") as writing:
        lifecycle.approve(writing, "rowan-150", made.number, without_impact="x")
    ledger.close()
    time.sleep(service.settings.fresh + 0.1)
    found = service.api("POST", "/check", json=JOB)
    assert found["verdicts"][0]["machine"]["revision"] == 2


def _lower(service: Service) -> bytes:
    text = service.api("GET", "/revisions/rowan-150/1")["files"]["rowan-150.toml"]
    return str(text).replace('"280 kg"', '"90 kg"', 1).encode()


def test_what_was_asked_longest_ago_is_forgotten_first() -> None:
    warm = ResponseCache(most=100)
    for number in range(5):
        warm.put("key", b"%d" % number, b"x" * 30)
        warm.get("key", b"2")
    assert warm.get("key", b"0") is None
    assert warm.get("key", b"2") == b"x" * 30
    assert warm.get("other", b"2") is None
