"""One recording two ways: through `spinfloor analyse`, and through `serve` + `send` (or a rehearsal) with a browser on Watch.

The events must be the same to the last field, the browser must hold the service's journal and nothing else, each call
must have sounded (or say why it did not), and what stood on the screen must be what the events say.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import yaml
from playwright.sync_api import Browser, Page
from tests.tools.running import COMMAND, RunningService
from tests.waiting import wait_for

from spinfloor.adapters.plan_files import load_plan
from spinfloor.core.plan.defaults import default_plan
from spinfloor.core.plan.load import plan_to_data

Event = dict[str, Any]
Way = Callable[[RunningService, Path, Path, float], Callable[[], None]]  # makes the sortie; what comes back plays it
WEIGHTY: Final = ("caution", "recover", "chute", "abandon")
# Reasons for which a call may go unspoken: a higher one was being said, or it had become untrue meanwhile.
GIVEN_WAY: Final = ("cut off by a higher call", "waited too long behind a higher call")
# Notes, at 50 looks a second, each change of what is written in a place.
RECORDER: Final = """
window.written = {};
setInterval(() => {
  for (const id of ["w-phase", "w-turns", "w-kind", "w-call-words", "w-origin"]) {
    const node = document.getElementById(id);
    if (!node) continue;
    const seen = (window.written[id] = window.written[id] || []);
    const words = node.textContent;
    if (!seen.length || seen[seen.length - 1] !== words) seen.push(words);
  }
}, 20);
"""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a browser on Watch held, said and showed."""

    events: list[Event]
    outcomes: dict[int, dict[str, Any]]
    written: dict[str, list[str]]
    peak: float


@dataclass(slots=True)
class Outcome:
    """The verdict on one recording; `faults` is empty when all is well."""

    name: str
    events: int = 0
    calls: int = 0
    heard: int = 0
    after_the_end: int = 0
    late_ms: float = 0.0
    faults: list[str] = field(default_factory=list)


def own_plan(recording: Path, folder: Path, *, limit_s: float | None = None) -> Path:
    """The recording's plan (the built-in one where none lies beside it), its aircraft named after the recording.

    So named, nothing learnt from another recording goes into its detector. limit_s: data-age limit instead of the plan's.
    """
    beside = recording.with_name(f"{recording.stem}.plan.yaml")
    data = plan_to_data(load_plan(beside) if beside.is_file() else default_plan())
    data["aircraft"]["name"] = f"flown as {recording.stem}"
    if limit_s is not None:
        data["timing"]["data_age_limit_s"] = limit_s
    path = folder / f"{recording.stem}.plan.yaml"
    path.write_text(yaml.safe_dump(data), encoding="utf-8")
    return path


def analysed(recording: Path, plan: Path, sortie: str) -> list[Event]:
    """The events `spinfloor analyse` prints."""
    done = subprocess.run(
        [*COMMAND, "analyse", str(recording), f"--plan={plan}", f"--sortie={sortie}"], capture_output=True, check=True
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def watch(browser: Browser, base: str, sortie: str) -> Page:
    """Watch on a sortie, sound armed, everything written noted from now on."""
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.add_init_script(RECORDER)
    page.goto(f"{base}/?sortie={sortie}")
    page.wait_for_selector("#w-sound")
    page.keyboard.press("s")
    page.wait_for_selector('#w-sound[data-sound="armed"]')
    page.wait_for_function("() => spinfloor.link.open && spinfloor.link.state && !spinfloor.sound.current")
    return page


def seen_by(page: Page, last: int) -> Seen:
    """What the page took, once it holds event `last` and has nothing more to say."""
    page.wait_for_function("last => spinfloor.link.sequence >= last", arg=last, timeout=60_000)
    page.wait_for_function("() => !spinfloor.sound.current && !spinfloor.sound.queue.length", timeout=60_000)
    taken = page.evaluate(
        """() => ({
          events: spinfloor.link.events, written: window.written, peak: spinfloor.sound.peakSinceArmed,
          outcomes: [...spinfloor.calls.outcome].map(([sequence, outcome]) => ({sequence, ...outcome})),
        })"""
    )
    outcomes = {int(outcome["sequence"]): outcome for outcome in taken["outcomes"]}
    return Seen(taken["events"], outcomes, taken["written"], float(taken["peak"]))


def sent(service: RunningService, recording: Path, plan: Path, speed: float) -> Callable[[], None]:
    """A flight, with its sortie; the rest of the work sends it."""
    sortie = recording.stem
    service.ask("POST", f"/v1/sorties?id={sortie}", json=yaml.safe_load(plan.read_text(encoding="utf-8")))

    def send() -> None:
        subprocess.run(
            [*COMMAND, "send", str(recording), f"--to={service.base}", f"--sortie={sortie}", f"--speed={speed}"],
            capture_output=True, check=True,
        )  # fmt: skip

    return send


def rehearsed(service: RunningService, recording: Path, plan: Path, speed: float) -> Callable[[], None]:
    """A rehearsal, where time goes by the recording: data lost in it is lost, however fast it is played."""
    sortie = recording.stem
    asked = {"recording": sortie, "sortie": sortie, "speed": speed, "paused": True}
    made = service.ask("POST", "/v1/replays", json={**asked, "plan": yaml.safe_load(plan.read_text(encoding="utf-8"))})
    replay = f"/v1/replays/{made['id']}"

    def play() -> None:
        service.ask("PATCH", replay, json={"paused": False})
        ended = made["length_s"] / speed + 60.0
        wait_for(lambda: service.ask("GET", replay)["state"] == "ended", seconds=ended, what="the recording's end")

    return play


def fly(
    browser: Browser, service: RunningService, recording: Path, plan: Path, speed: float, way: Way = sent
) -> Outcome:
    """Both ways, compared."""
    sortie = recording.stem
    outcome = Outcome(sortie)
    alone = analysed(recording, plan, sortie)
    go = way(service, recording, plan, speed)
    page = watch(browser, service.base, sortie)
    try:
        go()
        service.ask("GET", f"/v1/sorties/{sortie}/state")  # answers after everything sent has been through the detector
        told: list[Event] = service.ask("GET", f"/v1/sorties/{sortie}/events")["events"]
        seen = seen_by(page, len(told) - 1)
    finally:
        page.close()
    if way is rehearsed:
        outcome.faults += same_events(without_calls(alone), without_calls(told)) + shown(told, seen)
    else:
        outcome.faults += same_events(alone, told) + shown(alone, seen)
    outcome.faults += same_journal(told, seen.events) + sounded(told, seen, outcome)
    outcome.events, outcome.after_the_end = len(alone), max(len(told) - len(alone), 0)
    return outcome


def same_events(alone: Sequence[Event], told: Sequence[Event]) -> list[str]:
    """The journal begins with exactly the analysed events; after them only the recording's end may tell."""
    for place, event in enumerate(alone):
        if place >= len(told):
            return [f"event {place} ({event['kind']}) is missing from the journal"]
        if event != told[place]:
            return [f"event {place} differs: analysed {event}, live {told[place]}"]
    more = {event["kind"] for event in told[len(alone) :]} - {"link", "call", "phase", "quality"}
    return [f"after the recording's end the journal goes on with {sorted(more)}"] if more else []


def without_calls(events: Sequence[Event]) -> list[Event]:
    """What is seen of the motion, unnumbered.

    A call goes by the last moment told before lost data comes back: in `analyse` the last tick there is, in a rehearsal the
    last that was still due when frames came; so one may come a twentieth of a second sooner, and hold up the next.
    """
    return [{**event, "sequence": 0} for event in events if event["kind"] != "call"]


def same_journal(told: Sequence[Event], held: Sequence[Event]) -> list[str]:
    """The browser holds the journal, each event once, in order; more may have come since.

    A browser's numbers are doubles: nanoseconds since 1970 come back rounded to 256.
    """
    for place, event in enumerate(told):
        if place >= len(held):
            return [f"the browser misses event {place} of {len(told)} ({event['kind']})"]
        if _rounded(event) != _rounded(held[place]):
            return [f"event {place} differs: journal {event}, browser {held[place]}"]
    return []


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _rounded(part) for name, part in value.items()}
    return float(value) if isinstance(value, int) and abs(value) > 2**53 else value


def sounded(told: Sequence[Event], seen: Seen, outcome: Outcome) -> list[str]:
    """Each call was heard, or gave way to a higher one; nothing sounded that was no call."""
    faults = []
    calls = {event["sequence"]: event["data"] for event in told if event["kind"] == "call"}
    outcome.calls = len(calls)
    for sequence, data in calls.items():
        said = seen.outcomes.get(sequence)
        if said is None:
            faults.append(f"call {sequence} ({data['words']}) has no outcome")
        elif said["latencyMs"] is not None:
            outcome.heard += 1
            outcome.late_ms = max(outcome.late_ms, float(said["latencyMs"]))
        elif data["call"] in WEIGHTY and said["reason"] not in GIVEN_WAY:
            faults.append(f"call {sequence} ({data['words']}) was not heard: {said['reason']}")
    strange = sorted(set(seen.outcomes) - set(calls) - {e["sequence"] for e in seen.events[len(told) :]})
    faults += [f"sounds of no call: {strange}"] if strange else []
    if outcome.heard and seen.peak < 0.05:
        faults.append(f"calls count as heard, but the loudest sample was {seen.peak:.3f}")
    return faults


def shown(alone: Sequence[Event], seen: Seen) -> list[str]:
    """Words on the screen are words of the events, and the turns shown come up to those of each spin."""
    faults = []
    calls = {event["data"]["words"] for event in alone if event["kind"] == "call"}
    shown_calls = set(seen.written.get("w-call-words", [])) - {
        "NO CALL YET",
        "NO SORTIE CHOSEN",
        "data lost",
        "data back",
    }
    faults += [f"the screen showed calls nobody made: {sorted(shown_calls - calls)}"] if shown_calls - calls else []
    warned = {e["data"]["words"] for e in alone if e["kind"] == "call" and e["data"]["call"] in WEIGHTY[1:]}
    faults += [f"never shown: {sorted(warned - shown_calls)}"] if warned - shown_calls else []
    turns = [float(e["data"]["turns"]) for e in alone if e["kind"] == "spin.ended"]
    largest = max((float(words.lstrip("≥")) for words in seen.written["w-turns"] if words != "-"), default=0.0)
    # The end is dated back: until it is known the rotation that is left is shown as well.
    if turns and not -0.15 < largest - max(turns) < 0.5:
        faults.append(f"the largest number of turns shown was {largest:g}, the events say {max(turns):.2f}")
    kinds = {f"{e['data']['orientation']} {e['data']['direction']}" for e in alone if e["kind"] == "spin.started"}
    missing = [kind for kind in kinds if not any(kind in words for words in seen.written["w-kind"])]
    faults += [f"never shown: {missing}"] if missing else []
    return faults


def ready_kernel() -> None:
    """Compile (or load) the kernel once, before anything is timed by the clock."""
    subprocess.run([*COMMAND, "doctor"], capture_output=True, check=False)
