"""The device port of the closed loop: what the firmware reads and drives, without a wire.

Gives `emberbed_fw.main_loop.one_tick` what it asks of a port (device_port.py) for one tick, from
the simulated heater; keeps what was driven.
"""

from emberbed_fw.tick import Inputs
from emberbed_fw.units import TICK_MS
from emberbed_sim.plant.heater import SimulatedHeater


class LoopPort:
    """`flags` and `elapsed_ms` are set before a tick, `zones` and `outputs` read after it."""

    def __init__(self, heater: SimulatedHeater) -> None:
        self._heater = heater
        self.flags = 0  # beside those of the bench
        self.elapsed_ms = TICK_MS
        self.zones = 0
        self.outputs = 0

    def sample(self, inputs: Inputs) -> None:
        heater = self._heater
        inputs.elapsed_ms = self.elapsed_ms
        inputs.words[:] = heater.words
        inputs.fresh_channels = heater.fresh_channels
        inputs.port_flags = heater.port_flags | self.flags

    def drive(self, zones: int, outputs: int) -> None:
        self.zones = zones
        self.outputs = outputs

    def all_off(self) -> None:
        self.drive(0, 0)
