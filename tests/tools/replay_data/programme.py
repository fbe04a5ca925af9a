"""The invented programme of the rehearsal recordings: cards, floors, stories. Nobody and nothing here is real."""

from __future__ import annotations

from tests.tools.replay_data.parts import (
    AEROBATIC,
    CORVANE,
    CORVANE_LONG,
    LONG_NOSE,
    LONG_NOSE_FLAT,
    PELLAM,
    TRAINER,
    VESSARY,
    Rehearsal,
    card,
    floors,
    plan,
)
from tests.truth import manoeuvres_other as other
from tests.truth import manoeuvres_spin as spin

PROGRAMME: list[Rehearsal] = [
    Rehearsal(
        "r01-first-turns", "Build-up: one turn, then two, to the right",
        "Two plain spins to the right; everything goes as planned.",
        "First sortie of the trainer over the Quillmere test area. The pilot flies one turn, recovers, climbs back, flies "
        "two. The engineer in the control room has never worked with this crew.",
        [
            '*Turn* call: "one" in each spin. "Two" falls together with *recover*, and the higher call is spoken. The '
            "crew's own count may be a turn less: their first turn is the departure.",
            "*Recover* shortly before the planned turns are complete. It must stop as soon as the pedal goes in.",
            "*Recovered* with the height lost. Compare it with the plan's budget and with the second spin.",
            "Nothing else. A caution here is worth a question.",
        ],
        VESSARY, lambda: spin.several([1, 1], [1.0, 2.0]), 3800.0, 48.0,
        plan(
            TRAINER,
            [card("A1", "one turn right", "right", 1.0, 12000.0), card("A2", "two turns right", "right", 2.0, 12000.0)],
            floors(5500.0, 4000.0),
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
        plan(
            AEROBATIC,
            [card("B1", "three turns left", "left", 3.0, 13500.0), card("B2", "three turns right", "right", 3.0, 13500.0)],
            floors(5500.0, 4000.0),
        ),
        rate_hz=25.0, seed=3,
    ),
    Rehearsal(
        "r03-oscillatory",
        "Five turns left, oscillatory",
        "Rotation and angle of attack swing once per turn; a dip looks like a recovery and is none.",
        "The trainer is flown with the ailerons swinging from side to side, half a turn each way: nose and rotation swing "
        "with them. A watcher who goes by the turn needle alone will think it is stopping, several times.",
        [
            "The turn calls go on through every dip. There is no *recovered* before the pedal goes in.",
            "The word *oscillatory* beside the mode, if the swing is large enough for the tool's own threshold.",
            "Seconds per turn are those of a whole turn; do not read the rate of rotation at one instant.",
        ],
        VESSARY,
        lambda: spin.switching_ailerons(-1, 5.0, 0.3),
        4900.0,
        48.0,
        plan(TRAINER, [card("C1", "five turns left", "left", 5.0, 16000.0)], floors(5500.0, 4000.0)),
        seed=5,
    ),
    Rehearsal(
        "r04-flat-slow-recovery", "Five turns right, flat; two turns to recover",
        "The mass along the fuselage holds the nose up: recovery takes turns, and the call must allow for them.",
        "With the long fuselage the spin goes flat, and after the pedal it goes on turning. The recovery controls are "
        "right; they only need their time and height.",
        [
            "The mode goes from *steep* to *flat*; a *caution* for flattening may come with it.",
            "After the pedal the turns go on. The tool must not say *recovered*, and must not say *chute* while the "
            "rotation is slowing within the plan's turns.",
            "Altitude left at the moment of the pedal against the height at level flight.",
        ],
        CORVANE_LONG, lambda: spin.plain(1, 5.0, delay=0.8), 7600.0, 85.0,
        plan(LONG_NOSE_FLAT, [card("D1", "five turns right", "right", 5.0, 24500.0)], floors(9000.0, 6500.0, 8000.0)),
        seed=2,
    ),
    Rehearsal(
        "r05-inverted", "Three turns inverted",
        "Rolled inverted, stick forward: direction as the crew feel it, and what an observer sees, are opposite.",
        "The aerobatic aircraft enters from inverted level flight. The crew's left is the yaw they feel; from above it "
        "turns the other way.",
        [
            "*Inverted* in words, with the direction of the yaw rate. The sense from above is the opposite.",
            "The half roll before the entry is no spin.",
            "Load factor is negative throughout; the crew will be short of words.",
        ],
        PELLAM, lambda: spin.plain(-1, 3.0, inverted=True, forward=-0.2), 5600.0, 52.0,
        plan(
            AEROBATIC,
            [card("E1", "three turns inverted left", "left", 3.0, 17000.0, orientation="inverted")],
            floors(6000.0, 4500.0),
        ),
        seed=4,
    ),
    Rehearsal(
        "r06-overcontrol", "Recovery too strong: upright right, then inverted",
        "The stick goes full forward and stays there: the upright spin ends in an inverted one.",
        "The pilot recovers hard and holds the controls, waiting for the rotation to stop. It does, and starts again with "
        "the crew hanging in the straps. Nobody in the cockpit can tell at once; the control room can.",
        [
            "The upright spin *ends*; then *caution* with the words for turned inverted. This is the call of the sortie.",
            "The direction changes too. Say what the tool says, not what the card says.",
            "No *recover* in the second spin: no card plans it, and there is height enough. The crew must not wait for it.",
        ],
        PELLAM, lambda: spin.overcontrol(1, 3.0, held_s=5.0, inverted_turns=1.2), 5600.0, 46.0,
        plan(AEROBATIC, [card("F1", "three turns right", "right", 3.0, 17500.0)], floors(6000.0, 4500.0)),
        seed=6,
    ),
    Rehearsal(
        "r07-data-lost", "Four turns right, data lost for two seconds",
        "The link drops in the third turn; the watch goes on with what it knew.",
        "A plain spin of the trainer, but the receiving station loses the aircraft behind the ridge at Harl for two "
        "seconds, right when the room would like to know.",
        [
            "*Caution, data lost* within the plan's half second, and *data back* after it.",
            "Turns and altitude left go on, marked *estimated*, the bound widening.",
            "The turn count afterwards agrees with the one before.",
        ],
        VESSARY, lambda: spin.plain(1, 4.0), 4600.0, 48.0,
        plan(TRAINER, [card("G1", "four turns right", "right", 4.0, 15000.0)], floors(5500.0, 4000.0)),
        seed=7, lost_s=(13.0, 15.0),
    ),
    Rehearsal(
        "r08-abandon", "It does not recover",
        "Recovery controls go in, the rotation does not slow; chute floor, abandon floor.",
        "The long-nosed Corvane is loaded aft of its limit. Stick and pedal go where they should after four turns, and "
        "nothing happens. The room has one thing left to do, and must do it early.",
        [
            "*Recover* at the planned turns. It stops when the pedal goes in.",
            "*Chute* after the plan's turns without slowing, or at the chute floor, whichever comes first. The simulated "
            "crew do not pull it.",
            "*Abandon* before the floor, by the plan's reaction, speaking and telemetry times, and again until someone "
            "acknowledges. Practise saying it.",
        ],
        CORVANE_LONG, lambda: spin.stuck_in(1, 4.0, 34.0), 6800.0, 85.0,
        plan(LONG_NOSE_FLAT, [card("H1", "four turns right", "right", 4.0, 22000.0)], floors(14000.0, 11500.0, 13000.0)),
        seed=8,
    ),
    Rehearsal(
        "r09-power-left-on", "Three turns left with the power left on",
        "The throttle stays open through the spin: a caution, and a flatter, longer business.",
        "The pilot has climbed hard to the entry height and forgets the throttle. The slipstream keeps the tail working "
        "and the nose up.",
        [
            "*Caution* for power above idle, once the spin is known.",
            "Loss per turn compared with the same card at idle.",
        ],
        VESSARY, lambda: spin.power_left_on(-1, 3.0, 0.6), 4300.0, 48.0,
        plan(TRAINER, [card("I1", "three turns left", "left", 3.0, 14000.0)], floors(5500.0, 4000.0)),
        seed=9,
    ),
    Rehearsal(
        "r10-spiral", "Not a spin: the entry falls out into a spiral",
        "Rotation without a stall, speed rising: the cure is another one, and the watch must not count turns.",
        "The trainer drops a wing, but it flies: bank, speed and load grow. Holding pro-spin controls now costs a wing, "
        "and anti-spin controls would not help.",
        [
            "No *turn* calls and no *recover*.",
            "The state says *spiral* once the rotation is steady and the speed rises.",
        ],
        VESSARY, lambda: other.spiral(1, 1.25, -0.25, 1.5), 3400.0, 62.0,
        plan(TRAINER, [card("J1", "one turn right", "right", 1.0, 11000.0)], floors(5000.0, 3500.0)),
        seed=10,
    ),
    Rehearsal(
        "r11-reversal", "Two turns left, and straight into a spin to the right",
        "Pedal reversed with the stick still aft: it stops, and starts again the other way.",
        "The pedal goes in and the stick stays back. The rotation stops, the crew breathe out, and the other wing drops.",
        [
            "The first spin ends; the second starts the other way, with a *caution* for the reversal.",
            "The turns of the second spin count from one.",
        ],
        CORVANE, lambda: spin.reversal(-1, 2.0, back_turns=1.2, after=0.9, help_roll=0.4), 7000.0, 85.0,
        plan(LONG_NOSE, [card("K1", "two turns left", "left", 2.0, 22500.0)], floors(8000.0, 6000.0, 7000.0)),
        seed=11,
    ),
]  # fmt: skip


def by_id(rehearsal_id: str) -> Rehearsal:
    """One rehearsal; KeyError when there is none of that id."""
    return {item.id: item for item in PROGRAMME}[rehearsal_id]
