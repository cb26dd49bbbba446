"""Bring a device into service: heat off, both switches open, a restart, and its prompt.

A board that answers as no device (a fresh one) is asked for its prompt at once. Nothing here can
heat: the firmware refuses service where a switch is not open, and in service it does not run.
"""

import time
from contextlib import suppress

from emberbed.install.board import Board, look_at
from emberbed.install.failure import InstallError
from emberbed.install.remote import NoPromptError, Remote
from emberbed.install.restart import hear_out
from emberbed.link.device import Device, Refused
from emberbed.link.events import Greeting
from emberbed.link.transport import LinkError
from emberbed_fw import messages

GREET_S = 2.5
PROMPT_S = 15.0
RESTART_S = 30.0
PAUSE_S = 0.3


def ask_for_service(port: str, unplugged: bool = False) -> bytes | None:
    """Ask the device at a port for service; return its settings, None where no device answers.

    unplugged: a person has pulled the heater's mains plug, so that a sense of a switch that says
    otherwise need not be believed. `Refused` is its no, in words.
    """
    try:
        device = Device.connect(port, GREET_S)
    except LinkError as error:
        if "in use" in str(error) or "no port" in str(error) or "may not" in str(error):
            raise InstallError(str(error)) from None
        return None
    with device:
        if device.greeting.entry == messages.ENTRY_INJECTED:
            raise InstallError(
                f"The device at {port} is on trial, with readings made by a PC: restart it, then"
                " install"
            )
        block = device.read_settings()
        how = messages.SERVICE_UNPLUGGED if unplugged else messages.SERVICE_PLEASE
        device.ask(messages.SERVICE, bytes([how]))
        hear_out(device)
    return block


def prompt_of(remote: Remote, longest_s: float) -> Board:
    """Wait for the prompt of a board that restarts."""
    end_s = time.monotonic() + longest_s
    while True:
        try:
            return look_at(remote)
        except NoPromptError:
            if time.monotonic() > end_s:
                raise
            time.sleep(PAUSE_S)


def greeting_of(port: str) -> Greeting:
    """Wait for the device to answer after a restart, and return what it says of itself."""
    end_s = time.monotonic() + RESTART_S
    while True:
        with suppress(LinkError, Refused), Device.connect(port, GREET_S) as device:
            return device.greeting
        if time.monotonic() > end_s:
            raise InstallError(
                f"The board at {port} does not answer as a device after its restart: switch it off"
                " and on; if it stays silent it goes back to the version before by itself, and"
                " without one nothing heats"
            )
        time.sleep(PAUSE_S)
