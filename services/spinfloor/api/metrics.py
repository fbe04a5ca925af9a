"""Prometheus metrics of one process, read from the parts when asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from prometheus_client import CollectorRegistry, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

Reading = tuple[str, str, str, Callable[[], float]]
LATENCY_BUCKETS: Final = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5)


@dataclass(slots=True)
class Traffic:
    """Counted where it passes: connections in progress, requests refused at the door, batches on frame sockets without
    an answer yet, states that slow watchers did not get."""

    connections: int = 0
    refused: int = 0
    unanswered: int = 0
    thinned: int = 0


class _Readings(Collector):
    def __init__(self, readings: list[Reading]) -> None:
        self._readings = readings

    def collect(self) -> Iterator[Metric]:
        for kind, name, meaning, read in self._readings:
            family = CounterMetricFamily if kind == "counter" else GaugeMetricFamily
            yield family(f"spinfloor_{name}", meaning, value=float(read()))


class Metrics:
    """A registry of its own, so that two services in one process (or one test run) don't meet."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._readings: list[Reading] = []
        self.traffic = Traffic()
        self.registry.register(_Readings(self._readings))
        self.ack_seconds = Histogram(
            "spinfloor_ack_seconds",
            "From a batch's arrival to its acknowledgement",
            registry=self.registry,
            buckets=LATENCY_BUCKETS,
        )

    def gauge(self, name: str, meaning: str, read: Callable[[], float]) -> None:
        """A value that goes up and down, read when asked."""
        self._readings.append(("gauge", name, meaning, read))

    def counter(self, name: str, meaning: str, read: Callable[[], float]) -> None:
        """A value that only goes up, read when asked."""
        self._readings.append(("counter", name, meaning, read))

    def text(self) -> bytes:
        """The exposition format."""
        return generate_latest(self.registry)
