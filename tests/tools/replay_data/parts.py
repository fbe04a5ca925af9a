"""Parts of the rehearsal programme: what a rehearsal is, the invented aircraft, cards and floors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.truth.airframe import FAMILY, Airframe, scaled
from tests.truth.flight import Flight, simulate
from tests.truth.pilot import Script

VESSARY = scaled(FAMILY["tern"], 1.35)
PELLAM = scaled(FAMILY["swift"], 1.1)
CORVANE = scaled(FAMILY["heron"], 1.5)
CORVANE_LONG = scaled(FAMILY["crane"], 1.5)


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

    def fly(self) -> Flight:
        """The flight with its truth."""
        return simulate(
            self.id, self.title, self.frame, self.script(), seed=self.seed, height_m=self.height_m,
            speed_mps=self.speed_mps, gust_mps=self.gust_mps, longest_s=self.longest_s,
        )  # fmt: skip


def aircraft(name: str, frame: Airframe, *, chute: bool = False, speed: float = 140.0, **priors: Any) -> dict[str, Any]:
    """The plan's aircraft part; priors: turns, loss."""
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


def card(card_id: str, title: str, direction: str, turns: float, entry_ft: float, **more: Any) -> dict[str, Any]:
    """One card of a plan."""
    return {
        "id": card_id,
        "title": title,
        "direction": direction,
        "turns": turns,
        "entry_altitude_ft": entry_ft,
        **more,
    }


def plan(craft: dict[str, Any], cards: list[dict[str, Any]], lowest: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A plan as plain data."""
    return {"aircraft": craft, "floors": lowest, "cards": cards, **more}


def floors(recovery: float, abandon: float, chute: float | None = None) -> dict[str, Any]:
    """The plan's floors, pressure altitude in feet."""
    out: dict[str, Any] = {"recovery_ft": recovery, "abandon_ft": abandon, "reference": "pressure"}
    if chute is not None:
        out["chute_ft"] = chute
    return out


TRAINER = aircraft("Vessary, two-seat trainer (invented)", VESSARY, turns=0.6, loss=520.0)
AEROBATIC = aircraft("Pellam, light aerobatic aircraft (invented)", PELLAM, turns=0.4, loss=450.0)
LONG_NOSE = aircraft(
    "Corvane, mass along the fuselage (invented)", CORVANE, chute=True, speed=180.0, turns=1.8, loss=600.0
)
LONG_NOSE_FLAT = {**LONG_NOSE, "name": "Corvane with the long nose (invented)"}
