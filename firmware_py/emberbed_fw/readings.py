"""Readings: what each configured channel says this tick, and whether it may be believed.

Takes converter words and the bits that say which channels gave a fresh conversion; gives `cdeg`
(NO_READING_CDEG when none), `cold_cdeg` and `fault` (a sensor code of trip_codes) per channel. A
doubtful reading is never repeated from memory. A converter that keeps its own temperature to itself
is taken to be as warm as the first one that tells, or as a workshop.
"""

from emberbed_fw import converters, safety_limits
from emberbed_fw.integer_math import bit_is_set, clamp, divide_round
from emberbed_fw.trip_codes import (
    NO_TRIP,
    SENSOR_BUS_DEAD,
    SENSOR_RANGE,
    SENSOR_STALE,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, NONE

UNTOLD_COLD_CDEG = 2500


class Readings:
    """All channels of one tick."""

    STATE = ("cdeg", "cold_cdeg", "fault")

    def __init__(self, settings):
        self._settings = settings
        self._most_valid_cdeg = [
            safety_limits.MOST_VALID_EMITTER_CDEG if settings.sits_on_emitter(channel)
            else safety_limits.MOST_VALID_CDEG for channel in range(CHANNELS)
        ]
        self.cdeg = [NO_READING_CDEG] * CHANNELS
        self.cold_cdeg = [0] * CHANNELS
        self.fault = [NO_TRIP] * CHANNELS
        telling = [channel for channel in range(CHANNELS)
                   if converters.tells_cold(settings.converter[channel])]
        self._tells_for_all = telling[0] if telling else NONE

    def update(self, words, fresh_channels, bus_error):
        """Read every fitted channel from `words`."""
        for channel in range(CHANNELS):
            if self._settings.channel_fitted(channel):
                self._update_channel(words, channel, bit_is_set(fresh_channels, channel), bus_error)

    def _update_channel(self, words, channel, fresh, bus_error):
        kind = self._settings.converter[channel]
        high = converters.high_half(words, channel)
        low = converters.low_half(words, channel)
        fault = SENSOR_BUS_DEAD if bus_error else converters.find_fault(kind, high, low)
        if not fresh and fault == NO_TRIP:
            fault = SENSOR_STALE
        cdeg = NO_READING_CDEG
        if fault == NO_TRIP:
            options = self._settings.options[channel]
            cdeg = self._calibrated(channel, converters.hot_cdeg(kind, options, high, low))
            if not safety_limits.LEAST_VALID_CDEG <= cdeg <= self._most_valid_cdeg[channel]:
                fault = SENSOR_RANGE
                cdeg = NO_READING_CDEG
        self.fault[channel] = fault
        self.cdeg[channel] = cdeg
        self.cold_cdeg[channel] = self._cold(words, channel)

    def _cold(self, words, channel):
        if not converters.tells_cold(self._settings.converter[channel]):
            channel = self._tells_for_all
            if channel == NONE or self.fault[channel] != NO_TRIP:
                return UNTOLD_COLD_CDEG
        low = converters.low_half(words, channel)
        kind = self._settings.converter[channel]
        return divide_round(converters.cold_sixteenths(kind, low) * 25, 4)

    def _calibrated(self, channel, cdeg):
        if cdeg == NO_READING_CDEG:
            return cdeg
        scaled = divide_round(cdeg * self._settings.gain_q12[channel], 4096)
        return clamp(scaled + self._settings.offset_cdeg[channel], -27000, 140000)

    def is_good(self, channel):
        return self.cdeg[channel] != NO_READING_CDEG

    def all_good(self, in_use):
        """Tell whether every channel marked in `in_use` has a reading."""
        for channel in range(CHANNELS):
            if in_use[channel] and not self.is_good(channel):
                return False
        return True

    def near_cold(self, marked):
        """Tell whether every marked channel reads about what its converter's own end does."""
        for channel in range(CHANNELS):
            over = self.cdeg[channel] - self.cold_cdeg[channel]
            if marked[channel] and abs(over) > safety_limits.COLD_START_CDEG:
                return False
        return True

    def hottest_cdeg(self, in_use=None):
        """Return the highest good reading of the channels marked in `in_use` (None: of all),
        NO_READING_CDEG when there is none."""
        hottest = NO_READING_CDEG
        for channel in range(CHANNELS):
            if in_use is None or in_use[channel]:
                hottest = max(hottest, self.cdeg[channel])
        return hottest
