"""The virtual bench's device description: what a device wired to the simulated heater would hold.

Channel numbers are the positions of the plant's sensors; watts are the plant's emitter.
"""

from emberbed_fw import settings
from emberbed_fw.safety_limits import HARD_CEILING_CDEG
from emberbed_fw.units import CALIBRATION_ONE_Q12
from emberbed_sim.plant.parameters import BenchParameters

LEAST_DWELL_TICKS = 2  # 0.2 s: whole mains cycles at 50 and 60 Hz, little flicker


def bench_settings(bench: BenchParameters) -> bytes:
    """Return the settings block (emberbed_fw.settings) of a device on this bench."""
    has = (
        settings.HAS_CONTACTOR_SENSE
        | settings.HAS_HEAT_SENSE
        | settings.HAS_FAN
        | settings.HAS_FAN_TACH
        | settings.HAS_CUT_OUT
    )
    channels = [
        (
            placed.name,
            settings.CONVERTER_MAX31855K,
            HARD_CEILING_CDEG,
            0,
            CALIBRATION_ONE_Q12,
        )
        for placed in bench.sensors
    ]
    return settings.pack_settings(has, channels, [(round(bench.emitter.watts), LEAST_DWELL_TICKS)])
