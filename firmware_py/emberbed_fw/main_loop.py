"""The loop of every device: wait, sample, tick, drive, record, link.

An exception in a turn is a fault: outputs off, trip FIRMWARE_ERROR, and the record goes on.
"""

from emberbed_fw import heap
from emberbed_fw.device_port import END, TICK
from emberbed_fw.errands import Errands
from emberbed_fw.link import Link
from emberbed_fw.panel import Panel
from emberbed_fw.recorder import Recorder, couples_of, run_blocks_for
from emberbed_fw.run_states import HOT_PROOF
from emberbed_fw.settings import Settings, settings_fit
from emberbed_fw.settings_store import load_settings
from emberbed_fw.tick import FLOW_WHOLE, Machine


def start(port):
    """Run the device until the port ends; a port that comes back from a restart starts it anew.

    Raises ValueError when the description does not fit: a device that does not know its own
    sensors must not start.
    """
    while _run(port):
        pass


def _run(port):
    """Build the machine from the port's description and run it; True for a restart."""
    machine, recorder, link, panel = build(port)
    errands = Errands(machine, port)
    try:
        while one_turn(machine, recorder, link, panel, port):
            if errands.step():
                return True
        return False
    finally:
        port.all_off()  # whatever ends the loop, the outputs are safe


def build(port):
    """Return what a turn works on: machine, recorder, link, panel."""
    block = load_settings(port)
    if not settings_fit(block):
        raise ValueError("device description damaged or outside the hard limits: write it again")
    machine = Machine(Settings(block))
    recorder = Recorder(run_blocks_for(heap.free_bytes()), couples_of(machine.settings))
    machine.kept_trip = port.kept()
    link = Link(
        machine, recorder, port.nonce(), port.build_id(), port.identity(), port.reset_cause()
    )
    return machine, recorder, link, Panel(machine, link, port)


def one_turn(machine, recorder, link, panel, port):
    """Take one wake-up of the port; return False when it ends."""
    what = port.wait()
    if what == END:
        return False
    if what == TICK:
        whole = one_tick(machine, port)
        whole &= _guarded(machine, port, recorder.pack, machine)
        whole &= _guarded(machine, port, link.after_tick)
        whole &= _guarded(machine, port, panel.after_tick)
        _keep_trip(machine, port)
        if whole:  # every step of this turn has run, in its order, and none has failed
            port.feed()
    # what came in is for the next tick, and no flood of it delays the drive of this one
    _guarded(machine, port, link.receive, port.received, port.count)
    _guarded(machine, port, link.send_wanted_again)
    port.send(link.out, link.out_filled)
    link.out_filled = 0
    port.turn(link.flow_owed())
    heap.tidy()
    return True


def _keep_trip(machine, port):
    """Let a trip outlive a reset; only the next run's press shows that it is dealt with."""
    trip = machine.guard.trip
    if trip != machine.kept_trip and (trip or machine.life.state == HOT_PROOF):
        machine.kept_trip = trip
        port.keep(trip)


def one_tick(machine, port):
    """Sample to drive with the heap locked, with every way out of it ending in safe outputs; tell
    whether every step was passed."""
    whole = False
    this_tick = machine.tick + 1
    try:
        port.sample(machine.inputs)
        heap.lock()
        try:
            machine.sample_to_drive()
        finally:
            heap.unlock()
        whole = machine.flow == FLOW_WHOLE
    except Exception:
        port.all_off()
        machine.fail(this_tick)
    port.drive(machine.driven_zones, machine.outputs)
    return whole


def _guarded(machine, port, step, *arguments):
    """Do one step after the drive; its failure is a fault like one of the tick, told in the next
    record, and keeps no other step from its turn. Return whether it went well."""
    try:
        step(*arguments)
    except Exception:
        port.all_off()
        machine.fail(machine.tick)
        return False
    return True
