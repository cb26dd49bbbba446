"""What came of a fault: how one run is watched from its onset until it is decided.

Times are in s from the moment at which the fault could first do harm: its onset, or the first heat
when it was there before. After the heat is gone for good the plant alone goes on for a while, as
stored heat keeps arriving.
"""

from dataclasses import dataclass, field

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.monitor import Monitor
from emberbed_sim.closed_loop import ENDED, ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater

RESET, LINK_LOST, NOTHING = "RESET", "PC_LINK_LOST", ""
AFTER_S = {RESET: 8.0}  # with the firmware, to see that nothing comes back, whoever presses
AFTER_TRIP_S = 3.0
COAST_S = 90.0  # with the plant alone; the longest rise after the switch opened was 77 s
TRIP_NAMES = {code: name for code, name, _reaction in trip_codes.TRIPS}


@dataclass(frozen=True)
class Outcome:
    """One run. `found` names the trip, RESET or LINK_LOST, NOTHING when it went on."""

    found: str
    found_s: float | None
    heat_off_s: float | None  # after which no heat flowed; None = it still does, or never did
    heated: bool
    closed: bool  # the contactor has been
    stays: bool  # what was found first is still what the device says at the end
    peak_c: float | None  # of the board, before hot air came
    target_c: float
    over_limit_k: float
    state: str
    resets: int
    asks: int  # "is the sensor touching?"
    simulated_s: float
    broken: dict[str, float] = field(default_factory=dict)


def found_by(loop: ClosedLoop, resets: int) -> str:
    """Return what has ended the heating, NOTHING while it goes on."""
    machine = loop.machine
    if machine.guard.trip:
        # memory that flips may hold a code that is none: it ends the heating all the same
        return TRIP_NAMES.get(machine.guard.trip, f"code {machine.guard.trip}")
    if machine.life.verdict == rs.LINK_LOST:
        return LINK_LOST
    return RESET if loop.resets > resets else NOTHING


def watch(loop: ClosedLoop, monitor: Monitor, onset_s: float, window_s: float) -> Outcome:
    """Run the loop until it is decided, at the longest for the window after the first harm."""
    heater, resets = loop.heater, loop.resets
    begun_s = heater.elapsed_s
    found, found_s, asks, asked = NOTHING, None, 0, False
    ends_s = begun_s + window_s
    for _record in loop.run(round(2 * window_s) * TICKS_PER_S):
        monitor.step()
        asking = loop.machine.guard.doubts.asks > 0
        asks += asking and not asked
        asked = asking
        now_s = heater.elapsed_s
        if not found and (found := found_by(loop, resets)):
            found_s, ends_s = now_s, now_s + AFTER_S.get(found, AFTER_TRIP_S)
        if now_s >= ends_s or loop.machine.life.state in ENDED:
            break
    still_heats = monitor.last_heat_s is not None and (
        heater.elapsed_s - monitor.last_heat_s < 1.0 and not found
    )
    stays = loop.resets > resets or found_by(loop, resets) == found
    states = dict(enumerate(rs.STATE_NAMES))
    state = states.get(loop.machine.life.state, "no state at all")  # after a bit has flipped
    if found:
        _coast(heater, monitor)
    since_s = max(onset_s, monitor.first_heat_s or onset_s)
    last_s = monitor.last_heat_s
    return Outcome(
        found,
        None if found_s is None else max(found_s - since_s, 0.0),
        None if still_heats or last_s is None else max(last_s - since_s, 0.0),
        last_s is not None,
        monitor.closed,
        stays,
        monitor.peak_c,
        monitor.plan.header["peak_cdeg"] / 100,
        monitor.over_limit_k,
        state,
        loop.resets - resets,
        asks,
        heater.elapsed_s - begun_s,
        dict(monitor.broken),
    )


def _coast(heater: SimulatedHeater, monitor: Monitor) -> None:
    """Let the stored heat arrive, with whatever the switches do by themselves."""
    for _tick in range(round(COAST_S * TICKS_PER_S)):
        heater.step(0, 0)
        monitor.watch_board()
