"""The guard's numbers: hard ceilings and times that no setting, plan or command can loosen.

The module constants are what the guard uses. LIMITS says the same to people and tests, one row
each: (name, value, unit, why or source, hazard id of tests/safety/hazards.toml).
"""

HARD_CEILING_CDEG = 26000
EMITTER_CEILING_CDEG = 90000
LEAST_VALID_CDEG = -1000
MOST_VALID_CDEG = 35000
MOST_VALID_EMITTER_CDEG = 110000
DOUBTFUL_TICKS_TO_LATCH = 3
LEASE_TICKS = 20
ACK_AGE_TICKS = 10
LATE_TICK_MS = 120
OVERRUN_TICK_MS = 300
UNCOMMANDED_TICKS = 3
MISSING_TICKS = 10
CONTACTOR_TICKS = 5
HOT_PROOF_DARK_TICKS = 10
HOT_PROOF_PULSE_TICKS = 5
PRESS_RELEASED_TICKS = 3
PRESS_HELD_TICKS = 10
PRESS_VALID_TICKS = 1200
COLD_PROOF_GOOD_TICKS = 10
HANDLING_CDEG = 5000
HANDLING_TICKS = 10
LEAST_COOL_TICKS = 1200
BLIND_COOL_TICKS = 18000
LONGEST_COOL_TICKS = 72000
ANSWER_TICKS = 600
MOST_OFFSET_CDEG = 500
MOST_EXTRA_TICKS = 6000
HELD_FREELY_CDEG = 11000
HELD_ASK_TICKS = 1800
GO_ON_TICKS = 1800
GO_ON_TRIPS = 3
PANEL_TICKS = 9000
LIFT_DROP_CDEG = 600
LIFT_AIR_DROP_CDEG = 1000
LIFT_BACK_CDEG = 300
LIFT_TICKS = 100
AIR_SETTLE_TICKS = 300
PULLED_TICKS = 100
AIR_HOT_TICKS = 100
COMING_ROOM_CDEG = 300
COMING_TICKS = 10
START_RISE_CDEG = 500
START_S = 65
START_ANY_BOARD_S = 85
BALANCE_TRIP_MK = 5000
BALANCE_WARN_MK = 2500
BALANCE_TICKS = 60
WARM_AROUND_CDEG = 2000
MOST_ASKS = 1
BEHIND_CDEG = 2500
BEHIND_TICKS = 50
STUCK_TICKS = 100
STUCK_MOVED_MK = 1000
STUCK_ALONE_TICKS = 900
JUMP_CDEG = 2000
RISE_CDEG = 960
STILL_RISES_CDEG = 30
JUMP_TICKS = 10
DOUBT_TICKS = 250
BAD_READING_TICKS = 12
PAIR_APART_CDEG = 1200
PAIR_PERCENT = 5
PAIR_OFFSET_CDEG = 500
PAIR_TICKS = 50
LEAST_COLD_CDEG = -1000
MOST_COLD_CDEG = 6000
COLD_APART_CDEG = 1000
COLD_TICKS = 30
COLD_START_CDEG = 1000
COLD_IDLE_TICKS = 18000
FAN_TICKS = 50
HEAP_TICKS = 3

LIMITS = (
    ("HARD_CEILING_CDEG", HARD_CEILING_CDEG, "cdeg",
     "no setting or plan may allow more at any sensor; Pb-free package limit 260 degC,"
     " J-STD-020 table 4-2", "H01"),
    ("EMITTER_CEILING_CDEG", EMITTER_CEILING_CDEG, "cdeg",
     "a sensor on an emitter: ceramic ones run at up to 750 degC, from memory", "H01"),
    ("LEAST_VALID_CDEG", LEAST_VALID_CDEG, "cdeg", "a bench is never colder; proposal", "H02"),
    ("MOST_VALID_CDEG", MOST_VALID_CDEG, "cdeg", "beyond it the couple lies; proposal", "H02"),
    ("MOST_VALID_EMITTER_CDEG", MOST_VALID_EMITTER_CDEG, "cdeg",
     "the same for a couple on an emitter; proposal", "H02"),
    ("DOUBTFUL_TICKS_TO_LATCH", DOUBTFUL_TICKS_TO_LATCH, "ticks",
     "one bad reading withdraws permission, three in a row latch", "H02"),
    ("LEASE_TICKS", LEASE_TICKS, "ticks", "2 s without a renewal and nobody is watching", "H03"),
    ("ACK_AGE_TICKS", ACK_AGE_TICKS, "ticks",
     "only a host that stores what happens now may answer for the heat", "H03"),
    ("LATE_TICK_MS", LATE_TICK_MS, "ms", "20 ms late: this tick does not heat", "H04"),
    ("OVERRUN_TICK_MS", OVERRUN_TICK_MS, "ms", "200 ms late: the machine is not keeping up", "H04"),
    ("UNCOMMANDED_TICKS", UNCOMMANDED_TICKS, "ticks",
     "current with the drive off: relay stuck on", "H05"),
    ("MISSING_TICKS", MISSING_TICKS, "ticks", "no current with the drive on", "H06"),
    ("CONTACTOR_TICKS", CONTACTOR_TICKS, "ticks",
     "longest time from coil command to mirror contact; proposal", "H05"),
    ("HOT_PROOF_DARK_TICKS", HOT_PROOF_DARK_TICKS, "ticks",
     "contactor closed, drive off: no current may flow", "H05"),
    ("HOT_PROOF_PULSE_TICKS", HOT_PROOF_PULSE_TICKS, "ticks",
     "energy-limited pulse that must show current", "H06"),
    ("PRESS_RELEASED_TICKS", PRESS_RELEASED_TICKS, "ticks",
     "the button must be seen released first: a stuck button cannot arm", "H07"),
    ("PRESS_HELD_TICKS", PRESS_HELD_TICKS, "ticks", "held for 1 s: not brushed by a sleeve", "H07"),
    ("PRESS_VALID_TICKS", PRESS_VALID_TICKS, "ticks", "2 min after arming, then offered again",
     "H07"),
    ("COLD_PROOF_GOOD_TICKS", COLD_PROOF_GOOD_TICKS, "ticks",
     "every configured sensor good for 1 s before the press counts", "H02"),
    ("HANDLING_CDEG", HANDLING_CDEG, "cdeg", "tools below 50 degC; common practice, no source",
     "H08"),
    ("HANDLING_TICKS", HANDLING_TICKS, "ticks", "below it for 1 s, not for one noisy reading",
     "H08"),
    ("LEAST_COOL_TICKS", LEAST_COOL_TICKS, "ticks",
     "heat stored in the emitters keeps arriving: the board was measured to peak up to 77 s after"
     " the switch opened, on a simulated bench", "H08"),
    ("BLIND_COOL_TICKS", BLIND_COOL_TICKS, "ticks",
     "30 min of cooling where no sensor can be believed", "H08"),
    ("LONGEST_COOL_TICKS", LONGEST_COOL_TICKS, "ticks",
     "2 h: a record that never ends is no record; proposal", "H08"),
    ("ANSWER_TICKS", ANSWER_TICKS, "ticks", "60 s to answer a question of the device", "H09"),
    ("MOST_OFFSET_CDEG", MOST_OFFSET_CDEG, "cdeg", "a person may shift targets by 5 degC", "H10"),
    ("MOST_EXTRA_TICKS", MOST_EXTRA_TICKS, "ticks",
     "a person may lengthen one stage by 10 min in all; proposal", "H10"),
    ("HELD_FREELY_CDEG", HELD_FREELY_CDEG, "cdeg",
     "above 110 degC flux is being used up; common practice, no source", "H10"),
    ("HELD_ASK_TICKS", HELD_ASK_TICKS, "ticks", "holding here above it is asked again after 3 min",
     "H10"),
    ("GO_ON_TICKS", GO_ON_TICKS, "ticks",
     "3 min to mend what tripped; later the board has cooled and a run begins anew", "H07"),
    ("GO_ON_TRIPS", GO_ON_TRIPS, "trips",
     "the third trip of one cause allows cooling only", "H02"),
    ("PANEL_TICKS", PANEL_TICKS, "ticks",
     "15 min between presses of a person who answers for the heat at the device", "H03"),
    ("LIFT_DROP_CDEG", LIFT_DROP_CDEG, "cdeg",
     "fall within about 3 s that no heated board can do: 2 degC a second", "H02"),
    ("LIFT_AIR_DROP_CDEG", LIFT_AIR_DROP_CDEG, "cdeg",
     "under hot air, and just after it, no bead on the board is so far below where it was", "H02"),
    ("LIFT_BACK_CDEG", LIFT_BACK_CDEG, "cdeg", "so near to where it was before: pressed down again",
     "H02"),
    ("LIFT_TICKS", LIFT_TICKS, "ticks", "10 s to press a lifting bead down; heat is off meanwhile",
     "H02"),
    ("AIR_SETTLE_TICKS", AIR_SETTLE_TICKS, "ticks",
     "30 s after hot air went away, readings may fall fast", "H02"),
    ("PULLED_TICKS", PULLED_TICKS, "ticks",
     "a couple without a reading for 10 s of cooling has been pulled out", "H08"),
    ("AIR_HOT_TICKS", AIR_HOT_TICKS, "ticks",
     "10 s for a person to take a jet off a bead; heat is withheld meanwhile", "H01"),
    ("COMING_ROOM_CDEG", COMING_ROOM_CDEG, "cdeg",
     "heat is withheld so far below a limit, counting what the emitters still hold", "H01"),
    ("COMING_TICKS", COMING_TICKS, "ticks",
     "1 s of a predicted peak above a limit although heat is withheld", "H01"),
    ("START_RISE_CDEG", START_RISE_CDEG, "cdeg",
     "so far the control sensor must rise before a budget of heat is spent", "H02"),
    ("START_S", START_S, "s",
     "of full power may pass before it has: 65 kJ of a 1 kW heater for a declared board, about"
     " 10 % over the worst of 20,000 healthy simulated starts", "H02"),
    ("START_ANY_BOARD_S", START_ANY_BOARD_S, "s", "the same for a board that nobody declared",
     "H02"),
    ("BALANCE_TRIP_MK", BALANCE_TRIP_MK, "mK",
     "rise that is missing, or in surplus, against the bounds of the guard's own model: 5 K, 17"
     " standard deviations of a noisy reading", "H02"),
    ("BALANCE_WARN_MK", BALANCE_WARN_MK, "mK", "half of that is told, and slows a ramp", "H02"),
    ("BALANCE_TICKS", BALANCE_TICKS, "ticks",
     "6 s of it: tweezers on a bead take less", "H02"),
    ("WARM_AROUND_CDEG", WARM_AROUND_CDEG, "cdeg",
     "the board's surroundings may be so much warmer than the cold junction; from simulated days"
     " of ten boards", "H05"),
    ("MOST_ASKS", MOST_ASKS, "questions", "whether the sensor touches is asked once a run", "H02"),
    ("BEHIND_CDEG", BEHIND_CDEG, "cdeg",
     "the control sensor so far below another one on the board: is it touching?", "H02"),
    ("BEHIND_TICKS", BEHIND_TICKS, "ticks", "for 5 s", "H02"),
    ("STUCK_TICKS", STUCK_TICKS, "ticks", "10 s of equal readings", "H02"),
    ("STUCK_MOVED_MK", STUCK_MOVED_MK, "mK",
     "while the board must have changed by 1 K: a quiet converter repeats itself", "H02"),
    ("STUCK_ALONE_TICKS", STUCK_ALONE_TICKS, "ticks",
     "or 90 s whatever the board must do: with steps of 0.25 degC and 0.05 degC of noise the"
     " longest run by chance was 637 readings of 4 million", "H02"),
    ("JUMP_CDEG", JUMP_CDEG, "cdeg", "no bead moves by 20 degC within one tick; proposal", "H02"),
    ("RISE_CDEG", RISE_CDEG, "cdeg",
     "ahead of a filter of 1.6 s: 6 degC a second, beyond any board of ours", "H02"),
    ("STILL_RISES_CDEG", STILL_RISES_CDEG, "cdeg", "and by so much in this tick: it goes on",
     "H02"),
    ("JUMP_TICKS", JUMP_TICKS, "ticks", "1 s of disturbed readings within a few seconds", "H02"),
    ("DOUBT_TICKS", DOUBT_TICKS, "ticks",
     "25 s of heat kept away by readings that are doubted now for one reason, now for another;"
     " good ticks make up for doubtful ones; proposal", "H02"),
    ("BAD_READING_TICKS", BAD_READING_TICKS, "ticks",
     "of doubt for each single reading that cannot be used: one in 13 goes on for ever", "H02"),
    ("PAIR_APART_CDEG", PAIR_APART_CDEG, "cdeg", "two beads within 10 mm of each other differ by"
     " 12 degC", "H02"),
    ("PAIR_PERCENT", PAIR_PERCENT, "%", "and 5 % of the warmer one", "H02"),
    ("PAIR_OFFSET_CDEG", PAIR_OFFSET_CDEG, "cdeg",
     "of their difference in the first hold, at most so much is taken as usual", "H02"),
    ("PAIR_TICKS", PAIR_TICKS, "ticks", "5 s apart", "H02"),
    ("LEAST_COLD_CDEG", LEAST_COLD_CDEG, "cdeg", "a workshop in winter; proposal", "H02"),
    ("MOST_COLD_CDEG", MOST_COLD_CDEG, "cdeg",
     "electronics this warm are heated by the bench, and their error adds to every reading", "H02"),
    ("COLD_APART_CDEG", COLD_APART_CDEG, "cdeg",
     "converters side by side on one board differ by 10 degC; proposal", "H02"),
    ("COLD_TICKS", COLD_TICKS, "ticks", "3 s of a cold junction that cannot be", "H02"),
    ("COLD_START_CDEG", COLD_START_CDEG, "cdeg",
     "a sensor on a bench that has rested reads within 10 degC of its cold junction", "H02"),
    ("COLD_IDLE_TICKS", COLD_IDLE_TICKS, "ticks", "30 min without heat: a bench that has rested",
     "H02"),
    ("FAN_TICKS", FAN_TICKS, "ticks", "5 s for a fan to start or stop turning", "H08"),
    ("HEAP_TICKS", HEAP_TICKS, "ticks", "the heap is nearly full: it would fail within a tick soon",
     "H04"),
)

assert LEAST_VALID_CDEG < HANDLING_CDEG < HARD_CEILING_CDEG < MOST_VALID_CDEG
assert BALANCE_WARN_MK < BALANCE_TRIP_MK and START_S < START_ANY_BOARD_S
assert LATE_TICK_MS < OVERRUN_TICK_MS
assert ACK_AGE_TICKS < LEASE_TICKS
