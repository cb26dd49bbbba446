"""The virtual device in its injection entry, and the hands that reach it: a process, as always."""

from dataclasses import dataclass

from emberbed.bench.virtual import VirtualDevice


@dataclass(frozen=True)
class InjectedBench:
    """What `bench.virtual.VirtualDevice` needs to know of it."""

    engine: str = "auto"
    sensors: tuple[str, ...] = ()
    module: str = "emberbed_sim.injection_device"

    def arguments(self) -> list[str]:
        """Return the command line of the device's process."""
        return ["--engine", self.engine, *(f"--sensor={sensor}" for sensor in self.sensors)]


class VirtualHands:
    """Does to the virtual device what a person does at a board."""

    def __init__(self, device: VirtualDevice) -> None:
        self._device = device

    def cut_power(self) -> None:
        self._device.tell("power")

    def freeze(self) -> None:
        self._device.tell("freeze")
