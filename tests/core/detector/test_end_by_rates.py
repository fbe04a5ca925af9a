"""Rates and altitude only: where developed spins end, over one flight of each kind of our own simulator."""

from __future__ import annotations

import numpy as np
from tests.core.detector.flights import events_of, flight, of_kind
from tests.truth import catalogue

from spinfloor.core.events import Kind

KINDS = ("developed", "flat", "oscillatory", "swinging ailerons", "power on", "flattening", "ailerons with")


def test_most_developed_spins_end_within_a_third_of_a_second() -> None:
    errors = []
    for kind, seed in catalogue.entries():
        if kind not in KINDS:
            continue
        f = flight(kind, seed)
        (true,) = f.truth["spins"]
        ended = of_kind(events_of(f, "none, 100 Hz", five=True), Kind.SPIN_ENDED)
        errors += [(e.time_ns - f.truth["start_time_ns"]) * 1e-9 - true["spin_end_s"] for e in ended]
    errors = [e for e in errors if abs(e) < 3.0]
    assert len(errors) >= 55
    assert np.mean(np.abs(errors) <= 0.3) > 0.75
    assert abs(float(np.median(errors))) < 0.1


def test_an_entry_straight_out_of_a_recovery_is_a_spin_of_its_own() -> None:
    """A second and a half of flying between two spins the same way."""
    f = flight("again", 1009)
    started = of_kind(events_of(f, "none, 100 Hz", five=True), Kind.SPIN_STARTED)
    assert len(started) == 2
    assert [e.data["restarted"] for e in started] == [False, True]
