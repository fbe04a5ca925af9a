"""Examples in the OpenAPI document: bodies that the service takes as they stand, answers as it gives them."""

from __future__ import annotations

from typing import Any, Final

Content = dict[str, Any]

PLAN: Final[dict[str, Any]] = {
    "title": "Build-up: one turn right",
    "aircraft": {"name": "Vessary, two-seat trainer (invented)", "stall_alpha_upright_deg": 15.0},
    "floors": {"recovery_ft": 5500.0, "abandon_ft": 4000.0},
    "cards": [{"id": "A1", "direction": "right", "turns": 1.0, "entry_altitude_ft": 12000.0}],
}
BATCH: Final[dict[str, Any]] = {
    "source": "nose-boom",
    "sequence": 0,
    "columns": {
        "time_ns": [1_900_000_000_000_000_000, 1_900_000_000_020_000_000],
        "roll_rate_dps": [84.9, 84.8],
        "pitch_rate_dps": [0.2, 0.1],
        "yaw_rate_dps": [84.9, 85.0],
        "pressure_altitude_ft": [10_000.0, 9_997.0],
        "alpha_deg": [45.1, None],
    },
}
BODIES: Final[dict[tuple[str, str], dict[str, Any]]] = {
    ("post", "/v1/sorties"): PLAN,
    ("post", "/v1/plans/check"): PLAN,
    ("post", "/v1/sorties/{sortie}/frames"): BATCH,
    ("patch", "/v1/sorties/{sortie}/floors"): {"floors": {"recovery_ft": 6000.0}, "by": "test conductor"},
    ("post", "/v1/sorties/{sortie}/marks"): {
        "kind": "note", "by": "test engineer", "data": {"text": "buffet heavy"}, "key": "note-1",
    },
    ("post", "/v1/replays"): {
        "recording": "r07-data-lost", "speed": 2.0, "faults": [{"kind": "loss", "from_s": 20.0, "to_s": 22.0}],
    },
    ("patch", "/v1/replays/{replay}"): {"paused": False, "speed": 4.0, "position_s": 30.0},
    ("post", "/v1/sorties/{sortie}/notes"): {
        "text": "the first turn was flown with the flaps up", "by": "test conductor", "time_ns": 1_900_000_021_480_000_000,
    },
    ("post", "/v1/sorties/{sortie}/spins/{spin}/sign-off"): {
        "reason": "recovery looked at frame by frame; the pedal was late", "by": "test conductor",
    },
    ("post", "/v1/aircraft/{aircraft}/beliefs/withdrawals"): {
        "reason": "flown with the wrong loading", "by": "test engineer", "sortie": "20310507-090000-1a2b", "spin": 1,
    },
    ("post", "/v1/aircraft/{aircraft}/beliefs/restorations"): {
        "reason": "the loading was right after all", "by": "test engineer", "sortie": "20310507-090000-1a2b", "spin": 1,
    },
    ("post", "/v1/session"): {"token": "1f2e3d4c5b6a.the-secret-as-it-was-told-once"},
    ("post", "/v1/tokens"): {"name": "range link", "role": "source", "days": 30.0},
    ("post", "/v1/tokens/{token}/rotation"): {"grace_s": 300.0},
    ("post", "/v1/reruns"): {
        "sorties": ["20310507-090000-1a2b"], "plan": {"aircraft": {"stall_alpha_upright_deg": 16.0}},
        "by": "test conductor",
    },
}  # fmt: skip
ANSWERS: Final[dict[tuple[str, str], dict[str, Any]]] = {
    ("post", "/v1/sorties/{sortie}/frames"): {"acked": 0, "accepted": 2, "duplicates": 0, "rejected": []},
    ("get", "/v1/sorties/{sortie}/events"): {
        "run": "1-43fcbbdff9",
        "events": [
            {
                "sortie": "20310507-090000-1a2b", "run": "1-43fcbbdff9", "sequence": 17, "kind": "spin.turn",
                "time_ns": 1_900_000_021_480_000_000, "detected_ns": 1_900_000_021_500_000_000,
                "data": {"turns": 1.0, "turns_about_vertical": 0.93, "altitude_ft": 11_240.0, "loss_ft": 410.0,
                         "seconds": 3.1},
            }
        ],
        "after": 17,
    },
}  # fmt: skip


def exemplify(method: str, path: str, operation: dict[str, Any]) -> None:
    """Put the examples of one operation beside its JSON schemas."""
    body, answer = BODIES.get((method, path)), ANSWERS.get((method, path))
    if body is not None and "requestBody" in operation:
        request = operation["requestBody"]
        operation["requestBody"] = {**request, "content": _with(request["content"], body)}
    if answer is not None:
        for status, given in operation["responses"].items():
            if status.startswith("2"):
                given["content"] = _with(given["content"], answer)


def _with(content: Content, example: dict[str, Any]) -> Content:
    form = "application/json"
    return {**content, form: {**content[form], "example": example}} if form in content else content
