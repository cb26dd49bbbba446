"""A chip on an SPI bus as its pins see it: select, clock and data in, data out, edge by edge.

Time passes by `pass_ms`. What a couple's inputs feel is set by `feel`. Chips of this kind take data
on one clock edge and change it on the other; which is each chip's own. A chip that is not selected
lets go of its output, and the bus's pull-up shows 1.
"""

from dataclasses import dataclass

RELEASED = 1


@dataclass
class Felt:
    """What a converter's inputs feel, and its own temperature."""

    emf_mv: float = 0.0
    cold_c: float = 25.0
    is_open: bool = False
    to_ground: bool = False
    to_supply: bool = False


class SpiChip:
    """`select(0)` and `select(1)`, `clock(level, data_in)`; `data_out` is what the bus reads."""

    def __init__(self) -> None:
        self.felt = Felt()
        self.data_out = RELEASED
        self.selected = False
        self._clock = 0

    def feel(self, felt: Felt) -> None:
        """Let the inputs be so from now on."""
        self.felt = felt

    def select(self, level: int) -> None:
        """Take the level of the select line, low for selected."""
        selected = level == 0
        if selected == self.selected:
            return
        self.selected = selected
        if selected:
            self._begin()
        else:
            self.data_out = RELEASED
            self._end()

    def clock(self, level: int, data_in: int) -> None:
        """Take the levels of clock and data in."""
        rises, falls = level > self._clock, level < self._clock
        self._clock = level
        if self.selected and rises:
            self._rising(data_in)
        elif self.selected and falls:
            self._falling(data_in)

    def pass_ms(self, elapsed_ms: float) -> None:
        """Let time pass."""
        raise NotImplementedError

    def _begin(self) -> None:
        raise NotImplementedError

    def _end(self) -> None:
        raise NotImplementedError

    def _rising(self, data_in: int) -> None:
        raise NotImplementedError

    def _falling(self, data_in: int) -> None:
        raise NotImplementedError


class ShiftOut(SpiChip):
    """A chip that only talks: the first bit lies ready when selected, the next follow on falling
    edges; when all are out it goes on with 0."""

    BITS = 16

    def __init__(self) -> None:
        super().__init__()
        self.word = 0  # of the newest conversion
        self._left = 0  # bits that are still to go out

    def _begin(self) -> None:
        self._left = self.BITS
        self._show()

    def _end(self) -> None:
        self._left = 0

    def _rising(self, data_in: int) -> None:
        """Data stands still for the reader."""

    def _falling(self, data_in: int) -> None:
        self._left = max(self._left - 1, 0)
        self._show()

    def _show(self) -> None:
        self.data_out = self.word >> (self._left - 1) & 1 if self._left else 0
