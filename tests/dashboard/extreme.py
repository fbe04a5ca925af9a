"""A state of Watch in which every figure is as wide as it gets."""

EXTREME = {
    "link": "ok", "phase": "developed", "in_spin": True, "orientation": "inverted", "direction": "right",
    "mode": "moderately steep", "oscillatory": True, "turns": 12.94, "planned_turns": 10.5, "altitude_ft": 38_888.0,
    "altitude_left_ft": {"median": 23_456.0, "bound": -12_345.0}, "seconds_left": {"median": 188.0, "bound": -88.0},
    "turns_left": {"median": 28.8, "bound": -18.8}, "data_age_s": 0.1, "estimated": True, "sink_fpm": 18_888.0,
    "floors": {"recovery_ft": 8_000.0, "abandon_ft": 6_000.0, "ground_ft": 0.0}, "quality": [],
}  # fmt: skip
