"""The virtual device in its injection entry, and the hands that reach it: a process, as always."""

from dataclasses import dataclass

from emberbed.bench.virtual import VirtualDevice
from emberbed_hil.bench import BACK_S


@dataclass(frozen=True)
class InjectedBench:
    """What `bench.virtual.VirtualDevice` needs to know of it."""

    engine: str = "auto"
    sensors: tuple[str, ...] = ()
    senses: bool = True  # of contactor and heater current
    module: str = "emberbed_sim.injection_device"

    def arguments(self) -> list[str]:
        """Return the command line of the device's process."""
        given = ["--engine", self.engine, *(f"--sensor={sensor}" for sensor in self.sensors)]
        return given if self.senses else [*given, "--no-senses"]


class VirtualHands:
    """Does to the virtual device what a person does at a board."""

    back_s = BACK_S

    def __init__(self, device: VirtualDevice) -> None:
        self._device = device

    def stand_by(self) -> None:
        pass

    def cut_power(self) -> None:
        self._device.tell("power")
