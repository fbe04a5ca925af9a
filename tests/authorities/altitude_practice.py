"""A worked altitude budget, and what the first turn costs.

BUDGET: worked from CNATRA P-330 chapter 6 p. 112 (turboprop trainer: 9,000 ft/min, 120 deg/s) and an assumed 2,000 ft
pull-out: 10,000 ft now, floor 5,000, 150 ft/s, 3.0 s a turn, 2 recovery turns, 2 s reaction: 1,800 ft = 12.0 s = 4.0
turns left.
FIRST_TURN: FAA Airplane Flying Handbook, p. 128 of an online copy: first turn about 1,000 ft, each later about half.
"""

BUDGET = {
    "altitude_ft": 10_000.0,
    "floor_ft": 5_000.0,
    "sink_fps": 150.0,
    "seconds_per_turn": 3.0,
    "recovery_turns": 2.0,
    "pull_out_ft": 2_000.0,
    "reaction_s": 2.0,
    "left_ft": 1_800.0,
    "left_s": 12.0,
    "left_turns": 4.0,
}
FIRST_TURN = {"first_ft": 1_000.0, "later_ft": 500.0}
