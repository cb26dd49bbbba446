"""All thermocouples of a bench: where they sit, how well they touch, what hands do to them.

Takes the bench's heat, the jet and what happens at a time; gives the beads' temperatures in degC.
Channel numbers are positions in the bench's list of sensors.
"""

from dataclasses import replace

from emberbed_sim.plant.baths import Bath
from emberbed_sim.plant.bench_plant import BenchPlant
from emberbed_sim.plant.fault_rows import AT_THE_BEADS
from emberbed_sim.plant.happenings import Happening
from emberbed_sim.plant.nozzle import STILL, Jet
from emberbed_sim.plant.parameters import BenchParameters
from emberbed_sim.plant.thermocouple import Pull, Thermocouple

LIFTED_CONTACT = 0.15  # the wire still leads a little heat into the bead; from memory
CREEP_S = 600.0  # until the tape has let go as far as it will; from memory
CREPT_CONTACT = 0.4  # share of the contact that is then left; from memory
FINGER_C = 33.0  # skin of a hand; from memory
FINGER_SHARE = 0.8  # how far a hand or a tool pulls a bead to its own temperature; from memory
TWEEZERS_SHARE = 0.7
BEAD_ROWS = frozenset(kind.name for kind in AT_THE_BEADS)


class Beads:
    """The thermocouples; `couples` is by channel."""

    def __init__(self, bench: BenchParameters) -> None:
        self._room_c = bench.surroundings.room_c
        self.couples = [Thermocouple(placed, self._room_c) for placed in bench.sensors]
        self._lifted: set[int] = set()
        self._fingers: dict[int, float] = {}  # channel -> simulated s when the finger goes away
        self._baths: dict[int, Bath] = {}
        self._wrong: dict[int, tuple[float, float]] = {}  # channel -> offset in K, gain

    def finger(self, channel: int, until_s: float) -> None:
        """Lay a finger on a bead until this simulated time in s."""
        self._known(channel)
        self._fingers[channel] = until_s

    def lift(self, channel: int) -> None:
        """Lift a bead off its place."""
        self._known(channel)
        self._lifted.add(channel)

    def press(self, channel: int) -> None:
        """Press a bead down again."""
        self._known(channel)
        self._lifted.discard(channel)

    def place(self, channel: int, x_mm: float, y_mm: float) -> None:
        """Set a bead of the board down on another spot, counted from the board's middle."""
        self._known(channel)
        couple = self.couples[channel]
        if couple.placement.where == "emitter":
            raise ValueError(f"Channel {channel} is fixed to an emitter; move one on the board.")
        couple.placement = replace(couple.placement, at_mm=(x_mm, y_mm))

    def dip(self, channel: int, bath: Bath | None) -> None:
        """Put a bead into a bath; None: back to its place."""
        self._known(channel)
        if bath is None:
            self._baths.pop(channel, None)
        else:
            self._baths[channel] = bath

    def misread(self, channel: int, offset_k: float, gain: float) -> None:
        """Give a channel a couple that shows its temperature in degC times `gain`, plus an
        offset."""
        self._known(channel)
        self._wrong[channel] = (offset_k, gain)

    def shown_c(self) -> list[float]:
        """Return what the couples show: the beads' temperatures, unless one misreads."""
        shown = [couple.bead_c for couple in self.couples]
        for channel, (offset_k, gain) in self._wrong.items():
            shown[channel] = shown[channel] * gain + offset_k
        return shown

    def onto_cold_board(self) -> None:
        """Tape the beads of board and chip to a board at room temperature."""
        for channel, couple in enumerate(self.couples):
            if couple.placement.where != "emitter":
                couple.settle(self._room_c)
                self._lifted.discard(channel)

    def settle_on_emitters(self, emitter_c: float) -> None:
        """Give the beads on the emitters the temperature they have had for long."""
        for couple in self.couples:
            if couple.placement.where == "emitter":
                couple.settle(emitter_c)

    def step(self, thermal: BenchPlant, jet: Jet, now: Happening, elapsed_s: float) -> None:
        """Let every bead follow its place, and whatever else has hold of it, for one tick."""
        handled = self._lifted or self._fingers or self._baths
        free = not handled and jet is STILL
        untouched = free and (not now or now.keys().isdisjoint(BEAD_ROWS))
        for channel, couple in enumerate(self.couples):
            if channel in self._baths:
                bath_c = self._baths[channel].at_c(elapsed_s)
                couple.step(bath_c, bath_c, 0.0)
                continue
            felt = thermal.felt(couple.placement)
            if untouched:
                couple.step(*felt)
                continue
            contact = self._contact(channel, now, elapsed_s)
            blown = [] if jet is STILL else thermal.air_pulls(couple.placement, jet)
            pulls = [*blown, *self._held(channel, now, elapsed_s)]
            couple.step(*felt, contact, pulls)

    def _contact(self, channel: int, now: Happening, elapsed_s: float) -> float:
        """Return how well a bead touches its place."""
        contact = self.couples[channel].placement.contact
        for event in now.get("bead_half_off", ()):
            if event.part == channel:
                contact *= event.amount / 100
        for event in now.get("tape_creep", ()):
            if event.part == channel:
                gone = min(1.0, (elapsed_s - event.onset_s) / CREEP_S)
                contact *= 1 - gone * (1 - CREPT_CONTACT)
        lifted = channel in self._lifted or _names(now, "bead_lifted", channel)
        return min(contact, LIFTED_CONTACT) if lifted else contact

    def _held(self, channel: int, now: Happening, elapsed_s: float) -> list[Pull]:
        """Return what fingers and tools do to a bead."""
        pulls = []
        if _names(now, "bead_touched", channel):
            pulls.append(Pull(self._room_c, TWEEZERS_SHARE))
        if self._fingers.get(channel, 0.0) <= elapsed_s:
            self._fingers.pop(channel, None)
        if channel in self._fingers or _names(now, "finger", channel):
            pulls.append(Pull(FINGER_C, FINGER_SHARE))
        return pulls

    def _known(self, channel: int) -> None:
        if not 0 <= channel < len(self.couples):
            raise ValueError(
                f"Channel {channel} has no sensor on this bench; give 0 to {len(self.couples) - 1}."
            )


def _names(now: Happening, name: str, channel: int) -> bool:
    """Tell whether an event of this name is there for this channel."""
    return any(event.part == channel for event in now.get(name, ()))
