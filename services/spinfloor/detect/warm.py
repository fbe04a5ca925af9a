"""The kernel compiled (or loaded from its cache) before the first frame needs it."""

from __future__ import annotations

import numpy as np

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.detector.detector import Detector
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.defaults import default_plan


def warm_kernel() -> None:
    """Feed a throw-away detector one frame and one tick; takes seconds the first time, a moment afterwards."""
    detector = Detector(sortie="warm", plan=default_plan())
    detector.feed(FrameBlock(np.zeros(1, np.int64), np.zeros((1, CHANNEL_COUNT))))
    detector.tick(1_000_000_000)
    Detector.restore(detector.save()).snapshot()
