"""What /metrics tells; each name is listed in docs/reference/metrics.md."""

from __future__ import annotations

from collections.abc import Callable

from spinfloor.api.services import Services
from spinfloor.detect.supervisor import Supervisor


def register_gauges(services: Services, supervisor: Supervisor | None) -> None:
    """Hook the parts' own counters to the registry."""
    metrics, ingest = services.metrics, services.ingest
    metrics.counter("frames_taken", "Frames journalled", lambda: ingest.frames_taken)
    metrics.counter("batches_taken", "Batches journalled", lambda: ingest.batches_taken)
    metrics.counter("batches_repeated", "Batches that had been journalled before", lambda: ingest.duplicate_batches)
    metrics.counter("rows_rejected", "Rows reported as not counting", lambda: ingest.rows_rejected)
    traffic = metrics.traffic
    metrics.gauge("connections", "Requests and sockets in progress", lambda: traffic.connections)
    metrics.counter("requests_refused", "Refused at the door", lambda: traffic.refused)
    metrics.gauge("batches_unanswered", "Batches on frame sockets without an answer", lambda: traffic.unanswered)
    metrics.counter("states_thinned", "States that slow watchers did not get", lambda: traffic.thinned)
    metrics.gauge("watchers", "Live sockets open", lambda: services.presence.watchers)
    metrics.gauge("replays", "Replays not stopped", lambda: len(services.replays.all()))
    metrics.gauge("reruns", "Reruns at work", lambda: services.reruns.working)
    metrics.gauge("learner_queue", "Sorties with a recovery not looked at yet", lambda: services.learner.waiting)
    metrics.gauge("rerun_sorties_waiting", "Sorties of reruns not done yet", lambda: services.reruns.waiting)
    for name in services.ports.gauges():
        metrics.gauge(name, f"{name.replace('_', ' ')}, as the store counts it", _reader(services, name))
    if supervisor is not None:
        metrics.gauge("detectors", "Sorties with a detector at work here", lambda: len(supervisor.running))
        metrics.gauge("detector_queue", "Events and checkpoints not on disk yet", supervisor.waiting)
        metrics.counter("events_made", "Events made by the detectors at work", supervisor.events_made)


def _reader(services: Services, name: str) -> Callable[[], float]:
    return lambda: services.ports.gauges()[name]
