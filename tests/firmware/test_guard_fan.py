"""How long a fan may be wrong before a person is told, tick by tick."""

import pytest

from emberbed_fw import settings as fw_settings
from emberbed_fw import trip_codes
from emberbed_fw.record import OUT_CONTACTOR, OUT_FAN, PORT_FAN_TURNS
from emberbed_fw.safety_limits import FAN_TICKS
from tests.support.judged import EVERYTHING, Judged


def told_after(one, most=200):
    """Return the ticks until a person is told, None for not at all."""
    for taken in range(1, most):
        one.tick()
        if one.guard.warnings & trip_codes.WARN_FAN:
            return taken
    return None


@pytest.mark.parametrize("right_ticks", [0, 1, 30])
@pytest.mark.parametrize(("flags", "told"), [(0, OUT_FAN), (PORT_FAN_TURNS, 0)])
def test_wrong_for_five_seconds_is_told(flags, told, right_ticks):
    """However long it was right before."""
    one = Judged(
        fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE | fw_settings.HAS_FAN_TACH
    )
    one.outputs = OUT_CONTACTOR | told
    one.guard.note_outputs(1, one.outputs)
    one.flags = EVERYTHING | (flags ^ PORT_FAN_TURNS)
    for _ in range(right_ticks):
        one.tick()
    one.flags = EVERYTHING | flags
    assert told_after(one) == FAN_TICKS
    one.flags = EVERYTHING | (flags ^ PORT_FAN_TURNS)
    one.tick()
    assert not one.guard.warnings & trip_codes.WARN_FAN
