"""Plans for acceptance: short, low, and made for the device that is on the bench.

Temperatures in cdeg, times in ticks. The device checks each like any other plan before it takes it.
"""

from collections.abc import Mapping
from typing import NamedTuple

from emberbed.profiles.plan_bytes import pack_plan
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw.settings import CONVERTER_THERMISTOR, Settings
from emberbed_fw.units import CHANNELS, FULL_POWER_Q15, NONE, ZONES

LOW_CDEG, HIGH_CDEG = 6000, 6400
LIMIT_CDEG = HIGH_CDEG + 2000
SOON = 400  # longest wait of a question or a stage
RAMP, HOLD, WAIT, AIR = 1, 2, 3, 4  # numbers of the stages
WAIT_PROMPT, NOZZLE_PROMPT = 3, 4
HOLD_TICKS = 300
# A heater that was identified, for what only then trips; J/K, cm2, mW/K, J.
KNOWN_HEATER = {
    "emitter_j_per_k": 120, "exchange_cm2": 100, "around_cm2": 100, "convection_mw_per_k": 400,
    "board_loss_mw_per_k": 500, "least_capacity_j_per_k": 70, "most_capacity_j_per_k": 140,
    "model_trust": 1,
}  # fmt: skip
_MARKS = (
    messages.MARK_NOZZLE_ON | messages.MARK_SOLDER_MOVES << 4 | messages.MARK_CHIP_OFF << 8
    | messages.MARK_AIR_AWAY << 12
)  # fmt: skip
_GAINS = {
    "cap0_q15": FULL_POWER_Q15, "kp0_q8": 2500, "ki0_q14": 100, "kd0_q4": 30000,
    "weight0_q8": layout.MAX_WEIGHT_Q8, "filter0_shift": 4,
}  # fmt: skip


class Sensors(NamedTuple):
    """Which channels play which part."""

    control: int
    other: int | None  # a second couple on the board
    board: tuple[int, ...]
    emitters: tuple[int, ...]


def sensors_of(settings: Settings) -> Sensors:
    """Return the parts of a device's channels; ValueError where none can control."""
    couples = [
        c
        for c in range(CHANNELS)
        if settings.channel_fitted(c) and settings.converter[c] != CONVERTER_THERMISTOR
    ]
    board = tuple(c for c in couples if not settings.sits_on_emitter(c))
    if not board:
        raise ValueError(
            "The device's description has no sensor on the board: add one with emberbed device"
            " settings"
        )
    emitters = tuple(c for c in couples if settings.sits_on_emitter(c))
    return Sensors(board[0], board[1] if len(board) > 1 else None, board, emitters)


def stages_plan(
    settings: Settings, changes: Mapping[str, int] | None = None, hold_ticks: int = HOLD_TICKS
) -> bytes:
    """Return the plan of acceptance: 60 degC, up to 64, hold, a question, hot air, cool.

    changes: fields of the header by name; `band2_cdeg` is the band of the hold.
    """
    header = _header(settings)
    header.update(changes or {})
    band_cdeg = header.pop("band2_cdeg", 300)
    levels = (LOW_CDEG, LOW_CDEG, LOW_CDEG, HIGH_CDEG, HIGH_CDEG, HIGH_CDEG, HIGH_CDEG, HIGH_CDEG)
    at = (0, 20, 0, 40, 0, hold_ticks, 0, 0)
    knots = [{"tick": tick, "setpoint_cdeg": cdeg} for tick, cdeg in zip(at, levels, strict=True)]
    stages = [
        _stage(layout.HOLD, LOW_CDEG, 0, 2, band_cdeg=500),
        _stage(layout.RAMP, HIGH_CDEG, 2, 2, longest_ticks=SOON),
        _stage(
            layout.HOLD, HIGH_CDEG, 4, 2, longest_ticks=hold_ticks + SOON, band_cdeg=band_cdeg
        ),
        _stage(layout.WAIT, HIGH_CDEG, 6, 1, longest_ticks=SOON, prompt=WAIT_PROMPT),
        _stage(
            layout.HOT_AIR, HIGH_CDEG, 7, 1, longest_ticks=2400, answer_ticks=6000,
            prompt=NOZZLE_PROMPT, marks=_MARKS,
        ),
        _stage(
            layout.COOL, 5000, 8, 0, longest_ticks=0, fastest_cdeg_per_min=12000
        ),
    ]  # fmt: skip
    header.update(stages=len(stages), knots=len(knots))
    return pack_plan(header, stages, knots)


def _stage(kind: int, target_cdeg: int, first_knot: int, knots: int, **more: int) -> dict[str, int]:
    return {
        "kind": kind, "prompt": NONE, "target_cdeg": target_cdeg, "first_knot": first_knot,
        "knots": knots, "band_cdeg": 300, "hold_back_cdeg": 800, "longest_ticks": 36000,
        "remind_ticks": 300, **more,
    }  # fmt: skip


def _header(settings: Settings) -> dict[str, int]:
    sensors = sensors_of(settings)
    header = {
        "version": layout.FORMAT_VERSION, "peak_cdeg": HIGH_CDEG,
        "most_setpoint_cdeg": HIGH_CDEG + 500, "longest_run_ticks": 100000,
        "handling_cdeg": 5000, "fan_below_cdeg": 20700, **_GAINS,
    }  # fmt: skip
    for channel in range(CHANNELS):
        header[f"partner{channel}"] = NONE
        limit_cdeg = min(LIMIT_CDEG, settings.ceiling_cdeg[channel])
        if channel in sensors.board:
            is_control = channel == sensors.control
            header[f"role{channel}"] = layout.ROLE_CONTROL if is_control else layout.ROLE_EDGE
        elif channel in sensors.emitters:
            header[f"role{channel}"] = layout.ROLE_EMITTER
            limit_cdeg = settings.ceiling_cdeg[channel]
        header[f"limit{channel}_cdeg"] = header[f"air_limit{channel}_cdeg"] = limit_cdeg
    for zone in range(ZONES):
        header[f"control{zone}"] = sensors.control if zone == 0 else NONE
    return header
