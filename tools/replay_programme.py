"""The invented programme of the rehearsal recordings: aircraft, cards, floors, stories. Nobody and nothing here is real."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from tests.truth import manoeuvres_other as other
from tests.truth import manoeuvres_spin as spin
from tests.truth.airframe import FAMILY, Airframe, scaled
from tests.truth.flight import Flight, simulate
from tests.truth.pilot import Script

VESSARY = scaled(FAMILY["tern"], 1.35)
PELLAM = scaled(FAMILY["swift"], 1.1)
CORVANE = scaled(FAMILY["heron"], 1.5)
CORVANE_LONG = scaled(FAMILY["crane"], 1.5)
LIVELY = scaled(FAMILY["plover"], 1.35)


@dataclass(frozen=True)
class Rehearsal:
    """One recording: who flies what, what goes wrong, what the room should hear."""

    id: str
    title: str
    summary: str
    story: str
    listen_for: list[str]
    frame: Airframe
    script: Callable[[], Script]
    height_m: float
    speed_mps: float
    plan: dict[str, Any]
    seed: int = 1
    gust_mps: float = 0.6
    rate_hz: float = 50.0
    lost_s: tuple[float, float] | None = None
    longest_s: float = 240.0
    tags: tuple[str, ...] = field(default=())

    def fly(self) -> Flight:
        """The flight with its truth."""
        return simulate(
            self.id, self.title, self.frame, self.script(), seed=self.seed, height_m=self.height_m,
            speed_mps=self.speed_mps, gust_mps=self.gust_mps, longest_s=self.longest_s,
        )  # fmt: skip


def _aircraft(
    name: str, frame: Airframe, *, chute: bool = False, speed: float = 140.0, **priors: Any
) -> dict[str, Any]:
    degrees = 57.29577951308232
    return {
        "name": name,
        "stall_alpha_upright_deg": round(frame.stall_alpha_rad * degrees, 1),
        "stall_alpha_inverted_deg": round(-frame.stall_alpha_inverted_rad * degrees, 1),
        "pull_out_load_factor_g": 2.5,
        "pull_out_speed_kt": speed,
        "pull_out_dive_angle_deg": 80.0,
        "chute_fitted": chute,
        "priors": {
            "recovery_turns": {"mean": priors.get("turns", 0.6), "standard_deviation": 0.4},
            "loss_per_turn_ft": {"mean": priors.get("loss", 500.0), "standard_deviation": 150.0},
        },
    }


def _card(card_id: str, title: str, direction: str, turns: float, entry_ft: float, **more: Any) -> dict[str, Any]:
    return {
        "id": card_id,
        "title": title,
        "direction": direction,
        "turns": turns,
        "entry_altitude_ft": entry_ft,
        **more,
    }


def _plan(aircraft: dict[str, Any], cards: list[dict[str, Any]], floors: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"aircraft": aircraft, "floors": floors, "cards": cards, **more}


def _floors(recovery: float, abandon: float, chute: float | None = None) -> dict[str, Any]:
    out: dict[str, Any] = {"recovery_ft": recovery, "abandon_ft": abandon, "reference": "pressure"}
    if chute is not None:
        out["chute_ft"] = chute
    return out


TRAINER = _aircraft("Vessary, two-seat trainer (invented)", VESSARY, turns=0.6, loss=520.0)
AEROBATIC = _aircraft("Pellam, light aerobatic aircraft (invented)", PELLAM, turns=0.4, loss=450.0)
LONG_NOSE = _aircraft(
    "Corvane, mass along the fuselage (invented)", CORVANE, chute=True, speed=180.0, turns=1.8, loss=600.0
)
UNSTEADY = _aircraft("Corvane with wing tanks (invented)", LIVELY, chute=True, speed=170.0, turns=1.6, loss=600.0)

PROGRAMME: list[Rehearsal] = [
    Rehearsal(
        "r01-first-turns", "Build-up: one turn, then two, to the right",
        "Two plain spins to the right; everything goes as planned.",
        "First sortie of the trainer over the Quillmere test area. The pilot flies one turn, recovers, climbs back, flies "
        "two. The engineer in the control room has never worked with this crew.",
        [
            "*Turn* calls: \"one\" in the first spin, \"one\", \"two\" in the second. The crew's own count may be a turn "
            "less: their first turn is the departure.",
            "*Recover* shortly before the planned turns are complete. It must stop as soon as the pedal goes in.",
            "*Recovered* with the height lost. Compare it with the plan's budget and with the second spin.",
            "Nothing else. A caution here is worth a question.",
        ],
        VESSARY, lambda: spin.several([1, 1], [1.0, 2.0]), 3800.0, 48.0,
        _plan(
            TRAINER,
            [_card("A1", "one turn right", "right", 1.0, 12000.0), _card("A2", "two turns right", "right", 2.0, 12000.0)],
            _floors(5500.0, 4000.0),
        ),
        rate_hz=25.0,
    ),
    Rehearsal(
        "r02-left-right-pair", "A pair: three turns left, three turns right",
        "The same card both ways; with the power off both should look alike.",
        "The aerobatic aircraft flies the same card to the left and to the right. With idle power there is little reason "
        "for a difference; a large one would be a finding.",
        [
            "The direction in words and on the screen follows the yaw rate, not the pedal.",
            "Loss per turn and seconds per turn of the two spins: alike within their spread.",
            "The second spin's altitude left should have a narrower bound than the first: one recovery was learnt from.",
        ],
        PELLAM, lambda: spin.several([-1, 1], [3.0, 3.0]), 4300.0, 46.0,
        _plan(
            AEROBATIC,
            [_card("B1", "three turns left", "left", 3.0, 13500.0), _card("B2", "three turns right", "right", 3.0, 13500.0)],
            _floors(5500.0, 4000.0),
        ),
        rate_hz=25.0, seed=3,
    ),
]  # fmt: skip


def by_id(rehearsal_id: str) -> Rehearsal:
    """One rehearsal; KeyError when there is none of that id."""
    for item in PROGRAMME:
        if item.id == rehearsal_id:
            return replace(item)
    raise KeyError(rehearsal_id)


_ = other  # the look-alike recordings use it
