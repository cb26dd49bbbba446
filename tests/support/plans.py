"""Build plans and device descriptions for tests straight from the firmware's tables."""

import struct
from zlib import crc32

from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import settings as fw_settings
from emberbed_fw.settings import pack_settings
from emberbed_fw.units import CALIBRATION_ONE_Q12, NONE

KNOT_NAMES = ("tick", "setpoint_cdeg", "feedforward0_q15")  # the last one may be missing
HOT_AIR_MARKS = (
    messages.MARK_NOZZLE_ON | messages.MARK_SOLDER_MOVES << 4 | messages.MARK_CHIP_OFF << 8
    | messages.MARK_AIR_AWAY << 12
)  # fmt: skip
ALL_SENSES = fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE | fw_settings.HAS_FAN
TWO_CHANNELS = (
    ("top_near_chip", fw_settings.CONVERTER_MAX31855K, 26000, 0, CALIBRATION_ONE_Q12),
    ("edge", fw_settings.CONVERTER_MAX31855K, 26000, 0, CALIBRATION_ONE_Q12),
)


def bench_settings(has=ALL_SENSES, channels=TWO_CHANNELS, zones=((1000, 3),), **more):
    return pack_settings(has, channels, zones, **more)


def pack_row(fields, values):
    """Pack a dict by a layout table; a missing name is 0, an unknown one an error."""
    names = [name for name, _code in fields]
    assert not set(values) - set(names), set(values) - set(names)
    return struct.pack(
        "<" + "".join(code for _name, code in fields), *[values.get(name, 0) for name in names]
    )


def ramp(start_cdeg, to_cdeg, ticks, **more):
    return dict(
        kind=layout.RAMP, target_cdeg=to_cdeg, knots=[(0, start_cdeg), (ticks, to_cdeg)], **more
    )


def hold(at_cdeg, ticks, **more):
    return dict(
        kind=layout.HOLD, target_cdeg=at_cdeg, knots=[(0, at_cdeg), (ticks, at_cdeg)], **more
    )


def wait(at_cdeg, prompt=0, **more):
    return dict(kind=layout.WAIT, target_cdeg=at_cdeg, prompt=prompt, knots=[(0, at_cdeg)], **more)


def hot_air(at_cdeg, prompt=0, **more):
    """Hold while hot air from above is on; the operator says when it begins and ends."""
    values = dict(longest_ticks=2400, answer_ticks=6000, marks=HOT_AIR_MARKS)
    return dict(
        kind=layout.HOT_AIR, target_cdeg=at_cdeg, prompt=prompt, knots=[(0, at_cdeg)],
        **{**values, **more},
    )  # fmt: skip


def power(power_q15, ticks, limit_cdeg, **more):
    """Open loop for `ticks`, or until the board is at `limit_cdeg`."""
    return dict(
        kind=layout.POWER, target_cdeg=limit_cdeg, power_q15=power_q15,
        knots=[(0, limit_cdeg), (ticks, limit_cdeg)], **more,
    )  # fmt: skip


def cool(below_cdeg=5000, **more):
    return dict(
        kind=layout.COOL, target_cdeg=below_cdeg, knots=[], fastest_cdeg_per_min=12000, **more
    )


def powered(stage, *powers_q15):
    """Return a stage with these feedforward powers of the first zone at its knots."""
    knots = [(*knot, power) for knot, power in zip(stage["knots"], powers_q15, strict=True)]
    return dict(stage, knots=knots)


def build_plan(stages, **header):
    """Return plan bytes. Stages from ramp/hold/wait/cool; header fields by name override."""
    knots = []
    rows = []
    for number, stage in enumerate(stages):
        values = {
            "prompt": NONE,
            "band_cdeg": 300,
            "hold_back_cdeg": 800,
            "longest_ticks": 36000,
            "remind_ticks": 300,
            **stage,
        }
        if values["kind"] == layout.COOL:
            values["longest_ticks"] = stage.get("longest_ticks", 0)
        slice_ = values.pop("knots")
        rows.append({**values, "first_knot": len(knots), "knots": len(slice_)})
        knots += [dict(zip(KNOT_NAMES, knot, strict=False)) for knot in slice_]
        assert number < 256
    peak = max([knot["setpoint_cdeg"] for knot in knots], default=5000)
    values = {
        "version": layout.FORMAT_VERSION,
        "stages": len(rows),
        "knots": len(knots),
        "peak_cdeg": peak,
        "most_setpoint_cdeg": max(peak, min(peak + 500, 26000)),
        "longest_run_ticks": 100000,
        "handling_cdeg": 5000,
        "fan_below_cdeg": 20700,
        "role0": layout.ROLE_CONTROL,
        "role1": layout.ROLE_EDGE,
        "limit0_cdeg": peak + 2000,
        "limit1_cdeg": peak + 2000,
        "control0": 0,
        "control1": NONE,
        "control2": NONE,
        "control3": NONE,
        "cap0_q15": 32768,
        "kp0_q8": 2500,
        "ki0_q14": 100,
        "kd0_q4": 30000,
        "weight0_q8": 256,
        "filter0_shift": 4,
        **{f"partner{channel}": NONE for channel in range(8)},
        **header,
    }
    for channel in range(8):
        values.setdefault(f"air_limit{channel}_cdeg", values.get(f"limit{channel}_cdeg", 0))
    block = pack_row(layout.HEADER_FIELDS, values)
    block += b"".join(pack_row(layout.STAGE_FIELDS, row) for row in rows)
    block += b"".join(pack_row(layout.KNOT_FIELDS, knot) for knot in knots)
    return block + struct.pack("<I", crc32(block))


def seal(block):
    """Return the plan's bytes with the CRC-32 of everything before the last four."""
    return block[:-4] + struct.pack("<I", crc32(block[:-4]))


def patch_plan(block, part="header", row=0, **changed):
    """Return a sealed plan with single fields of its header, a stage or a knot changed."""
    stages = block[1]
    fields, start, size = {
        "header": (layout.HEADER_FIELDS, 0, 0),
        "stage": (layout.STAGE_FIELDS, layout.HEADER_BYTES, layout.STAGE_BYTES),
        "knot": (
            layout.KNOT_FIELDS,
            layout.HEADER_BYTES + stages * layout.STAGE_BYTES,
            layout.KNOT_BYTES,
        ),
    }[part]
    octets = bytearray(block)
    at = start + row * size
    for name, code in fields:
        if name in changed:
            struct.pack_into("<" + code, octets, at, changed.pop(name))
        at += struct.calcsize("<" + code)
    assert not changed, changed
    return seal(bytes(octets))
