"""Type K thermocouple in integers: EMF table and the correction of a linear converter.

EMF_TENTH_UV is the ITS-90 reference function (NIST Monograph 175) each 10 degC from -200 degC, in
tenths of a microvolt, reference junction 0 degC; between the rows a straight line (worst 0.02 degC
off over 0-400 degC). The MAX31855K assumes 41.276 uV/degC (its datasheet, page 8), which is up to
3.4 degC wrong there, the MAX6675 41 uV/degC; `correct_linear` undoes that.
"""

from emberbed_fw.integer_math import divide_round
from emberbed_fw.units import NO_READING_CDEG

FIRST_CDEG = -20000
STEP_CDEG = 1000
LINEAR_NV_PER_DEGC = 41276
MAX6675_NV_PER_DEGC = 41000
MOST_DELTA_SIXTEENTHS = 24000  # 1500 degC; times 41276 stays below 2**30

EMF_TENTH_UV = (
    -58914, -57297, -55503, -53540, -51412, -49127, -46690, -44106, -41382, -38523, -35536,
    -32427, -29201, -25866, -22428, -18894, -15269, -11561, -7775, -3919, 0, 3969, 7981, 12033,
    16118, 20231, 24365, 28512, 32666, 36819, 40962, 45091, 49199, 53284, 57345, 61383, 65402,
    69406, 73400, 77391, 81385, 85386, 89399, 93427, 97472, 101534, 105613, 109709, 113821,
    117947, 122086, 126236, 130396, 134566, 138745, 142931, 147126, 151327, 155536, 159750,
    163971, 168198, 172431, 176669, 180911, 185158, 189409, 193663, 197921, 202181, 206443,
    210706, 214971, 219236, 223500, 227764, 232027, 236288, 240547, 244802, 249055, 253303,
    257547, 261786, 266020, 270249, 274471, 278686, 282895, 287096, 291290, 295476, 299653,
    303822, 307983, 312135, 316277, 320410, 324534, 328649, 332754, 336849, 340934, 345010,
    349075, 353131, 357177, 361212, 365238, 369254, 373259, 377255, 381240, 385215, 389180,
    393135, 397080, 401015, 404939, 408853, 412756, 416649, 420531, 424403, 428263, 432112,
    435951, 439777, 443593, 447396, 451187, 454966, 458733, 462487, 466227, 469955, 473668,
    477368, 481054, 484726, 488382, 492024, 495651, 499263, 502858, 506439, 510003, 513552,
    517085, 520602, 524103, 527588, 531058, 534512, 537952, 541377, 544788, 548186, 551570,
)
LAST_ROW = len(EMF_TENTH_UV) - 1


def emf_of_sixteenths(sixteenths):
    """Return the EMF in tenths of a microvolt at a temperature in sixteenths of a degree C."""
    from_first = sixteenths * 25 - FIRST_CDEG * 4  # quarters of a cdeg above the table's start
    row = from_first // (STEP_CDEG * 4)
    if row < 0 or row >= LAST_ROW:
        return None
    rise = EMF_TENTH_UV[row + 1] - EMF_TENTH_UV[row]
    return EMF_TENTH_UV[row] + divide_round(rise * (from_first % (STEP_CDEG * 4)), STEP_CDEG * 4)


def cdeg_of_emf(emf_tenth_uv):
    """Return hundredths of a degree C for an EMF, NO_READING_CDEG outside the table."""
    low = 0
    high = LAST_ROW
    if not EMF_TENTH_UV[low] <= emf_tenth_uv < EMF_TENTH_UV[high]:
        return NO_READING_CDEG
    while high - low > 1:
        middle = (low + high) // 2
        if EMF_TENTH_UV[middle] <= emf_tenth_uv:
            low = middle
        else:
            high = middle
    above = emf_tenth_uv - EMF_TENTH_UV[low]
    rise = EMF_TENTH_UV[high] - EMF_TENTH_UV[low]
    return FIRST_CDEG + low * STEP_CDEG + divide_round(above * STEP_CDEG, rise)


def correct_linear(hot_quarters, cold_sixteenths, nv_per_degc=LINEAR_NV_PER_DEGC):
    """Return the true hot junction in cdeg from a linear converter's two numbers.

    hot_quarters: what it says for the couple, 0.25 degC each; cold_sixteenths: its own die, 0.0625
    degC each; nv_per_degc: the straight line that it assumes. Outside -200..1380
    degC: NO_READING_CDEG.
    """
    delta = hot_quarters * 4 - cold_sixteenths
    cold_emf = emf_of_sixteenths(cold_sixteenths)
    if cold_emf is None or not -MOST_DELTA_SIXTEENTHS <= delta <= MOST_DELTA_SIXTEENTHS:
        return NO_READING_CDEG
    return cdeg_of_emf(divide_round(delta * nv_per_degc, 1600) + cold_emf)
