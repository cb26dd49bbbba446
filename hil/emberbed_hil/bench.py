"""A device in its injection entry, with a scene in front of it: what the steps of acceptance drive.

Each tick the scene is read, sent, and given what the device drove. `tick` gives the device's ticks
as fast as they can be had; `own_clock` leaves them to its clock.
"""

import time
from collections.abc import Callable
from contextlib import suppress

from emberbed.install.failure import InstallError
from emberbed.link.device import Refused
from emberbed.link.events import Greeting
from emberbed.link.rebuild import Rebuilder
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord
from emberbed_fw import run_states as rs
from emberbed_fw.messages import ENTRY_INJECTED
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.settings import Settings
from emberbed_fw.units import TICK_MS
from emberbed_hil.channel import Outputs, reset_frame
from emberbed_hil.injection import RESEND_S, SILENT_S, Injection
from emberbed_hil.plans import stages_plan
from emberbed_hil.scene import Scene
from emberbed_hil.ticks import NO_RECORD, Failed, Hands, Tick, told_state

AT_ONCE = 10  # ticks whose frames fit a board's buffer to the wire, in half a lease
BACK_S = 15.0  # a board that starts anew: cables, interpreters, sources to compile
TRY_S, START_TRY_S = 0.2, 1.0


class Bench(Injection):
    """One device. `enter` brings it into its injection entry again after it has started anew in
    its usual firmware; without it the device does so itself."""

    def __init__(self, url: str, enter: Callable[[str], None] | None = None) -> None:
        super().__init__(url)
        self._enter = enter
        self.answers = True  # False: it is lost, and nothing more can be done
        self.hands: Hands | None = None  # who can reach the device itself
        self.plan = b""
        self.began = 0  # tick in which the stages of the newest run began
        self._connect(BACK_S)

    def describe(self, settings: bytes) -> Scene:
        """Take the device's description; from now on it sees a scene of its own sensors."""
        self.settings = Settings(settings)
        self.scene = Scene(self.settings)
        return self.scene

    def close(self) -> None:
        self.device.close()

    # time

    def tick(self, count: int = 1, at_once: int = 1) -> TickRecord:
        """Let `count` ticks pass; return the newest record. `at_once`: so many of them see the same
        reading, which is quicker."""
        self.give(count, at_once)
        return self.newest

    def own_clock(
        self, seconds: float, stop: Callable[[TickRecord], bool] = lambda _record: False
    ) -> list[Tick]:
        """Let so many seconds pass by the device's own clock, or until a record is so; return its
        ticks."""
        begun = self.newest.tick
        self.leave_clock()
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s and not any(stop(tick.record) for tick in self.since(begun)):
            self._take(self.device.poll(min(RESEND_S, max(0.0, end_s - time.monotonic()))))
        self._forget_old()
        return self.since(begun)

    def until(
        self, reached: Callable[[TickRecord], bool], most: int, what: str, at_once: int = 1
    ) -> int:
        """Tick until a record is so; return the ticks it took. Failed when it never is."""
        for taken in range(at_once, most + at_once, at_once):
            if reached(self.tick(at_once, at_once)):
                return taken
        raise Failed(
            f"{what} did not come within {most * TICK_MS / 1000:g} s; it stands at"
            f" {told_state(self.newest)}"
        )

    # what the device tells

    def since(self, tick: int) -> list[Tick]:
        """Return the ticks after this one."""
        newer = []
        for told in reversed(self.ticks):
            if told.record.tick <= tick:
                break
            newer.append(told)
        return newer[::-1]

    @property
    def newest(self) -> TickRecord:
        return self.ticks[-1].record if self.ticks else NO_RECORD

    @property
    def outputs(self) -> Outputs:
        return self.ticks[-1].outputs

    @property
    def is_dark(self) -> bool:
        """Tell whether neither switch is driven."""
        return self.outputs.zones == 0 and not self.newest.outputs & OUT_CONTACTOR

    # a run

    def load(self, plan: bytes | None = None) -> None:
        self.plan = stages_plan(self.settings) if plan is None else plan
        self.device.send_plan(self.plan)
        self.device.follow_with(Rebuilder(self.settings.block, self.plan))

    def arm(self) -> None:
        self.device.arm(self.plan)

    def press(self) -> None:
        """Hold the button until it has counted, then let go."""
        scene = self._scene()
        scene.button = True
        self.tick(12)
        scene.button = False

    def to_run(self, plan: bytes | None = None, board_c: float = 60.0) -> None:
        """Load, arm, press; ends in the first stage's first tick."""
        scene = self._scene()
        scene.all_at(board_c)
        self.tick(5)
        self.load(plan)
        self.arm()
        self.tick(15)
        self.press()
        self.until(lambda record: record.state == rs.RUN, 60, "the first stage")
        self.began = self.newest.tick

    def until_stage(self, stage: int, most: int = 900) -> None:
        self.until(lambda record: record.stage == stage, most, f"stage {stage + 1}")

    # hands on the wire and the supply

    def write_raw(self, octets: bytes) -> None:
        self.port.write(octets)

    def pull_cable(self) -> None:
        """Leave the wire as a pulled cable does; the device goes on by its own clock."""
        self._leave()

    def plug_in(self, first_tick: int, count: int) -> list[TickRecord]:
        """Come back on the same wire; return so many ticks from the first that was missed."""
        self.device.reconnect(first_tick)
        self._linked = True
        wanted = range(first_tick, first_tick + count)
        end_s = time.monotonic() + SILENT_S
        while not self._records.keys() >= set(wanted):
            if time.monotonic() > end_s:
                raise Failed("what happened while the cable was out was not sent again")
            self._take(self.device.poll(TRY_S))
        return [self._records.pop(tick) for tick in wanted]

    def reset(self) -> Greeting:
        """Start the device anew and greet it; Failed when it does not come back."""
        if not self._linked:
            self._connect(BACK_S)
        self.write_raw(reset_frame())
        return self.await_start()

    def await_start(self, within_s: float = 0.0) -> Greeting:
        """Wait until a device that starts anew answers again; return how it first did so. Then it
        is back on injected readings."""
        self._leave()
        self.ticks.clear()  # it counts them anew
        within_s = within_s or BACK_S
        end_s = time.monotonic() + within_s
        while True:
            time.sleep(TRY_S)
            with suppress(LinkError, Refused):  # or the one before is still there
                self._connect(START_TRY_S)
                return self._back_to_injected(self.device.greeting)
            if time.monotonic() > end_s:
                raise Failed(f"after a reset nothing answers at {self.url} within {within_s:g} s")

    # inside

    def _back_to_injected(self, greeting: Greeting) -> Greeting:
        if greeting.entry != ENTRY_INJECTED:
            self._leave()
            if self._enter is None:
                raise Failed(
                    "after its start it runs its usual firmware, and cannot be brought back"
                )
            try:
                self._enter(self.url)
            except InstallError as error:
                raise Failed(str(error)) from None
            self._connect(BACK_S)
        return greeting

    def _scene(self) -> Scene:
        assert self.scene is not None, "describe comes first"
        return self.scene
