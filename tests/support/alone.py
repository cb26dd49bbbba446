"""A device that is used alone, by its button: switched on, armed or running a plain hold."""

from emberbed_fw import run_states as rs
from tests.support.table_port import Device

HOLD_CDEG = 11000


def switched_on(**settings):
    """Return a device that offers a plain hold at 110 degC."""
    device = Device(**{"hold_cdeg": HOLD_CDEG, **settings})
    device.tick(5)
    return device


def armed():
    device = switched_on()
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF
    return device


def running():
    device = armed()
    device.press()
    device.until(rs.RUN)
    return device
