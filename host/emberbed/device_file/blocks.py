"""A checked device description to the two blocks that a device holds: settings and wiring."""

from collections.abc import Mapping
from typing import Any

from emberbed.device_file.keys import LINKS, SENSE_KINDS
from emberbed.device_file.rules import FINE, THERMISTOR
from emberbed_fw import settings as layout
from emberbed_fw.ports import wiring
from emberbed_fw.thermistor import B_K
from emberbed_fw.units import CALIBRATION_ONE_Q12, TICKS_PER_S

DEFAULT_BAUD = 115200
DEFAULT_ROWS = 64
DEFAULT_DWELL_S = 0.2  # whole mains cycles at 50 and 60 Hz, little flicker
DEFAULT_MAINS_HZ = 50


def compile_settings(data: Mapping[str, Any]) -> bytes:
    """Return the settings block (emberbed_fw.settings)."""
    return layout.pack_settings(
        _has(data),
        [_channel(channel) for channel in data["channels"]],
        [
            (
                round(zone["watts"]),
                max(1, round(zone.get("least_dwell_s", DEFAULT_DWELL_S) * TICKS_PER_S)),
            )
            for zone in data["zones"]
        ],
        round(data.get("socket_watts", 0)),
        round(data.get("hold_c", 0) * 100),
    )


def compile_wiring(data: Mapping[str, Any]) -> bytes:
    """Return the wiring block (emberbed_fw.ports.wiring)."""
    contactor, fan = data["contactor"], data.get("fan", {})
    pins = {
        **data["bus"],
        **{role: data["uart"][role] for role in ("tx", "rx") if "uart" in data},
        "contactor": contactor["pin"],
        **_named("contactor_sense", contactor.get("sense")),
        **_named("current_sense", data.get("current_sense", {}).get("pin")),
        **_named("fan", fan.get("pin")),
        **_named("tach", fan.get("tach")),
        **data["panel"],
        **{role: data["display"][role] for role in ("sda", "scl") if "display" in data},
    }
    rows = data["display"].get("rows", DEFAULT_ROWS) if "display" in data else 0
    return wiring.pack_wiring(
        data["board"],
        LINKS.index(data.get("link", LINKS[0])),
        SENSE_KINDS.index(contactor.get("sense_kind", SENSE_KINDS[0])),
        rows,
        data.get("uart", {}).get("baud", DEFAULT_BAUD),
        pins,
        [channel.get("cs", channel.get("adc")) for channel in data["channels"]],
        [zone["pin"] for zone in data["zones"]],
    )


def _named(role: str, pin: int | None) -> dict[str, int]:
    return {} if pin is None else {role: pin}


def _has(data: Mapping[str, Any]) -> int:
    """Return the HAS_* flags."""
    flags = layout.HAS_CONTACTOR_SENSE if "sense" in data["contactor"] else 0
    flags |= layout.HAS_HEAT_SENSE if "current_sense" in data else 0
    flags |= layout.HAS_FAN if "fan" in data else 0
    flags |= layout.HAS_FAN_TACH if "tach" in data.get("fan", {}) else 0
    return flags | (layout.HAS_CUT_OUT if data.get("cut_out") else 0)


def _channel(channel: Mapping[str, Any]) -> tuple[str, int, int, int, int, int]:
    return (
        channel["name"],
        layout.CONVERTER_NAMES.index(channel["converter"]),
        round(channel["highest_c"] * 100),
        round(channel.get("offset_c", 0) * 100),
        round(channel.get("gain", 1) * CALIBRATION_ONE_Q12),
        _options(channel),
    )


def _options(channel: Mapping[str, Any]) -> int:
    if channel["converter"] == THERMISTOR:
        return B_K.index(channel.get("b_k", B_K[0]))
    if channel["converter"] != FINE:
        return 0
    options = layout.COUPLE_TYPES.index(channel.get("couple", "K"))
    options |= (channel.get("average", 1).bit_length() - 1) << layout.AVERAGE_SHIFT
    at_50_hz = channel.get("mains_hz", DEFAULT_MAINS_HZ) == 50
    return options | (layout.FILTER_50_HZ if at_50_hz else 0)
