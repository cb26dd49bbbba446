"""NTC thermistor at an analogue input, in integers: the SSR's heatsink.

The thermistor goes from the input to ground, a resistor of the same value as the thermistor at
25 degC from the input to the supply, so that the reading is a share of the supply (65535 = all of
it) and only the material constant B is left: RATIO_OF has a table for each, every 10 degC from
-20 degC, from R = R25 exp(B (1/T - 1/298.15 K)); between the rows a straight line, at worst 0.5
degC off. Ordinary parts are within 1 or 2 degC, an ESP32's analogue input adds a few; from memory.
"""

from emberbed_fw.integer_math import divide_round
from emberbed_fw.units import NO_READING_CDEG

FIRST_CDEG = -2000
STEP_CDEG = 1000
B_K = (3950, 3435)  # the two usual ones, by the channel's options
RATIO_OF = (
    (59855, 55932, 50511, 43816, 36454, 29202, 22706, 17306, 13049, 9807, 7387, 5596, 4273, 3293,
     2563, 2015, 1600, 1283),
    (58047, 53893, 48603, 42468, 35977, 29664, 23949, 19060, 15049, 11850, 9342, 7394, 5887, 4721,
     3814, 3106, 2550, 2110),
)


def cdeg_of_ratio(ratio, table):
    """Return hundredths of a degree C for a share of the supply, NO_READING_CDEG outside."""
    rows = RATIO_OF[table]
    for row in range(len(rows) - 1):
        if rows[row] >= ratio >= rows[row + 1]:
            below = (rows[row] - ratio) * STEP_CDEG
            return FIRST_CDEG + row * STEP_CDEG + divide_round(below, rows[row] - rows[row + 1])
    return NO_READING_CDEG
