"""The converters of a bench on their bus, whole or broken.

Takes the beads and the cold junction in degC and what happens at a time; gives the 32-byte buffer
that a device reads, and which channels have a conversion that is new. Faults act in the order of
the parts: couple and lead (a voltage), chip (its cold junction, its bits), conversion, bus. The
same seed gives the same noise, broken or not. A MAX6675 is asked in every third tick, its word
stands in between.
"""

from collections.abc import Sequence
from math import exp

from emberbed_sim.plant.converter import (
    OPEN_CIRCUIT,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    bus_bytes,
    chip_c,
    cold_field,
    hot_field,
    type_k_mv,
)
from emberbed_sim.plant.converter_words import MAX6675, MAX31855K, believed_c, word_of
from emberbed_sim.plant.draws import Draws
from emberbed_sim.plant.fault_catalogue import FaultEvent
from emberbed_sim.plant.fault_rows import IN_THE_CONVERTER, IN_THE_COUPLE
from emberbed_sim.plant.happenings import Happening

Own = dict[str, FaultEvent]
# The bead's own contact to ground is a matter of its converter too.
CONVERTER_ROWS = {"bead_grounded"} | {kind.name for kind in (*IN_THE_COUPLE, *IN_THE_CONVERTER)}
STOPPED = {"reading_sticks", "reading_stale"}
# A chip's own bits, by the row that raises them; an open input reads as nothing at all.
FAULT_BITS = {
    "tc_open": OPEN_CIRCUIT,
    "bead_grounded": SHORT_TO_GROUND,
    "tc_to_supply": SHORT_TO_SUPPLY,
}
WARMING_S = 120.0  # a chip of a few grams of board beside something hot; from memory
HIT_SHARE = 0.2  # of the readings that interference reaches; from memory
ALL_ONE, BUS_ERROR = 1, 2  # amounts of bus_dead beside 0, all bits 0
NO_WORD, EVERY_BIT = 0, 0xFFFFFFFF
COARSE_TICKS = 3  # between two words of a MAX6675
PORT_BUS_ERROR = 16  # wiring, restated here as in switches.py; a test compares


class ConverterBoard:
    """Converters on channels 0, 1, ...; `fresh_channels` has the bits of the last conversions."""

    def __init__(self, kinds: Sequence[str], noise_c: float, seed: int) -> None:
        sensors = len(kinds)
        self._kinds = kinds
        self._all_usual = all(kind == MAX31855K for kind in kinds)
        self._ticks = 0
        self._noise_c = noise_c
        self._random = Draws(seed)
        self._hits = Draws(f"hits {seed}")  # apart from the noise
        self._words = [NO_WORD] * sensors
        self._all_fresh = self.fresh_channels = (1 << sensors) - 1
        self.port_flags = 0

    def convert(
        self,
        beads_c: Sequence[float],
        cold_c: float,
        around_c: float,
        now: Happening,
        elapsed_s: float,
    ) -> bytes:
        """Return the buffer of conversions that begin now; `around_c` is the air at the leads."""
        gauss, noise_c = self._random.gauss, self._noise_c
        noisy_c = [bead_c + gauss(0.0, noise_c) for bead_c in beads_c]
        self._ticks += 1
        if self._all_usual and (not now or now.keys().isdisjoint(CONVERTER_ROWS)):
            cold_mv, cold = type_k_mv(cold_c), cold_field(cold_c)  # once for all: this is the rule
            self._words = [
                hot_field(chip_c(type_k_mv(hot_c) - cold_mv, cold_c)) | cold for hot_c in noisy_c
            ]
            self.fresh_channels = self._all_fresh
            self.port_flags = 0
            return bus_bytes(self._words)
        words = []
        fresh = self._all_fresh
        for channel, bead_c in enumerate(beads_c):
            own = _of_channel(now, channel) if now else {}
            if own.keys() & STOPPED:
                words.append(self._words[channel])
                if "reading_stale" in own:
                    fresh &= ~(1 << channel)
            elif self._between(channel):
                words.append(self._words[channel])
            else:
                noise_c = noisy_c[channel] - bead_c
                kind = self._kinds[channel]
                words.append(self._read(kind, own, bead_c, noise_c, cold_c, around_c, elapsed_s))
        self._words, self.fresh_channels = words, fresh
        return self._on_bus(words, now)

    def _between(self, channel: int) -> bool:
        """Tell whether this channel's converter is not asked in this tick."""
        coarse = self._kinds[channel] == MAX6675 and self._words[channel] != NO_WORD
        return coarse and self._ticks % COARSE_TICKS != 0

    def _read(
        self, kind: str, own: Own, bead_c: float, noise_c: float, cold_c: float, around_c: float,
        now_s: float,
    ) -> int:  # fmt: skip
        """Return the word of a converter with these faults of its own."""
        tip_c = cold_c if "tc_grounded_unseen" in own else bead_c
        if "tc_shorted" in own:
            tip_c = around_c
        emf_mv = type_k_mv(tip_c + noise_c) - type_k_mv(cold_c)
        if "tc_wrong_type" in own:
            emf_mv *= own["tc_wrong_type"].amount / 100
        if "tc_reversed" in own:
            emf_mv = -emf_mv
        if "cold_junction_wrong" in own:
            warm = own["cold_junction_wrong"]
            cold_c += warm.amount * (1 - exp((warm.onset_s - now_s) / WARMING_S))
        read_c = believed_c(kind, emf_mv, cold_c) + self._hit_c(own)
        if "tc_drifts" in own:
            drift = own["tc_drifts"]
            read_c += drift.amount * 1e-3 * (now_s - drift.onset_s)
        bits = sum(bit for name, bit in FAULT_BITS.items() if name in own)
        return word_of(kind, 0.0 if "tc_open" in own else read_c, cold_c, bits)

    def _hit_c(self, own: Own) -> float:
        """Return what interference adds to this conversion."""
        if "interference" not in own or self._hits.random() >= HIT_SHARE:
            return 0.0
        return own["interference"].amount * self._hits.choice((-1, 1))

    def _on_bus(self, words: list[int], now: Happening) -> bytes:
        """Return what a device reads of these words."""
        read = list(words)
        for event in now.get("channels_swapped", ()):
            one, other = event.part, (event.part + 1) % len(read)
            read[one], read[other] = read[other], read[one]
        self.port_flags = 0
        for event in now.get("bus_dead", ()):
            read = [EVERY_BIT if event.amount == ALL_ONE else NO_WORD] * len(read)
            self.port_flags = PORT_BUS_ERROR if event.amount == BUS_ERROR else 0
        return bus_bytes(read)


def _of_channel(now: Happening, channel: int) -> Own:
    """Return the faults of one couple and its converter, by name."""
    return {
        name: event
        for name, events in now.items()
        for event in events
        if name in CONVERTER_ROWS and event.part == channel
    }
