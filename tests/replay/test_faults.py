"""Things going wrong on request: what each fault does to the frames."""

import numpy as np

from spinfloor.core.channels import CALIBRATED_AIRSPEED, CHANNEL_COUNT, YAW_RATE
from spinfloor.core.frames import FrameBlock
from spinfloor.core.units import RADIANS_PER_DEGREE
from spinfloor.replay.faults import apply_faults, delay_s
from spinfloor.replay.model import Fault

TIMES = np.arange(0, 10_000_000_000, 100_000_000, dtype=np.int64) + 1_000
VALUES = np.linspace(-5.0, 5.0, len(TIMES))[:, None] * np.ones(CHANNEL_COUNT)
BLOCK = FrameBlock(TIMES, VALUES)


def faulty(**fault: object) -> FrameBlock:
    return apply_faults(BLOCK, [Fault.model_validate(fault)], int(TIMES[0]))


def test_loss_leaves_frames_out_and_nothing_else() -> None:
    out = faulty(kind="loss", from_s=2.0, to_s=4.0)
    seconds = (out.time_ns - TIMES[0]) * 1e-9
    assert len(out) == 80
    assert not ((seconds >= 2.0) & (seconds < 4.0)).any()


def test_clip_stuck_and_bias_change_their_channel_in_their_stretch() -> None:
    inside = slice(50, 100)
    clipped = faulty(kind="clip", from_s=5.0, channel="yaw_rate_dps", value=90.0).values[:, YAW_RATE]
    assert clipped.max() == 90.0 * RADIANS_PER_DEGREE
    np.testing.assert_array_equal(clipped[:50], VALUES[:50, YAW_RATE])
    stuck = faulty(kind="stuck", from_s=5.0, channel="yaw_rate_dps").values[:, YAW_RATE]
    assert set(stuck[inside]) == {VALUES[50, YAW_RATE]}
    biased = faulty(kind="bias", from_s=5.0, channel="yaw_rate_dps", value=-10.0)
    np.testing.assert_allclose(
        biased.values[inside, YAW_RATE], VALUES[inside, YAW_RATE] - 10.0 * RADIANS_PER_DEGREE, rtol=1e-12
    )
    np.testing.assert_array_equal(biased.values[:, CALIBRATED_AIRSPEED], VALUES[:, CALIBRATED_AIRSPEED])


def test_delay_is_as_long_as_the_longest_that_holds() -> None:
    faults = [
        Fault(kind="delay", from_s=1.0, to_s=3.0, seconds=2.0),
        Fault(kind="delay", from_s=2.0, seconds=0.5),
    ]
    assert [delay_s(faults, at) for at in (0.5, 1.0, 2.5, 3.0)] == [0.0, 2.0, 2.0, 0.5]
