"""What is counted, for ``/metrics``."""

from typing import Any

from prometheus_client import CollectorRegistry, Counter, Histogram


class Metrics:
    """What is counted, for ``/metrics``."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "cuttable_requests_total", "Requests by route and status.",
            ["method", "route", "status"], registry=self.registry,
        )  # fmt: skip
        self.seconds = Histogram(
            "cuttable_request_seconds", "Time to answer, by route.", ["route"],
            buckets=(0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30), registry=self.registry,
        )  # fmt: skip
        self.answers = Counter(
            "cuttable_answers_total", "Answers by whether they were worked out anew.", ["source"],
            registry=self.registry,
        )  # fmt: skip
        self._known: dict[tuple[str, str, int], tuple[Any, Any]] = {}

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request; looking its series up by name each time would be dear."""
        key = (method, route, status)
        found = self._known.get(key)
        if found is None:
            found = (self.requests.labels(method, route, str(status)), self.seconds.labels(route))
            self._known[key] = found
        found[0].inc()
        found[1].observe(seconds)
