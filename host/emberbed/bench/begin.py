"""How a run begins to be recorded: by arming the device. (Taking over a run that is on: resume.)"""

from collections.abc import Callable

from emberbed.bench.ledger import Ledger
from emberbed.bench.outcome import REFUSED
from emberbed.bench.prepare import NotReady
from emberbed.bench.run_loop import BenchRun
from emberbed.link.device import Device, Refused
from emberbed.link.rebuild import Rebuilder
from emberbed.link.transport import LinkError

# device, its description, the plan, the ledger of the runs, the loop that will follow
Begin = Callable[[Device, bytes, bytes, Ledger, BenchRun], None]


def arm_run(device: Device, settings: bytes, plan: bytes, ledger: Ledger, run: BenchRun) -> None:
    """Send the plan and arm; a refusal ends the run before any heat."""
    import emberbed.report.summary  # noqa: F401  (now, as it must not take time while a run is on)

    device.follow_with(Rebuilder(settings, plan))
    device.sink = run.take
    try:
        device.send_plan(plan)
        run.arm(plan)
    except (Refused, LinkError) as error:
        ledger.add_event(None, "refused", str(error))
        ledger.store.end_run(ledger.run_id, REFUSED.state, REFUSED.exit_code)
        raise NotReady([str(error)]) from None
