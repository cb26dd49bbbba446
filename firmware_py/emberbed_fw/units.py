"""The integers of the tick: names, ranges and scalings, in one place.

temperature  `_cdeg`   hundredths of a degree Celsius, MIN_CDEG..MAX_CDEG; NO_READING_CDEG = none
power        `_q15`    parts of full zone power, 0..FULL_POWER_Q15
time         `_ticks`  ticks of TICK_MS as the id of a reading; `_ms` milliseconds
energy       `_j`      joules, with the remainder kept in watt-ticks
gains        Kp Q8 (q15 per cdeg), Ki Q14 per tick, Kd Q4, calibration gain Q12
"""

TICK_MS = 100
TICKS_PER_S = 10
TICKS_PER_MIN = 600

CHANNELS = 8  # final width of every table; up to four are used so far
ZONES = 4  # final width of every table; one is used so far
WORD_BYTES = 4  # converter bytes kept for each channel

MIN_CDEG = -27000
MAX_CDEG = 140000
NO_READING_CDEG = -28000  # below absolute zero's neighbourhood: no reading can be mistaken for it

FULL_POWER_Q15 = 32768
CALIBRATION_ONE_Q12 = 4096

KP_ONE_Q8 = 256
KI_SHIFT = 14
KD_SHIFT = 4

NONE = 255  # "no stage", "no prompt", "no channel" in a byte field
