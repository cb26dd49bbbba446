"""The guard's numbers: hard ceilings and times that no setting, plan or command can loosen.

The module constants are what the guard uses. LIMITS says the same to people and tests, one row
each: (name, value, unit, why or source, hazard id of tests/safety/hazards.toml).
"""

HARD_CEILING_CDEG = 26000
LEAST_VALID_CDEG = -1000
MOST_VALID_CDEG = 35000
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

LIMITS = (
    ("HARD_CEILING_CDEG", HARD_CEILING_CDEG, "cdeg",
     "no setting or plan may allow more at any sensor; Pb-free package limit 260 degC,"
     " J-STD-020 table 4-2", "H01"),
    ("LEAST_VALID_CDEG", LEAST_VALID_CDEG, "cdeg", "a bench is never colder; proposal", "H02"),
    ("MOST_VALID_CDEG", MOST_VALID_CDEG, "cdeg", "beyond it the couple lies; proposal", "H02"),
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
)

assert LEAST_VALID_CDEG < HANDLING_CDEG < HARD_CEILING_CDEG < MOST_VALID_CDEG
assert LATE_TICK_MS < OVERRUN_TICK_MS
assert ACK_AGE_TICKS < LEASE_TICKS
