"""Bring a controller board from its usual firmware into its injection entry, through service.

The firmware itself switches off and restarts without its loop; at the prompt the injection entry is
started, which makes no pin of the heater. The next reset brings the usual firmware back. A version
that was just installed first has to confirm itself: acceptance starts the board anew several times,
and one that is not confirmed gives way.
"""

import time
from contextlib import suppress

from emberbed.install.failure import InstallError
from emberbed.install.into_service import PROMPT_S, ask_for_service, prompt_of
from emberbed.install.remote import Remote
from emberbed.link.device import Device, Refused
from emberbed.link.transport import LinkError
from emberbed_fw.errands import CONFIRM_TICKS
from emberbed_fw.messages import ENTRY_INJECTED
from emberbed_fw.start_up import ALONE
from emberbed_fw.units import TICKS_PER_S

START_S = 15.0
TRY_S = 1.0
PAUSE_S = 0.3
SPARE_S = 1.0


def is_confirmed(device: Device) -> bool:
    """Tell whether the firmware there has run for long enough to count for good."""
    return device.greeting.newest_tick >= CONFIRM_TICKS


def await_confirmed(device: Device) -> None:
    """Let it run for so long, renewing nothing: whoever comes next shall not find it held."""
    end_s = time.monotonic() + (CONFIRM_TICKS - device.greeting.newest_tick) / TICKS_PER_S + SPARE_S
    while time.monotonic() < end_s:
        device.poll(PAUSE_S)


def refuse_address(port: str) -> None:
    """Raise InstallError for a device whose prompt cannot be reached."""
    if "://" in port:
        raise InstallError(
            f"What is at {port} runs its usual firmware, and its prompt is not reached through a"
            " network address: start its injection entry at the board, or give its serial port"
        )


def enter(port: str) -> None:
    """Raise InstallError, Refused or LinkError where it cannot be brought there; one sentence."""
    refuse_address(port)
    ask_for_service(port)
    remote = Remote(port)
    prompt_of(remote, PROMPT_S)
    remote.leave_running(f"import {ALONE}\n{ALONE}.inject()")
    end_s = time.monotonic() + START_S
    while time.monotonic() < end_s:
        with suppress(LinkError, Refused), Device.connect(port, TRY_S) as device:
            if device.greeting.entry == ENTRY_INJECTED:
                return
        time.sleep(PAUSE_S)
    raise InstallError(
        f"The injection entry of the board at {port} does not start: install the firmware that"
        " belongs to this program with emberbed device install, then try again"
    )
