"""The integers that the store keeps beside each record's bytes, and the one way to decode them."""

from emberbed.records import TickRecord
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

DIRECT = ("tick", "state", "stage", "demand0_q15", "energy_j", "trip")
TEMPERATURES = ("setpoint_cdeg",) + tuple(f"channel{channel}_cdeg" for channel in range(CHANNELS))


def decoded_columns(record: TickRecord) -> dict[str, int | None]:
    """Return the columns of table `tick` that come from `record`; no reading is None (NULL)."""
    columns: dict[str, int | None] = {name: getattr(record, name) for name in DIRECT}
    for name in TEMPERATURES:
        reading = getattr(record, name)
        columns[name] = None if reading == NO_READING_CDEG else reading
    return columns
