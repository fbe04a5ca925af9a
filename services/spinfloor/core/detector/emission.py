"""How the compiled kernel hands out events: fixed buffers, filled without allocating.

`ints` has shape (capacity, 3): code, time_ns, detected_ns. `floats` has shape (capacity, PAYLOAD_WIDTH), SI and
radians, NaN where unused. `cursor` has shape (1,): the number of slots used. The driver calls the kernel only while
at least SLOTS_PER_STEP slots are free, so `emit` never overruns.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.compiled import inner

PAYLOAD_WIDTH: Final = 19
P_EVIDENCE: Final = 18  # of phase, recovered, call and floor.crossed: what they rest on
SLOTS_PER_STEP: Final = 64

CODE_PHASE: Final = 0
CODE_SPIN_STARTED: Final = 1
CODE_SPIN_TURN: Final = 2
CODE_SPIN_MODE: Final = 3
CODE_RECOVERY_STARTED: Final = 4
CODE_SPIN_ENDED: Final = 5
CODE_RECOVERED: Final = 6
CODE_CALL: Final = 7
CODE_FLOOR_CROSSED: Final = 8
CODE_QUALITY: Final = 9
CODE_LINK: Final = 10


@inner
def emit(
    ints: npt.NDArray[np.int64],
    floats: npt.NDArray[np.float64],
    cursor: npt.NDArray[np.int64],
    code: int,
    time_ns: int,
    detected_ns: int,
) -> int:
    """Take the next slot, clear its payload, return its index for the caller to fill `floats[slot, k]`."""
    slot = cursor[0]
    ints[slot, 0] = code
    ints[slot, 1] = time_ns
    ints[slot, 2] = detected_ns
    floats[slot, :] = np.nan
    cursor[0] = slot + 1
    return int(slot)
