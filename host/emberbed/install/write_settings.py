"""Write a device's settings over the link and see that they are in force.

The device takes them only while nothing is loaded and both switches are open, checks them, keeps
them beside the old ones, and starts anew with them; what it then says is compared.
"""

from emberbed.install.restart import hear_out, reach_again
from emberbed.link.blocks import write_payloads
from emberbed.link.device import Device
from emberbed.link.transport import LinkError
from emberbed_fw import messages


def write_settings(device: Device, block: bytes) -> None:
    """Write and compare; LinkError or Refused say what went wrong, and the old ones hold."""
    for payload in write_payloads(block):
        device.ask(messages.SETTINGS_WRITE, payload)
    hear_out(device)
    reach_again(device)
    if device.read_settings() != block:
        raise LinkError(
            f"The device at {device.url} did not keep the settings: write them again, and if that"
            " repeats itself, replace the controller"
        )
