"""Step 5: people and the link. STOP in every state, the cable out, a second program, rubbish."""

import time
from collections.abc import Callable

from emberbed.link.device import Refused
from emberbed.link.frames import Frame, encode
from emberbed.link.session import MAX_NONCE, Session
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.safety_limits import LEASE_TICKS
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_hil import plans
from emberbed_hil.bench import Bench, Failed
from emberbed_hil.evidence import must_act_ms
from emberbed_hil.plans import HOLD, WAIT
from emberbed_hil.step import MS, Found, Step
from emberbed_hil.teardown import cool_down
from emberbed_hil.trip_ways import EAGER, HOLD_C, driven

SEVERAL_TICKS = 30
AWAY_S = LEASE_TICKS / TICKS_PER_S + 2.0
MOST_ON_ITS_WAY = 10  # ticks until the last renewal reaches it through a slow wire
LASTS_TICKS = 100  # that injected readings go on by themselves while the cable is out


def _running(bench: Bench) -> None:
    bench.to_run(board_c=HOLD_C)
    bench.until_stage(HOLD)


def _waiting(bench: Bench) -> None:
    bench.to_run(board_c=HOLD_C)
    bench.until_stage(WAIT)


def _armed(bench: Bench) -> None:
    bench.load()
    bench.arm()
    bench.tick(5)


def _proving(bench: Bench) -> None:
    _armed(bench)
    bench.tick(10)
    bench.press()
    if bench.newest.state != rs.HOT_PROOF:
        raise Failed("a press after arming did not begin the proof")


def _foreign_stop(bench: Bench) -> None:
    """STOP of nobody's session, in a sequence of its own: it is heard all the same."""
    frame = Frame(ms.STOP, 1, 1, 0, bytes([ms.STOP_BY_PERSON]))
    bench.write_raw(encode(frame))


STATES = (_armed, _proving, _running, _waiting)


def _stops(bench: Bench) -> Found:
    worst = 0
    for to_state in STATES:
        to_state(bench)
        first, before = bench.next_sample(), bench.newest.tick
        _foreign_stop(bench)
        bench.until(lambda told: told.state == rs.COOL, 10, "the end of the heat")
        if not bench.is_dark:
            raise Failed("a stop left a switch closed")
        ticks = bench.since(before)
        shown = next(tick for tick in ticks if tick.shows(first))
        worst = max(worst, bench.newest.tick - shown.record.tick + 1)
        _to_rest(bench)
    said = f"in {len(STATES)} states, from any program"
    return Found(said, worst * TICK_MS, must_act_ms("C13"), MS)


def _to_rest(bench: Bench) -> None:
    """Let a stopped run cool, so that the next one can be loaded."""
    assert bench.scene is not None
    bench.scene.reset()
    cool_down(bench)


def _pulled(bench: Bench) -> Found:
    """The cable out while it heats: dark in time, recorded meanwhile, told when it is back."""
    assert bench.scene is not None
    bench.to_run(plans.stages_plan(bench.settings, EAGER), HOLD_C)
    bench.until_stage(HOLD)
    driven(bench)  # what is sensed stands still while the cable is out, so must what is driven
    bench.scene.lasts = LASTS_TICKS
    some = bench.newest.tick + 5
    bench.own_clock(2.0, lambda told: told.tick >= some)  # ends right after a renewal
    last = bench.newest
    bench.pull_cable()
    time.sleep(AWAY_S)
    bench.scene.lasts = 1
    missed = bench.plug_in(last.tick + 1, LEASE_TICKS + MOST_ON_ITS_WAY)
    lost = next((told for told in missed if told.verdict == rs.LINK_LOST), None)
    if lost is None:
        raise Failed("the cable was out and the heat stayed on")
    if lost.driven_zones or lost.outputs & OUT_CONTACTOR:
        raise Failed("the cable was out and a switch stayed closed")
    heard = max(tick for tick in bench.renewals if tick < lost.tick)
    took_ms = (lost.tick - heard) * TICK_MS
    return Found("dark, and every tick meanwhile recorded", took_ms, must_act_ms("C06"), MS)


def _hello_of_another(bench: Bench) -> int:
    """Say HELLO as another program on the same wire; return the device's answer."""
    other = Session((bench.device.nonce + 1) % MAX_NONCE)
    bench.port.overheard = []
    bench.write_raw(other.hello())
    bench.tick(5)
    heard, bench.port.overheard = bench.port.overheard, None
    for event in other.receive(b"".join(heard), time.monotonic()):
        code = getattr(event, "refusal", None)
        if code is not None:
            return code
    raise Failed("a second program got no answer at all")


def _sent_for(bench: Bench, request: Callable[[], None]) -> bytes:
    """Make a request; return every byte that was sent for it."""
    bench.port.kept = []
    request()
    kept, bench.port.kept = bench.port.kept, None
    return b"".join(kept)


def _second_host(bench: Bench) -> Found:
    _running(bench)
    answer = _hello_of_another(bench)
    if answer != ms.BUSY:
        raise Failed("a second program was let in while a run was on")
    bench.tick(SEVERAL_TICKS)
    if bench.newest.state != rs.RUN:
        raise Failed("a second program that was refused ended the run")
    return Found("refused, the run went on")


def _old_frames(bench: Bench) -> Found:
    """What lay in some buffer for long, or is of another session, does nothing."""
    _running(bench)
    touch = bench.device.touch
    held = _sent_for(bench, lambda: touch(ms.HOLD_HERE, 0, ms.BY_SCRIPT))
    bench.device.touch(ms.GO_ON, 0, ms.BY_SCRIPT)
    bench.tick(ms.MAX_FRAME_AGE_TICKS // 2)
    bench.write_raw(held)
    cool = bytes([ms.COOL_DOWN, 0, 0, ms.BY_SCRIPT])
    bench.write_raw(encode(Frame(ms.STAGE_REQUEST, 1, 1, bench.newest.tick, cool)))
    bench.tick(SEVERAL_TICKS)
    if bench.newest.waits_for == rs.WAITS_HELD or bench.newest.state == rs.COOL:
        raise Failed("an old request, or one of another session, was obeyed")
    return Found("an old request and one of another session were not obeyed")


def _rubbish(bench: Bench) -> Found:
    """Damaged frames: none is obeyed, and too many of them count as no link."""
    _running(bench)
    stop = bytearray(encode(Frame(ms.STOP, 1, 1, 0, bytes([ms.STOP_BY_PERSON]))))
    stop[4] ^= 0x10
    for _frame in range(ms.MAX_DAMAGED_PER_MIN):
        bench.write_raw(bytes(stop))
        bench.tick(2)
    if bench.newest.state != rs.RUN:
        raise Failed("a damaged stop was obeyed, or the link given up too early")
    bench.write_raw(bytes(stop))
    bench.tick(2)  # the last ones that are renewed: on a busy wire the frame comes a tick later
    ticks = bench.until(
        lambda told: told.verdict == rs.LINK_LOST, 3 * LEASE_TICKS, "the end of a bad link"
    )
    said = "no damaged frame obeyed; a bad link ended the heat"
    return Found(said, ticks * TICK_MS, must_act_ms("C06"), MS)


def _above_limit(bench: Bench) -> Found:
    """A host cannot ask for more than was shown at the press."""
    _running(bench)
    for kind, amount in ((ms.OFFSET, 600), (ms.EXTEND, 30000)):
        try:
            bench.device.touch(kind, amount, ms.BY_SCRIPT)
        except Refused:
            continue
        raise Failed(f"{ms.TOUCH_NAMES[kind]} of {amount} was taken, beyond what the press showed")
    if bench.newest.setpoint_cdeg >= plans.LIMIT_CDEG:
        raise Failed("the target is above the limit")
    return Found("warmer targets and more time beyond the limits were refused")


LINK = ("link.py", "frames.py", "commands.py", "recorder.py")
STEPS = (
    Step("5.1", "STOP is heard in every state, from anybody", _stops, ("C13",), LINK),
    Step("5.2", "The cable is pulled and comes back", _pulled, ("C06",),
         (*LINK, "backfill.py", "block_ring.py")),
    Step("5.3", "A second program is refused", _second_host, modules=LINK),
    Step("5.4", "Old requests do nothing", _old_frames, modules=LINK),
    Step("5.5", "Damaged frames do nothing, and too many end the heat", _rubbish, ("C06",),
         (*LINK, "damage_watch.py")),
    Step("5.6", "No more than the press has shown", _above_limit, ("C19", "C20"), LINK),
)  # fmt: skip
