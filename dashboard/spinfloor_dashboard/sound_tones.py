"""The four tones: caution, recover, chute, abandon, each told from the others within its first half second.

200-5,000 Hz, at least 0.5 s, no more than four tones, the first 0.5 s enough to tell them apart: MIL-STD-1472E
5.3.3.1.1, 5.3.4.3.1, 5.3.4.3.3, 5.3.6.5. Each pattern differs in rhythm as well as pitch, so that a poor loudspeaker
or a listener's high-frequency hearing loss leaves the difference; the patterns are of our own making.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float64]
EDGE_S: Final = 0.008
HARMONICS: Final = (1.0, 0.45, 0.25, 0.12)


def _chord(frequency_hz: Samples, rate_hz: int) -> Samples:
    phase = 2.0 * np.pi * np.cumsum(frequency_hz) / rate_hz
    total = sum(weight * np.sin(order * phase) for order, weight in enumerate(HARMONICS, start=1))
    return np.asarray(total) / sum(HARMONICS)


def _shaped(samples: Samples, rate_hz: int) -> Samples:
    edge = int(EDGE_S * rate_hz)
    out = samples.copy()
    out[:edge] *= np.linspace(0.0, 1.0, edge)
    out[-edge:] *= np.linspace(1.0, 0.0, edge)
    return out


def _steady(hertz: float, seconds: float, rate_hz: int) -> Samples:
    return _shaped(_chord(np.full(round(seconds * rate_hz), hertz), rate_hz), rate_hz)


def _rest(seconds: float, rate_hz: int) -> Samples:
    return np.zeros(round(seconds * rate_hz))


def caution(rate_hz: int) -> Samples:
    """One long low note: 440 Hz for 0.5 s."""
    return _steady(440.0, 0.5, rate_hz)


def recover(rate_hz: int) -> Samples:
    """Two notes rising, 620 then 930 Hz, 0.26 s each."""
    return np.concatenate([_steady(620.0, 0.26, rate_hz), _steady(930.0, 0.26, rate_hz)])


def chute(rate_hz: int) -> Samples:
    """Five short pips at 1,150 Hz, ten a second."""
    pip = np.concatenate([_steady(1150.0, 0.055, rate_hz), _rest(0.045, rate_hz)])
    return np.tile(pip, 5)


def abandon(rate_hz: int) -> Samples:
    """A falling howl, 1,250 down to 500 Hz, twice in 0.6 s."""
    fall = np.geomspace(1250.0, 500.0, round(0.3 * rate_hz))
    return np.concatenate([_shaped(_chord(fall, rate_hz), rate_hz)] * 2)


TONES: Final[dict[str, Callable[[int], Samples]]] = {
    "caution": caution,
    "recover": recover,
    "chute": chute,
    "abandon": abandon,
}
