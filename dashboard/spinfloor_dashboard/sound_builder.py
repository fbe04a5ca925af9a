"""Renders clips: words by the espeak-ng synthesiser, trimmed and levelled, tones by arithmetic, and one manifest.

Run `python -m spinfloor_dashboard.sound_builder --out DIR --plan PLAN` to record a plan's own call words; serve them by
setting SPINFLOOR_CLIPS to that folder before starting the service. espeak-ng is needed only here, never while running.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import wave
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import yaml

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.plan.model import CallWords
from spinfloor_dashboard.sound_tones import TONES, Samples
from spinfloor_dashboard.sound_words import normalise, shipped_phrases

RATE_HZ: Final = 22_050
VOICE: Final = ("-v", "en-gb", "-s", "165", "-p", "42", "-a", "180")
SILENCE: Final = 0.02
LEVEL_RMS: Final = 0.16
PEAK: Final = 0.95


class ClipError(SpinfloorError):
    """A clip could not be made."""

    code = "clip-not-made"
    exit_code = 1


def speak(phrase: str) -> Samples:
    """One phrase as samples at RATE_HZ, -1 to 1, silence trimmed, brought to a common loudness (RMS, peak-limited)."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        try:
            subprocess.run(["espeak-ng", *VOICE, "-w", str(path), "--", phrase], check=True, capture_output=True)
        except (OSError, subprocess.CalledProcessError) as exc:
            raise ClipError(
                expected="the espeak-ng program to speak a phrase",
                got=f"{exc}",
                now=f"no clip was made for {phrase!r}; such calls sound as tone and text",
            ) from exc
        with wave.open(str(path)) as reader:
            rate_hz = reader.getframerate()
            samples = np.frombuffer(reader.readframes(reader.getnframes()), dtype="<i2") / 32768.0
    return level(trim(resample(samples, rate_hz)))


def resample(samples: Samples, rate_hz: int) -> Samples:
    """To RATE_HZ by linear interpolation; the synthesiser's own rate is the same on every build seen so far."""
    if rate_hz == RATE_HZ:
        return samples
    at = np.arange(0, len(samples), rate_hz / RATE_HZ)
    return np.asarray(np.interp(at, np.arange(len(samples)), samples))


def trim(samples: Samples) -> Samples:
    """Cut silence at both ends: every millisecond before a word is a millisecond lost in the spin."""
    loud = np.flatnonzero(np.abs(samples) > SILENCE * np.abs(samples).max())
    margin = int(0.005 * RATE_HZ)
    return samples[max(0, loud[0] - margin) : loud[-1] + margin]


def level(samples: Samples) -> Samples:
    """Common loudness: RMS to LEVEL_RMS, then softly limited to PEAK (tanh keeps consonants above the noise)."""
    gained = samples * (LEVEL_RMS / np.sqrt(np.mean(samples**2)))
    return np.asarray(PEAK * np.tanh(gained / PEAK))


def write(path: Path, samples: Samples) -> None:
    """16-bit mono WAV."""
    with wave.open(str(path), "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(RATE_HZ)
        writer.writeframes(np.rint(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())


def build(out: Path, phrases: Iterable[str], *, with_tones: bool) -> dict[str, object]:
    """Fill `out` with clips and manifest.json; returns the manifest."""
    out.mkdir(parents=True, exist_ok=True)
    named = {phrase: f"say-{phrase.replace(' ', '-')}.wav" for phrase in phrases}
    for phrase, name in named.items():
        write(out / name, speak(phrase))
    tones = {}
    if with_tones:
        tones = {call: f"tone-{call}.wav" for call in TONES}
        for call, name in tones.items():
            write(out / name, 0.6 * TONES[call](RATE_HZ))
    manifest: dict[str, object] = {"rate_hz": RATE_HZ, "voice": " ".join(VOICE), "phrases": named, "tones": tones}
    (out / "manifest.json").write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    return manifest


def plan_phrases(path: Path) -> list[str]:
    """The call words of a plan file (YAML or JSON) that the package has no clip for."""
    try:
        words = CallWords.model_validate((yaml.safe_load(path.read_text(encoding="utf-8")) or {}).get("call_words", {}))
    except (OSError, ValueError, AttributeError, yaml.YAMLError) as exc:
        raise ClipError(
            expected="a plan whose call_words are words by call", got=str(exc), now="no clip was made"
        ) from exc
    shipped = set(shipped_phrases())
    wanted = [normalise(phrase) for phrase in words.model_dump().values()]
    return [phrase for phrase in dict.fromkeys(wanted) if phrase and phrase not in shipped]


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line: --out DIR, --plan PLAN for a plan's own words, else the package's own set."""
    parser = argparse.ArgumentParser(prog="python -m spinfloor_dashboard.sound_builder", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the clips and manifest.json")
    parser.add_argument("--plan", type=Path, help="record this plan's call words instead of the shipped set")
    options = parser.parse_args(arguments)
    try:
        phrases = plan_phrases(options.plan) if options.plan else list(shipped_phrases())
        manifest = build(options.out, phrases, with_tones=options.plan is None)
    except ClipError as error:
        print(f"build clips: {error.sentence}", file=sys.stderr)
        return error.exit_code
    print(f"{len(phrases)} phrases in {options.out}" if manifest else "")
    return 0


if __name__ == "__main__":
    sys.exit(main())
