"""Name the sensor that a tripped record blames, for the sentences of `words.trip_words`."""

from collections.abc import Mapping

from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed_fw.trip_codes import OVER_TEMPERATURE, TOO_HOT_FROM_ABOVE


def sensor_of_trip(record: TickRecord, plan: Plan | None, names: Mapping[int, str]) -> str | None:
    """Return the name of the sensor in the first record with a trip; None when it is none's fault.

    `names` are the fitted channels by number.
    """
    for channel, name in names.items():
        if record.fault(channel) == record.trip:
            return name
    if record.trip == OVER_TEMPERATURE:
        return _furthest_over_limit(record, plan, names, "limit")
    if record.trip == TOO_HOT_FROM_ABOVE:
        return _furthest_over_limit(record, plan, names, "air_limit")
    return None


def _furthest_over_limit(
    record: TickRecord, plan: Plan | None, names: Mapping[int, str], limit: str
) -> str | None:
    over = {
        channel: reading - (plan.header[f"{limit}{channel}_cdeg"] if plan else 0)
        for channel in names
        if (reading := record.channel_cdeg(channel)) is not None
    }
    return names[max(over, key=lambda channel: over[channel])] if over else None
