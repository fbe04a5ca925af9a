"""The kernel's step as a plain Python loop: the same source with the compiler switched off (run as a subprocess).

Prints one JSON object: seconds, frames, and a digest of the events, to be compared with the compiled kernel's.
The records become plain Python objects first, because numpy's scalars are slower still and would flatter the kernel.
"""

from __future__ import annotations

import os

os.environ["NUMBA_DISABLE_JIT"] = "1"  # before numba is imported

import json
import sys
import time
import warnings
from dataclasses import fields
from types import SimpleNamespace
from typing import Any

import numpy as np
from tests.tools.bench import data
from tests.tools.bench.plain_loop_stretch import kinds

from spinfloor.core.detector.detector import Detector
from spinfloor.ports.wire import decode_block


def _plain(row: Any) -> SimpleNamespace:
    values = {name: row[name] for name in row.dtype.names}
    return SimpleNamespace(**{n: v.item() if np.ndim(v) == 0 else np.array(v) for n, v in values.items()})


def main() -> None:
    """Feed and tell."""
    warnings.simplefilter("ignore", RuntimeWarning)  # numpy says what the compiled code's error model passes over
    block = decode_block(sys.stdin.buffer.read())  # making the frames would need the compiled kernel
    detector = Detector(sortie="b", plan=data.plan())
    memory: Any = detector.records
    for field in fields(memory):
        array = getattr(memory, field.name)
        if array.dtype.names:
            setattr(memory, field.name, [_plain(row) for row in array])
    begun = time.perf_counter()
    events = detector.feed(block)
    print(json.dumps({"seconds": time.perf_counter() - begun, "frames": len(block), "kinds": kinds(events)}))


if __name__ == "__main__":
    main()
