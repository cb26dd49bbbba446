"""The virtual bench's device description: what a device wired to the simulated heater would hold.

Channel numbers are the positions of the plant's sensors; watts are the plant's emitters'. Sensors
are written NAME:PLACE or NAME:PLACE:CONVERTER by whoever starts a virtual device.
"""

import re
from collections.abc import Sequence

from emberbed_fw import settings
from emberbed_fw.safety_limits import EMITTER_CEILING_CDEG, HARD_CEILING_CDEG
from emberbed_fw.units import CALIBRATION_ONE_Q12
from emberbed_sim.plant.grid_emitters import MOST_EMITTERS
from emberbed_sim.plant.parameters import (
    CONVERTERS,
    DEFAULT_SENSORS,
    PLACES,
    BenchParameters,
    SensorPlacement,
    sensor_at,
)

SOCKET_WATTS = 2300  # 230 V at 10 A
HOLD_CDEG = 12000  # what the device holds when it is started at its button alone
COUPLE_K = settings.COUPLE_TYPES.index("K")
LEAST_DWELL_TICKS = 2  # 0.2 s: whole mains cycles at 50 and 60 Hz, little flicker
NO_SENSES = settings.HAS_FAN | settings.HAS_CUT_OUT
ALL_SENSES = (
    NO_SENSES | settings.HAS_CONTACTOR_SENSE | settings.HAS_HEAT_SENSE | settings.HAS_FAN_TACH
)
NAME = re.compile(f"[A-Za-z][A-Za-z0-9_-]{{0,{settings.NAME_BYTES - 1}}}")  # as profiles name them


def bench_settings(bench: BenchParameters, has: int = ALL_SENSES) -> bytes:
    """Return the settings block (emberbed_fw.settings) of a device on this bench."""
    channels = [
        (
            placed.name,
            settings.CONVERTER_NAMES.index(placed.converter),
            EMITTER_CEILING_CDEG if placed.where == "emitter" else HARD_CEILING_CDEG,
            0,
            CALIBRATION_ONE_Q12,
            COUPLE_K if placed.converter == "MAX31856" else 0,
        )
        for placed in bench.sensors
    ]
    zones = [(round(watts), LEAST_DWELL_TICKS) for watts in bench.emitter.zone_watts]
    return settings.pack_settings(has, channels, zones, SOCKET_WATTS, HOLD_CDEG)


def parse_sensors(texts: Sequence[str]) -> tuple[SensorPlacement, ...]:
    """Return the sensors of channels 0, 1, ...; the usual ones if none are written.

    ValueError holds one sentence for the person who wrote them.
    """
    sensors = tuple(_parse_sensor(text) for text in texts)
    names = [placed.name for placed in sensors]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ValueError(f"Sensor '{twice}' is given twice; give each a name of its own.")
    return sensors or DEFAULT_SENSORS


def parse_strengths(text: str) -> tuple[float, ...]:
    """Return what the emitters of a bank give of their rated power, written with commas.

    ValueError holds one sentence for the person who wrote them.
    """
    try:
        strengths = tuple(float(one) for one in text.split(","))
    except ValueError:
        strengths = ()
    if not 1 <= len(strengths) <= MOST_EMITTERS or not all(0 <= one <= 1 for one in strengths):
        raise ValueError(
            f"Emitters '{text}' cannot be read; write what each of 1 to {MOST_EMITTERS} gives of"
            " its power, 0 to 1, such as 1,0.7,1."
        )
    return strengths


def _parse_sensor(text: str) -> SensorPlacement:
    name, _, rest = text.partition(":")
    where, _, converter = rest.partition(":")
    converter = converter or CONVERTERS[0]
    if not NAME.fullmatch(name) or where not in PLACES or converter not in CONVERTERS:
        raise ValueError(
            f"Sensor '{text}' cannot be read; write NAME:PLACE, the name a letter first, then "
            f"letters, digits, _ or -, at most {settings.NAME_BYTES} in all, and the place one of "
            f"{', '.join(PLACES)}; :CONVERTER may follow, one of {', '.join(CONVERTERS)}."
        )
    return sensor_at(name, where, converter)
