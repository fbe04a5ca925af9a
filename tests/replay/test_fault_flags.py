"""Which quality flag a fault of a rehearsal earns: what docs/howto/rehearse.md says of `stuck` and `clip`."""

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flags, flight, plan_of

from spinfloor.core.channels import CHANNEL_INDEX
from spinfloor.core.detector.detector import Detector
from spinfloor.replay.fault_words import fault_from_word
from spinfloor.replay.faults import apply_faults

FLIGHT = flight("developed", 3)
BLOCK = clean_block(FLIGHT)
START_NS = int(BLOCK.time_ns[0])
SPIN_S = FLIGHT.truth["spins"][0]["start_s"]


def flags_of(word: str, channel: str) -> set[str]:
    disturbed = apply_faults(BLOCK, [fault_from_word(word)], START_NS)
    events = Detector(sortie="t", plan=plan_of(FLIGHT)).feed(disturbed)
    return {flag for name, flag in flags(events) if name == channel} - {"inconsistent"}


def largest_s(channel: str) -> float:
    """When the channel is larger than it has been, and in the spin."""
    size = np.abs(BLOCK.values[:, CHANNEL_INDEX[channel]])
    return float((BLOCK.time_ns[int(np.nanargmax(size))] - START_NS) * 1e-9)


@pytest.mark.parametrize("channel", ["roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps", "alpha_deg"])
def test_stuck_is_called_stuck_below_the_largest_so_far_and_clipped_at_it(channel: str) -> None:
    assert flags_of(f"stuck:{channel}@{SPIN_S + 8.0:.2f}-", channel) == {"stuck"}
    assert flags_of(f"stuck:{channel}@{largest_s(channel):.2f}-", channel) == {"clipped"}


@pytest.mark.parametrize("channel", ["roll_deg", "heading_deg", "pressure_altitude_ft"])
def test_an_angle_or_altitude_is_never_called_clipped(channel: str) -> None:
    assert flags_of(f"stuck:{channel}@{SPIN_S + 4.0:.2f}-", channel) == {"stuck"}
    assert flags_of(f"clip:{channel}=50", channel) == {"stuck"}


@pytest.mark.parametrize("channel", ["roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps"])
def test_clip_is_called_clipped_from_50_dps_on(channel: str) -> None:
    assert flags_of(f"clip:{channel}=55", channel) == {"clipped"}
    assert flags_of(f"clip:{channel}=30", channel) == {"stuck"}
