"""Why a call is made: one code per reason, shared by the compiled step and the words.

The order of the cautions is the order in which they are spoken when several wait. Codes are part of saved states.
"""

from typing import Final

# Calls by priority, as indices into events.CALLS.
STATUS: Final = 0
TURN: Final = 1
CAUTION: Final = 2
RECOVER: Final = 3
CHUTE: Final = 4
ABANDON: Final = 5

# Reasons of cautions and status words; the code is also the bit that waits for a free channel.
TURNED_INVERTED: Final = 0
REVERSAL: Final = 1
STARTED_AGAIN: Final = 2
DATA_LOST: Final = 3
DATA_DEGRADED: Final = 4
POWER_ON: Final = 5
FLATTENING: Final = 6
RECOVERED: Final = 7
DATA_BACK: Final = 8
FIRST_STATUS: Final = RECOVERED
WAITING_REASONS: Final = 9
IN_SPIN_ONLY: Final = (1 << DATA_DEGRADED) | (1 << POWER_ON) | (1 << FLATTENING)  # bits that mean nothing after it

WHOLE_TURN: Final = 16

# Reasons of the three calls that repeat, the graver last: the bit within the call, and the code in the event.
RECOVER_TURNS: Final = 20
RECOVER_ALTITUDE: Final = 21
CHUTE_FLOOR: Final = 24
CHUTE_NOT_SLOWING: Final = 25
ABANDON_FLOOR: Final = 28
ABANDON_GROUND: Final = 29
FIRST_REASON: Final = (0, 0, 0, RECOVER_TURNS, CHUTE_FLOOR, ABANDON_FLOOR)

REASON_WORDS: Final = {
    TURNED_INVERTED: "turned inverted",
    REVERSAL: "reversal",
    STARTED_AGAIN: "spin started again",
    DATA_LOST: "data lost",
    DATA_DEGRADED: "data degraded",
    POWER_ON: "power above idle",
    FLATTENING: "flattening",
    RECOVERED: "recovered",
    DATA_BACK: "data back",
    WHOLE_TURN: "whole turn",
    RECOVER_TURNS: "planned turns complete within the lead",
    RECOVER_ALTITUDE: "cautious altitude left used up within the lead",
    CHUTE_FLOOR: "chute floor reached within the lead",
    CHUTE_NOT_SLOWING: "recovery controls have not slowed the rotation",
    ABANDON_FLOOR: "abandon floor reached within the lead",
    ABANDON_GROUND: "recovery above ground no longer likely",
}
# The same once it is no longer to come.
REACHED_WORDS: Final = {
    RECOVER_TURNS: "planned turns complete",
    RECOVER_ALTITUDE: "cautious altitude left used up",
    CHUTE_FLOOR: "below the chute floor",
    ABANDON_FLOOR: "below the abandon floor",
}
