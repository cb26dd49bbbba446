"""The simulated heater in front of a device that takes injected readings: a board on its bench."""

from dataclasses import replace

from emberbed.bench.prepare import PlainHold, prepare
from emberbed.device_description import decode_settings
from emberbed_fw.settings import Settings
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board, sensor_at

BOARD = (240.0, 180.0, 120.0)  # g, mm, mm
SEED = 1
HOLD_C = 60.0


def heater_for(settings: Settings, fitted: list[int]) -> SimulatedHeater:
    """Return a heater whose sensors are the fitted channels, in their order."""
    couples = [channel for channel in fitted if not settings.sits_on_emitter(channel)]
    sensors = [
        sensor_at(
            f"channel{channel}",
            "emitter"
            if channel not in couples
            else "board_centre"
            if channel == couples[0]
            else "board_edge",
        )
        for channel in fitted
    ]
    bench = bench_for_board(*BOARD, sensors)
    watts = float(settings.watts[0]) or bench.emitter.watts
    return SimulatedHeater(replace(bench, emitter=replace(bench.emitter, watts=watts)), SEED)


def hold_plan(settings: Settings, for_s: float) -> bytes:
    """Return the plan of a plain hold at HOLD_C, as `emberbed run --hold` would send it."""
    return prepare(PlainHold(HOLD_C, for_s), decode_settings(settings.block)).plan
