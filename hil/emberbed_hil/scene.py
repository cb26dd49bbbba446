"""What the injected device sees: temperatures where a step puts them, or those of the simulated
heater; senses that follow the outputs as healthy switches do, and can be made to lie.

`sample` gives the next reading, `step` takes what the device drove. Temperatures in degC by
channel.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from emberbed_fw import record
from emberbed_fw.ports import inject
from emberbed_fw.settings import CONVERTER_THERMISTOR, Settings
from emberbed_fw.units import CALIBRATION_ONE_Q12, CHANNELS, WORD_BYTES
from emberbed_hil.channel import Sample
from emberbed_hil.words import COLD_C, word

if TYPE_CHECKING:
    from emberbed_sim.plant.heater import SimulatedHeater

FOLLOWS, NEVER, ALWAYS = "follows", "never", "always"  # how a sense behaves
ROOM_C = 25.0
LAST_BIT_C, LIVE_TICKS = 0.25, 40  # a converter whose last bit never moves is stuck
STILL = 0


class Scene:
    """The bench of one device; `reset` makes everything healthy again and cold."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.fitted = [c for c in range(CHANNELS) if settings.channel_fitted(c)]
        self.zones = 0
        self.bits = 0
        self.ticks = 0
        self.reset()

    def reset(self) -> None:
        self.board_c = dict.fromkeys(self.fitted, ROOM_C)
        self.cold_c = COLD_C
        self.raw: dict[int, int] = {}  # channel -> word that replaces it
        self.fresh_channels = 0xFF
        self.contactor = FOLLOWS
        self.current = FOLLOWS
        self.button = False
        self.more_flags = 0
        self.live_ticks = LIVE_TICKS  # STILL: readings stand as they are
        self.lasts = 1
        self.how = inject.READS  # or else, for the next reading alone
        self.heater: SimulatedHeater | None = None
        self.course: Callable[[Scene], None] | None = None  # what changes from tick to tick

    def all_at(self, board_c: float) -> None:
        """Put every sensor at one temperature."""
        self.board_c = dict.fromkeys(self.fitted, board_c)

    def step(self, zones: int, bits: int) -> None:
        """Take what one tick drove."""
        self.zones, self.bits = zones, bits
        self.ticks += 1
        if self.heater is not None:
            self.heater.step(zones, bits)
            beads_c = self.heater.truth.beads_c
            self.board_c = dict(zip(self.fitted, beads_c, strict=True))

    def sample(self, elapsed_ms: int) -> Sample:
        """Return the device's next reading; `elapsed_ms` 0 leaves the clock to the device."""
        if self.course is not None:
            self.course(self)
        words = b"".join(self._word(c).to_bytes(WORD_BYTES, "big") for c in range(CHANNELS))
        how, self.how = self.how, inject.READS
        return Sample(words, self._flags(), self.fresh_channels, self.lasts, elapsed_ms, how)

    def _word(self, channel: int) -> int:
        if channel in self.raw:
            return self.raw[channel]
        if channel not in self.board_c:
            return 0
        live = self.live_ticks and self.ticks // self.live_ticks % 2
        return self.word_for(channel, self.board_c[channel] + (LAST_BIT_C if live else 0.0))

    def word_for(self, channel: int, reading_c: float) -> int:
        """Return the word by which the device reads this, its calibration taken back out."""
        kind = self._settings.converter[channel]
        if kind == CONVERTER_THERMISTOR:
            return word(kind, reading_c)
        gain = self._settings.gain_q12[channel] / CALIBRATION_ONE_Q12
        true_c = (reading_c - self._settings.offset_cdeg[channel] / 100) / gain
        return word(kind, true_c, self.cold_c)

    def _flags(self) -> int:
        closed = self.bits & record.OUT_CONTACTOR != 0
        flags = record.PORT_BUTTON if self.button else 0
        if _says(self.contactor, closed):
            flags |= record.PORT_CONTACTOR_CLOSED
        if _says(self.current, closed and self.zones != 0):
            flags |= record.PORT_HEAT_CURRENT
        if self.bits & record.OUT_FAN:
            flags |= record.PORT_FAN_TURNS
        return flags | self.more_flags


def _says(behaviour: str, truth: bool) -> bool:
    return truth if behaviour == FOLLOWS else behaviour == ALWAYS
