"""After each step: the bench healthy and cold, the device cleared at its button, no fault left."""

from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_TICKS, LEAST_COOL_TICKS
from emberbed_fw.units import TICK_MS
from emberbed_hil.bench import AT_ONCE, Bench, Failed

SOON_TICKS = LEAST_COOL_TICKS + HANDLING_TICKS + 100
AT_REST = (rs.IDLE, rs.LOADED, rs.FINISHED, rs.STOPPED, rs.LINK_LOST)


def tear_down(bench: Bench) -> None:
    """Bring the device back to rest; Failed when a fault is left, naming it."""
    assert bench.scene is not None
    bench.scene.reset()
    bench.renews, bench.elapsed_ms = True, TICK_MS
    bench.tick(3)
    if bench.newest.state in (*rs.HEATING_STATES, rs.COLD_PROOF):
        bench.device.stop()
        bench.tick(2)
    if bench.newest.state == rs.COOL:
        cool_down(bench)
    if bench.newest.state == rs.TRIPPED:
        bench.tick(5)
        bench.press()
    bench.tick(5)
    left = _left(bench)
    if left:
        raise Failed(f"after it the device was left {left}")


def cool_down(bench: Bench) -> None:
    """Let a run that has ended cool."""
    bench.until(lambda record: record.state != rs.COOL, SOON_TICKS, "the end of cooling", AT_ONCE)


def _left(bench: Bench) -> str:
    newest = bench.newest
    if newest.state not in AT_REST:
        return f"in state {rs.STATE_NAMES[newest.state]}"
    if newest.trip or newest.second_trip:
        return f"with trip number {newest.trip or newest.second_trip}"
    if not bench.is_dark:
        return "with a switch closed"
    if newest.faults_low or newest.faults_high:
        return "with a sensor's fault"
    return ""
