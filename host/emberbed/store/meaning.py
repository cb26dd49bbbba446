"""What the bytes in a run's header mean: its stages, and the names of its channels.

A header that this version cannot read (damaged, or of a newer format) is no error here: the run is
still shown, with numbers for names and without what only the header could tell.
"""

from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.profiles.compile import Plan, decode_plan
from emberbed.store.runs import StoredRun
from emberbed_fw.units import CHANNELS


def plan_of(run: StoredRun) -> Plan | None:
    """Return what the device was told to do, None when it cannot be read."""
    try:
        return decode_plan(run.plan)
    except ValueError:
        return None


def description_of(run: StoredRun) -> DeviceDescription | None:
    """Return the device as it described itself, None when that cannot be read."""
    try:
        return decode_settings(run.settings)
    except ValueError:
        return None


def channel_names_of(run: StoredRun) -> dict[int, str]:
    """Return the fitted channels by number with their names, each name once; all if unknown."""
    description = description_of(run)
    if description is None:
        return {channel: f"channel{channel}" for channel in range(CHANNELS)}
    return description.fitted_names()
