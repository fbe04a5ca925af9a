"""Descent, loss per turn and a worked altitude budget.

LOSS_PER_TURN: CNATRA P-330 chapter 6 p. 112 and P-354 p. 1-8 (turboprop trainer: 9,000-12,000 ft/min, 120-150 deg/s,
360-600 ft a turn) and AOPA Flight Training, August 2011, p. 42 (7,500 ft/min, 200 deg/s, 225 ft). Columns: sink
ft/s, rate deg/s, loss ft.
BUDGET: worked from the P-330 row and an assumed 2,000 ft pull-out: 10,000 ft now, floor 5,000, 150 ft/s, 3.0 s a
turn, 2 recovery turns, 2 s reaction: 1,800 ft = 12.0 s = 4.0 turns left.
FIRST_TURN: FAA Airplane Flying Handbook, p. 128 of an online copy: first turn about 1,000 ft, each later about half.
"""

LOSS_PER_TURN = [(7500 / 60, 200.0, 225.0), (150.0, 120.0, 450.0), (150.0, 150.0, 360.0), (200.0, 120.0, 600.0)]
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
