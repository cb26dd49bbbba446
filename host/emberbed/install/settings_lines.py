"""A device's settings for people and for scripts."""

from typing import Any

from emberbed.device_description import DeviceDescription
from emberbed_fw.units import CALIBRATION_ONE_Q12

SENSES = (
    ("has_contactor_sense", "sense of the second switch"),
    ("has_heat_sense", "sense of the heater's current"),
    ("has_fan", "fan"),
    ("has_cut_out", "thermal cut-out"),
)


def settings_json(description: DeviceDescription) -> dict[str, Any]:
    """Return all of it as plain data, units in the keys."""
    return {
        "channels": [
            {
                "channel": number,
                "name": name,
                "converter": description.channels[number].converter,
                "ceiling_c": description.channels[number].ceiling_cdeg / 100,
                "offset_c": description.channels[number].offset_cdeg / 100,
                "gain": description.channels[number].gain_q12 / CALIBRATION_ONE_Q12,
            }
            for number, name in description.fitted_names().items()
        ],
        "zones": [
            {"zone": number, "watts": zone.watts, "dwell_ticks": zone.dwell_ticks}
            for number, zone in enumerate(description.zones)
            if zone.watts
        ],
        "socket_watts": description.socket_watts,
        **{key: getattr(description, key) for key, _words in SENSES},
    }


def settings_lines(description: DeviceDescription) -> list[str]:
    """Return a line for each channel, zone and input."""
    told = settings_json(description)
    lines = [
        f"channel {row['channel']}: {row['name']}, {row['converter']}, at most"
        f" {row['ceiling_c']:g} °C, calibration {row['offset_c']:+g} °C x {row['gain']:.4f}"
        for row in told["channels"]
    ]
    lines += [f"zone {row['zone']}: {row['watts']} W" for row in told["zones"]]
    lines.append(f"socket: {told['socket_watts'] or 'not told'}{' W' * bool(told['socket_watts'])}")
    return lines + [f"{words}: {'yes' if told[key] else 'no'}" for key, words in SENSES]
