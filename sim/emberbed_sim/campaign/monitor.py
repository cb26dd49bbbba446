"""The independent judge: what may never be, seen on the plant's truth alone.

Looks after every tick at the heat that really flows, the real temperatures, the contactor, the
words on the converters' bus (decoded here, apart from the firmware) and what hand and host really
did. Asks the firmware nothing but whether it has tripped. Names what was broken, and since when.

The highest temperature that a plan asks for counts only until hot air comes: from then on the board
is as hot as a hand makes it, and only its limits hold.

unpressed   heat without a press since arming: the button seen released, then held for a second
nobody      heat later than 2.25 s after the computer has gone; 3.25 s where it goes on renewing
            with a record that was stored up to a second ago
lying       heat on a reading that has been far from its place for longer than is allowed
too_hot     a place above the limit of its sensor and the allowance
contactor   not open half a second after a trip
after_trip  heat after a trip; after_end: after STOP or after the plan came to its cooling;
            after_reset: after the device started anew
"""

from typing import NamedTuple

from emberbed_fw import record
from emberbed_fw.plan import Plan
from emberbed_fw.units import CHANNELS
from emberbed_sim.campaign.phases import AIR, BEFORE_PRESS, COOLING, IDLE
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.parameters import TICK_S, ZERO_C_K

UNPRESSED, NOBODY, LYING, TOO_HOT, CONTACTOR, AFTER_TRIP, AFTER_END, AFTER_RESET = RULES = (
    "unpressed", "nobody", "lying", "too_hot", "contactor", "after_trip", "after_end",
    "after_reset",
)  # fmt: skip
HEAT_SHARE = 0.01  # of rated power: below it flows what no board feels
GONE_S = {"host_silent": 2.25, "host_stores_nothing": 3.25, "frames_repeated": 3.25}
REACTION_S = 0.3  # from a trip, a stop or a reset until no heat flows
CONTACTOR_S = 0.5
LIE_K = 20.0  # between a reading and its place; healthy beads lag and see radiation
ALLOWANCE_K = 3.0  # of a true peak above the limit: quartz emitters
RELEASED_TICKS, HELD_TICKS = 3, 10
WORD_BYTES = 4
FAULT_BIT, SIGN_BIT, HOT_SHIFT, HOT_BITS, STEP_C = 1 << 16, 1 << 13, 18, 1 << 14, 0.25
AIR_SETTLES_S = 30.0


class Allowed(NamedTuple):
    """What a cell allows: rules that its fault breaks by itself, and how long a reading may lie."""

    excused: tuple[str, ...] = ()
    lie_s: float = 15.0
    over_k: float = ALLOWANCE_K


def reading_c(words: bytes, channel: int) -> float | None:
    """Return what a converter says (MAX31855 datasheet, table 2), None when it names a fault."""
    word = int.from_bytes(words[channel * WORD_BYTES : (channel + 1) * WORD_BYTES], "big")
    if word & FAULT_BIT or word in (0, 0xFFFFFFFF):
        return None
    steps = word >> HOT_SHIFT
    return (steps - HOT_BITS if steps & SIGN_BIT else steps) * STEP_C


class Monitor:
    """Follows one loop; call `step` after each of its ticks. `broken` gives the first s by rule."""

    def __init__(
        self, loop: ClosedLoop, plan: bytes, faults: tuple[FaultEvent, ...], allowed: Allowed,
        phase: str = IDLE,
    ) -> None:  # fmt: skip
        """`plan`: as it was before any fault; `phase` says what has been so far: a press, a
        released button, hot air."""
        self.plan = Plan(plan)
        self.broken: dict[str, float] = {}
        self.peak_c: float | None = None  # of the board where it is hottest, before hot air came
        self.last_heat_s: float | None = None
        self.first_heat_s: float | None = None
        self.energy_j = 0.0
        self.closed = False  # the contactor has been
        self.over_limit_k = -ZERO_C_K  # by how much a place came closest to, or over, its limit
        self._loop = loop
        self._allowed = allowed
        self._heat_w = loop.heater.bench.emitter.watts * HEAT_SHARE
        self._pressed = phase not in BEFORE_PRESS
        self._released = 0 if phase == IDLE else RELEASED_TICKS
        self._held = 0
        self._gone_by_s = min(
            (event.onset_s + GONE_S[event.name] for event in faults if event.name in GONE_S),
            default=None,
        )
        self._ended_s: float | None = None
        self._tripped_s: float | None = None
        self._reset_s: float | None = None
        self._resets = loop.resets
        self._lies_s = [0.0] * CHANNELS
        self._had_air = phase in (AIR, COOLING)
        self._air_s = loop.heater.elapsed_s if self._had_air else -AIR_SETTLES_S

    def follow(self, loop: ClosedLoop) -> None:
        """Go on with a fork of the loop."""
        self._loop = loop

    def note_end(self) -> None:
        """A person has just stopped the run, or the plan is in its cooling."""
        self._ended_s = self._loop.heater.elapsed_s

    def step(self) -> None:
        """Look at the tick that has just passed."""
        heater = self._loop.heater
        now_s = heater.elapsed_s
        self._watch_hand()
        self._watch_device(now_s)
        self.watch_board()
        if heater.emitter_power_w <= self._heat_w:
            return
        self.last_heat_s = now_s
        self.first_heat_s = now_s if self.first_heat_s is None else self.first_heat_s
        self.energy_j += heater.emitter_power_w * TICK_S
        if not self._pressed:
            self._break(UNPRESSED, now_s)
        self._too_late(NOBODY, self._gone_by_s, 0.0, now_s)
        self._too_late(AFTER_TRIP, self._tripped_s, REACTION_S, now_s)
        self._too_late(AFTER_END, self._ended_s, REACTION_S, now_s)
        self._too_late(AFTER_RESET, self._reset_s, REACTION_S, now_s)
        if max(self._lies_s) > self._allowed.lie_s:
            self._break(LYING, now_s)

    def watch_board(self) -> None:
        """Look at the true temperatures; alone, it serves the time after a run is decided."""
        heater = self._loop.heater
        thermal, words, now_s = heater.thermal, heater.words, heater.elapsed_s
        blown = self._is_blown(now_s)
        if not self._had_air:
            board_c = max(thermal.centre_k, thermal.edge_k) - ZERO_C_K
            self.peak_c = board_c if self.peak_c is None else max(self.peak_c, board_c)
        limits = self.plan.air_limit_cdeg if self._had_air else self.plan.limit_cdeg
        for channel, couple in enumerate(heater.beads.couples):
            place_c = thermal.place_c(couple.placement)
            over_k = place_c - limits[channel] / 100
            if over_k > self.over_limit_k:
                self.over_limit_k = over_k
            if over_k > self._allowed.over_k:
                self._break(TOO_HOT, now_s)
            said_c = reading_c(words, channel)
            lies = not blown and (said_c is None or abs(said_c - place_c) > LIE_K)
            self._lies_s[channel] = self._lies_s[channel] + TICK_S if lies else 0.0

    def _is_blown(self, now_s: float) -> bool:
        if self._loop.heater.air_on:
            self._air_s = now_s
            self._had_air = True
        return now_s - self._air_s < AIR_SETTLES_S

    def _watch_hand(self) -> None:
        if self._loop.machine.inputs.port_flags & record.PORT_BUTTON:
            self._held += 1 if self._released >= RELEASED_TICKS else 0
            self._pressed |= self._held >= HELD_TICKS
        else:
            self._released += 1
            self._held = 0

    def _watch_device(self, now_s: float) -> None:
        loop = self._loop
        if loop.resets > self._resets:
            self._resets = loop.resets
            self._reset_s = now_s if self._reset_s is None else self._reset_s
            self._pressed = False
        if self._tripped_s is None and loop.machine.guard.trip:
            self._tripped_s = now_s
        if loop.heater.switches.contactor_closed:
            self.closed = True
            self._too_late(CONTACTOR, self._tripped_s, CONTACTOR_S, now_s)

    def _too_late(self, rule: str, since_s: float | None, within_s: float, now_s: float) -> None:
        if since_s is not None and now_s - since_s > within_s:
            self._break(rule, now_s)

    def _break(self, rule: str, now_s: float) -> None:
        if rule not in self._allowed.excused:
            self.broken.setdefault(rule, now_s)
