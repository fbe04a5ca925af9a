"""Flights with truth for the detector's tests: from our own simulator, kept between runs; never from the product."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from tests.truth.degrade import Record, degraded, pristine
from tests.truth.flight import Flight
from tests.truth.keep import kept
from tests.truth.situations import build

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan


@cache
def flight(situation: str, seed: int) -> Flight:
    """One flight of the simulator."""
    return kept("ours", situation, seed, build)


def plan(**aircraft: object) -> Plan:
    """A plan with low floors, so that calls do not crowd the events."""
    return Plan.model_validate(
        {
            "title": "detector test",
            "aircraft": {"name": "test aircraft", **aircraft},
            "floors": {"recovery_ft": 3000.0, "abandon_ft": 1500.0},
            "cards": [{"id": "T1", "direction": "right", "turns": 50.0, "entry_altitude_ft": 10000.0}],
        }
    )


def plan_of(f: Flight, **more: object) -> Plan:
    """The plan with the flight's stall angles."""
    return plan(stall_alpha_upright_deg=f.stall_deg[0], stall_alpha_inverted_deg=f.stall_deg[1], **more)


def block_of(record: Record) -> FrameBlock:
    """The record as frames."""
    return FrameBlock.from_columns({"time_ns": record.time_ns, **record.columns})


def clean_block(f: Flight, rate_hz: float = 50.0) -> FrameBlock:
    """The perfect flight at a rate."""
    return block_of(pristine(f, rate_hz))


def events_of(f: Flight, fault: str, *, five: bool = False) -> list[Event]:
    """All events of a degraded flight."""
    record = degraded(f, fault, five=five)
    more: dict[str, object] = {"altimeter_lag_s": record.altimeter_lag_s}
    more["sensor_ranges"] = {"yaw_rate_dps": record.yaw_range_dps, "roll_rate_dps": record.roll_range_dps}
    return Detector(sortie="t", plan=plan_of(f, **more)).feed(block_of(record))


def of_kind(events: list[Event], kind: Kind) -> list[Event]:
    """Events of one kind."""
    return [e for e in events if e.kind is kind]


def flags(events: list[Event]) -> set[tuple[str, str]]:
    """(channel, flag) of every quality event that went on."""
    return {
        (str(e.data["channel"]), str(e.data["flag"])) for e in of_kind(events, Kind.QUALITY) if e.data["state"] == "on"
    }


def mirrored(block: FrameBlock) -> FrameBlock:
    """The flight seen in a mirror: every left-right quantity changes sign."""
    values: NDArray[np.float64] = block.values.copy()
    values[:, [0, 2, 4, 8, 11, 14, 15]] *= -1.0  # p, r, bank, beta, lateral load, lateral stick, pedal
    values[:, 6] = np.mod(-values[:, 6], 2 * np.pi)
    return FrameBlock(block.time_ns, values)
