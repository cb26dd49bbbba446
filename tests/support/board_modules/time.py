"""MicroPython's `time` on a clock that the other end moves."""

import pins_link

PERIOD = 1 << 30


def ticks_ms():
    return pins_link.Now.ms % PERIOD


def ticks_us():
    return pins_link.Now.ms * 1000 % PERIOD


def ticks_add(ticks, delta):
    return (ticks + delta) % PERIOD


def ticks_diff(one, other):
    return (one - other + PERIOD // 2) % PERIOD - PERIOD // 2


def sleep_ms(ms):
    end = pins_link.Now.ms + ms
    while pins_link.Now.ms < end:
        pins_link.pass_time(end - pins_link.Now.ms)
