"""Integer helpers that every tick may use: clamp, rounded division, interpolation.

Everything stays inside a 31-bit signed small int (abs(x) < 2**30), so nothing here allocates and a
32-bit interpreter gives the same bits as a 64-bit one. Callers keep their products inside it.
"""

SMALL_INT_MAX = 1073741823  # 2**30 - 1, the largest integer a 32-bit MicroPython keeps unboxed


def clamp(number, low, high):
    """Return `number` moved into low..high (all in the same unit)."""
    if number < low:
        return low
    if number > high:
        return high
    return number


def divide_round(dividend, divisor):
    """Divide to the nearest integer, halves towards plus infinity; `divisor` above 0."""
    return (dividend + divisor // 2) // divisor


def interpolate(x, x0, y0, x1, y1):
    """Return y on the line through (x0, y0) and (x1, y1), rounded; needs x1 > x0 and
    abs(y1 - y0) * (x1 - x0) < 2**30."""
    return y0 + divide_round((y1 - y0) * (x - x0), x1 - x0)


def bit_is_set(bits, number):
    """Tell whether bit `number` of `bits` is 1."""
    return (bits >> number) & 1 == 1
