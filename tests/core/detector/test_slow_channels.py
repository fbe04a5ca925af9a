"""Merged telemetry: rates in every frame, other channels only in some. What comes regularly is neither lost nor late."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flags, flight, of_kind, plan_of
from tests.truth.flight import START_NS

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("developed", 8)
TURNS = float(FLIGHT.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"])
SETS = {
    "attitude": [ch.ROLL, ch.PITCH, ch.HEADING],
    "vanes": [ch.ALPHA, ch.BETA],
    "all but the rates": [c for c in range(ch.CHANNEL_COUNT) if c > ch.YAW_RATE],
}


def thinned(channels: list[int], rate_hz: int) -> list[Event]:
    """100 frames a second, these channels in some of them."""
    whole = clean_block(FLIGHT, 100.0)
    values = whole.values.copy()
    without = np.arange(len(values)) % (100 // rate_hz) != 0
    for channel in channels:
        values[without, channel] = np.nan
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(FrameBlock(whole.time_ns, values))


@pytest.mark.parametrize("rate_hz", [20, 10, 5])
@pytest.mark.parametrize("name", SETS)
def test_slow_channels_count_as_there(name: str, rate_hz: int) -> None:
    events = thinned(SETS[name], rate_hz)
    assert flags(events) == set()
    (started,), (ended,) = of_kind(events, Kind.SPIN_STARTED), of_kind(events, Kind.SPIN_ENDED)
    assert started.data["evidence"] == "attitude and air data"
    assert float(str(ended.data["turns"])) == pytest.approx(TURNS, abs=0.05)


@pytest.mark.parametrize("rate_hz", [10, 5])
def test_the_altitude_goes_on_between_its_samples(rate_hz: int) -> None:
    """At 300 ft/s a fifth of a second is 60 ft: high, the unsafe side."""
    for event in of_kind(thinned([ch.PRESSURE_ALTITUDE], rate_hz), Kind.SPIN_TURN):
        at_s = (event.time_ns - START_NS) * 1e-9
        true = float(np.interp(at_s, FLIGHT.time_s, FLIGHT.columns["pressure_altitude_ft"]))
        assert abs(float(str(event.data["altitude_ft"])) - true) < 8.0


def test_an_altitude_once_a_second_is_not_called_estimated() -> None:
    turns = of_kind(thinned([ch.PRESSURE_ALTITUDE], 1), Kind.SPIN_TURN)
    assert len(turns) > 3
    assert not [e for e in turns if e.data["estimated"]]


def on_and_off(events: list[Event], channel: str) -> list[tuple[str, float]]:
    """(on or off, seconds) of the channel's flag *missing*."""
    return [
        (str(e.data["state"]), (e.detected_ns - START_NS) * 1e-9)
        for e in of_kind(events, Kind.QUALITY)
        if (e.data["channel"], e.data["flag"]) == (channel, "missing")
    ]


@pytest.mark.parametrize("rate_hz", [4, 2, 1])
@pytest.mark.parametrize("channel", [ch.PRESSURE_ALTITUDE, ch.ROLL, ch.ALPHA])
def test_a_channel_that_is_always_slow_is_not_missing(channel: int, rate_hz: int) -> None:
    """Until its spacing is known it is; *data degraded* was called in every spin for it."""
    events = thinned([channel], rate_hz)
    column = ch.CHANNELS[channel].column
    assert [state for state, _ in on_and_off(events, column)] == ["on", "off"]
    assert on_and_off(events, column)[1][1] < 9.0
    assert not [e for e in of_kind(events, Kind.CALL) if e.data["reason_code"] == "data degraded"]


@pytest.mark.parametrize("rate_hz", [4, 2, 1])
def test_a_slow_channel_that_stops_is_missing(rate_hz: int) -> None:
    spin = FLIGHT.truth["spins"][0]
    whole = clean_block(FLIGHT, 100.0)
    values = whole.values.copy()
    values[np.arange(len(values)) % (100 // rate_hz) != 0, ch.PRESSURE_ALTITUDE] = np.nan
    stops_s = spin["start_s"] + 4.0
    values[(whole.time_ns - START_NS) * 1e-9 > stops_s, ch.PRESSURE_ALTITUDE] = np.nan
    events = Detector(sortie="t", plan=plan_of(FLIGHT)).feed(FrameBlock(whole.time_ns, values))
    last = on_and_off(events, "pressure_altitude_ft")[-1]
    assert last[0] == "on"
    assert stops_s < last[1] < stops_s + 3.5 / rate_hz + 0.1
    assert [e for e in of_kind(events, Kind.CALL) if e.data["reason_code"] == "data degraded"]
