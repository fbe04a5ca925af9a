"""The shipped clips and tones against the published guidance, and every word the detector may say against the clips.

Guidance: MIL-STD-1472E 5.3.3.1.1 (200-5,000 Hz), 5.3.4.3.1 (no more than four tones to tell apart), 5.3.4.3.3 (the
first 0.5 s tells a signal from every other), 5.3.6.5 (at least 0.5 s).
"""

import itertools
import json
import shutil
import wave
from importlib.resources import files
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import stft

from spinfloor.core.plan.model import CallWords
from spinfloor.core.recovery.numbers_in_words import spoken
from spinfloor_dashboard import sound_builder
from spinfloor_dashboard.sound_tones import TONES
from spinfloor_dashboard.sound_words import normalise

SOUNDS = Path(str(files("spinfloor_dashboard") / "assets" / "sounds"))
MANIFEST = json.loads((SOUNDS / "manifest.json").read_text(encoding="utf-8"))


def read(name: str) -> tuple[npt.NDArray[np.float64], int]:
    with wave.open(str(SOUNDS / name)) as reader:
        assert (reader.getnchannels(), reader.getsampwidth()) == (1, 2)
        data = np.frombuffer(reader.readframes(reader.getnframes()), dtype="<i2")
        return data / 32768.0, reader.getframerate()


def first_half_second(name: str) -> npt.NDArray[np.float64]:
    samples, rate_hz = read(name)
    _, _, spectrum = stft(samples[: rate_hz // 2], fs=rate_hz, nperseg=512, noverlap=384)
    picture = np.abs(spectrum).ravel()
    return np.asarray(picture / np.linalg.norm(picture))


def test_no_more_than_four_tones_and_each_shipped_as_made() -> None:
    assert 1 <= len(MANIFEST["tones"]) <= 4
    assert set(MANIFEST["tones"]) == set(TONES)
    for call, name in MANIFEST["tones"].items():
        samples, rate_hz = read(name)
        np.testing.assert_allclose(samples, 0.6 * TONES[call](rate_hz), atol=1.0 / 32768)


@pytest.mark.parametrize("call", sorted(TONES))
def test_tone_lasts_half_a_second_within_the_band(call: str) -> None:
    samples, rate_hz = read(MANIFEST["tones"][call])
    assert len(samples) / rate_hz >= 0.5
    power = np.abs(np.fft.rfft(samples)) ** 2
    hertz = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    inside = power[(hertz >= 200) & (hertz <= 5000)].sum() / power.sum()
    assert inside > 0.99


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(sorted(TONES), 2)))
def test_tones_differ_within_half_a_second(one: str, other: str) -> None:
    # Cosine of the two spectrograms: 1 for the same sound; under 0.5 less than half of either is in the other.
    likeness = float(first_half_second(MANIFEST["tones"][one]) @ first_half_second(MANIFEST["tones"][other]))
    assert likeness < 0.5


def test_every_clip_is_there_short_and_loud() -> None:
    for phrase, name in MANIFEST["phrases"].items():
        samples, rate_hz = read(name)
        seconds = len(samples) / rate_hz
        assert 0.1 < seconds < 1.3, f"{phrase!r} lasts {seconds:.2f} s"
        assert np.sqrt(np.mean(samples**2)) > 0.1, f"{phrase!r} is too quiet"
        onset = np.flatnonzero(np.abs(samples) > 0.05)[0] / rate_hz
        assert onset < 0.06, f"{phrase!r} starts {onset:.3f} s late"


def test_default_call_words_and_numbers_can_be_spoken() -> None:
    for words in CallWords().model_dump().values():
        assert normalise(words) in MANIFEST["phrases"]
    for number in range(1000):
        for part in normalise(spoken(number)).split():
            assert part in MANIFEST["phrases"], f"{number}: no clip for {part!r}"


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="recording needs the espeak-ng program")
def test_a_plans_own_words_are_recorded(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text("call_words: {recover: 'stop it now', abandon: abandon}\n", encoding="utf-8")
    assert sound_builder.main(["--plan", str(plan), "--out", str(tmp_path / "own")]) == 0
    manifest = json.loads((tmp_path / "own" / "manifest.json").read_text(encoding="utf-8"))
    assert list(manifest["phrases"]) == ["stop it now"]
    assert manifest["tones"] == {}
    assert (tmp_path / "own" / manifest["phrases"]["stop it now"]).stat().st_size > 8_000


@pytest.mark.parametrize("text", ["call_words: 7\n", "[1, 2]\n", ": :\n", "call_words: {recover: ''}\n"])
def test_a_bad_plan_is_refused_in_a_sentence(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    assert sound_builder.main(["--plan", str(plan), "--out", str(tmp_path / "own")]) == 1
    assert "no clip was made" in capsys.readouterr().err


def test_resample_keeps_the_pitch() -> None:
    rate_hz = 44_100
    tone = np.sin(2 * np.pi * 500.0 * np.arange(rate_hz) / rate_hz)
    out = sound_builder.resample(tone, rate_hz)
    assert len(out) == sound_builder.RATE_HZ
    power = np.abs(np.fft.rfft(out))
    assert np.fft.rfftfreq(len(out), 1 / sound_builder.RATE_HZ)[power.argmax()] == pytest.approx(500.0, abs=1.0)
