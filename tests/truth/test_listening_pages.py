"""What each rehearsal's page says one will hear is what its recording gives, call by call and against the simulator."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.places import RECORDINGS
from tests.tools.replay_data.programme import PROGRAMME

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

TICK_NS = 100_000_000


class Heard:
    """The events of a recording, as the service has them: where no frames come, its clock ticks."""

    def __init__(self, events: list[Event], block: FrameBlock, page: str) -> None:
        self.events = events
        self.block = block
        self.page = page

    def of(self, kind: Kind) -> list[Event]:
        return [event for event in self.events if event.kind is kind]

    def data(self, kind: Kind) -> list[dict[str, Any]]:
        return [dict(event.data) for event in self.of(kind)]

    def calls(self, call: str, after: Event | None = None, before: Event | None = None) -> list[Event]:
        first = -1 if after is None else after.sequence
        last = len(self.events) if before is None else before.sequence
        found = [event for event in self.of(Kind.CALL) if event.data["call"] == call]
        return [event for event in found if first < event.sequence < last]

    def words(self, call: str) -> list[object]:
        return [event.data["words"] for event in self.calls(call)]

    def seconds(self, event: Event) -> float:
        return float(event.detected_ns - self.block.time_ns[0]) * 1e-9


@cache
def heard(name: str) -> Heard:
    plan = load_plan(RECORDINGS / f"{name}.plan.yaml")
    block = read_recording(RECORDINGS / f"{name}.parquet").block
    detector = Detector(sortie=name, plan=plan)
    limit_ns = int(plan.timing.data_age_limit_s * 1e9)
    silent = np.flatnonzero(np.diff(block.time_ns) > limit_ns) + 1
    events: list[Event] = []
    for start, stop in zip([0, *silent.tolist()], [*silent.tolist(), len(block)], strict=True):
        events += detector.feed(block.slice(start, stop))
        if stop < len(block):
            last = int(block.time_ns[stop - 1])
            for tick in range(last + limit_ns, int(block.time_ns[stop]), TICK_NS):
                events += detector.tick(tick)
    return Heard(events, block, (RECORDINGS / f"{name}.md").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", [item.id for item in PROGRAMME if item.id != "r11-reversal"])
def test_spins_and_turns_are_those_of_the_page_s_table(name: str) -> None:
    """Within the limit of the truth table's worst clean kind, the inverted spins (0.27 at its 95 % point).

    r11 is left out: its second spin falters so long that it is told as two.
    """
    h = heard(name)
    begun = re.findall(r"\| (upright|inverted) spin to the (left|right) begins", h.page)
    assert [(str(d["orientation"]), str(d["direction"])) for d in h.data(Kind.SPIN_STARTED)] == begun
    turns = [float(number) for number in re.findall(r"spin over after ([\d.]+) turns about the flight path", h.page)]
    assert [d["turns"] for d in h.data(Kind.SPIN_ENDED)] == pytest.approx(turns, abs=0.3)


def test_first_turns() -> None:
    h = heard("r01-first-turns")
    assert h.words("turn") == ["one", "one"]
    pedals = h.of(Kind.RECOVERY_STARTED)
    starts = h.of(Kind.SPIN_STARTED)
    ends = h.of(Kind.SPIN_ENDED)
    for planned, start, pedal, end in zip((1.0, 2.0), starts, pedals, ends, strict=True):
        recover = h.calls("recover", after=start, before=pedal)
        assert planned - 1.0 < float(str(recover[0].data["turns"])) < planned
        assert h.calls("recover", after=pedal, before=end) == []
    assert h.words("status") == ["recovered", "recovered"]
    assert all(d["loss_ft"] > 500.0 for d in h.data(Kind.RECOVERED))
    assert h.calls("caution") + h.calls("chute") + h.calls("abandon") == []


def test_left_right_pair() -> None:
    h = heard("r02-left-right-pair")
    left, right = h.data(Kind.SPIN_ENDED)
    one, other = (d["loss_ft"] / d["turns"] for d in (left, right))
    assert one == pytest.approx(other, rel=0.15)
    first, second = h.of(Kind.SPIN_STARTED)
    before, after = (h.calls("recover", after=start)[0].data for start in (first, second))
    spread = [float(str(d["altitude_left_ft"])) - float(str(d["altitude_left_bound_ft"])) for d in (before, after)]
    assert spread[1] < 0.9 * spread[0]


def test_oscillatory() -> None:
    h = heard("r03-oscillatory")
    (pedal,) = h.of(Kind.RECOVERY_STARTED)
    assert h.words("turn") == ["one", "two", "three", "four", "five"]
    assert h.calls("status", before=pedal) == []
    assert any(d["oscillatory"] for d in h.data(Kind.SPIN_MODE))


def test_flat_slow_recovery() -> None:
    h = heard("r04-flat-slow-recovery")
    modes = [d["mode"] for d in h.data(Kind.SPIN_MODE)]
    assert (modes[0], modes[-1]) == ("steep", "flat")
    assert "flattening" in h.words("caution")
    (pedal,), (end,) = h.of(Kind.RECOVERY_STARTED), h.of(Kind.SPIN_ENDED)
    assert float(str(end.data["recovery_turns"])) > 1.0
    assert h.calls("status", before=end) == []
    assert h.calls("chute") == []
    assert h.of(Kind.RECOVERED)[0].data["predicted_margin_ft"] is not None
    assert h.seconds(pedal) < h.seconds(end)


def test_inverted() -> None:
    h = heard("r05-inverted")
    (start,), (end,) = h.of(Kind.SPIN_STARTED), h.of(Kind.SPIN_ENDED)
    assert (start.data["orientation"], start.data["direction"], start.data["sense_from_above"]) == (
        "inverted", "left", "clockwise",
    )  # fmt: skip
    load = h.block.to_columns()["normal_load_g"]
    spinning = (h.block.time_ns > start.detected_ns) & (h.block.time_ns < end.time_ns)
    assert float(np.mean(load[spinning].astype(float) < 0.0)) > 0.9


def test_overcontrol() -> None:
    h = heard("r06-overcontrol")
    first, second = h.of(Kind.SPIN_STARTED)
    assert h.of(Kind.SPIN_ENDED)[0].sequence < second.sequence
    assert first.data["direction"] != second.data["direction"]
    assert [event.data["words"] for event in h.calls("caution", after=second)] == ["inverted"]
    assert h.calls("recover", after=second) == []


def test_data_lost() -> None:
    h = heard("r07-data-lost")
    (lost,) = [e for e in h.calls("caution") if e.data["words"] == "data lost"]
    assert 13.4 <= h.seconds(lost) <= 13.7  # the last frame is at 13.0 s, the plan's limit half a second
    (back,) = [e for e in h.calls("status") if e.data["words"] == "data back"]
    assert 15.0 <= h.seconds(back) < 16.5
    between = [e for e in h.of(Kind.CALL) if lost.sequence < e.sequence and h.seconds(e) < 15.0]
    assert between
    assert all(e.data["estimated"] for e in between)


def test_abandon() -> None:
    h = heard("r08-abandon")
    (pedal,) = h.of(Kind.RECOVERY_STARTED)
    assert h.calls("recover", before=pedal)
    assert h.calls("recover", after=pedal) == []
    chute = h.calls("chute")
    assert "not slowed" in str(chute[0].data["reason"])
    assert float(str(chute[0].data["recovery_turns"])) == pytest.approx(3.0, abs=0.1)
    abandon = h.calls("abandon")
    floor_ft = load_plan(RECORDINGS / "r08-abandon.plan.yaml").floors.abandon_ft
    assert float(str(abandon[0].data["altitude_ft"])) > floor_ft
    assert len(abandon) > 3


def test_power_left_on() -> None:
    h = heard("r09-power-left-on")
    (start,) = h.of(Kind.SPIN_STARTED)
    assert [e.data["reason"] for e in h.calls("caution", after=start)] == ["power above idle"]


def test_spiral() -> None:
    h = heard("r10-spiral")
    assert h.of(Kind.SPIN_STARTED) == h.of(Kind.CALL) == []
    assert "spiral" in [d["to"] for d in h.data(Kind.PHASE)]
    speed = h.block.to_columns()["calibrated_airspeed_kt"].astype(float)
    assert speed.max() > 1.4 * speed[0]


def test_reversal() -> None:
    h = heard("r11-reversal")
    first, second = h.of(Kind.SPIN_STARTED)[:2]
    assert h.of(Kind.SPIN_ENDED)[0].sequence < second.sequence
    assert (first.data["direction"], second.data["direction"]) == ("left", "right")
    assert "reversal" in [event.data["words"] for event in h.calls("caution", after=second)]
    assert h.calls("turn", after=second)[0].data["words"] == "one"
