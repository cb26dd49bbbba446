"""A warm simulated heater with every sensor, and what happens on it."""

from collections.abc import Callable

from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters, sensor_at
from emberbed_sim.plant.switches import OUT_CONTACTOR

SENSORS = (
    sensor_at("control", "board_centre"),
    sensor_at("rim", "board_edge"),
    sensor_at("chip", "chip_top"),
    sensor_at("bank", "emitter"),
)
BENCH = BenchParameters(sensors=SENSORS)


def warm_heater(*faults: str) -> SimulatedHeater:
    """Return a bench with a board of 150 degC on it, as in a soak."""
    heater = SimulatedHeater(BENCH, 1, [parse_fault(fault) for fault in faults])
    heater.thermal.carry(
        emitter_k=603.0, centre_k=423.0, edge_k=420.0, chip_k=413.0, surroundings_k=319.0
    )
    for couple, bead_c in zip(heater.beads.couples, (150.0, 147.0, 140.0, 330.0), strict=True):
        couple.settle(bead_c)
    return heater


def drive(heater: SimulatedHeater, ticks: int) -> None:
    for _ in range(ticks):
        heater.step(1 if round(heater.elapsed_s * 10) % 10 < 3 else 0, OUT_CONTACTOR)


def seen(heater: SimulatedHeater) -> tuple[object, ...]:
    return heater.words, heater.port_flags, heater.truth


def fault_bits(channel: int) -> Callable[[SimulatedHeater], float]:
    """Return D16 and D2..D0 of a channel's word; MAX31855 datasheet page 10."""

    def bits(heater: SimulatedHeater) -> float:
        word = int.from_bytes(heater.words[4 * channel : 4 * channel + 4], "big")
        return (word >> 16 & 1) * 8 + (word & 7)

    return bits


def read_c(channel: int) -> Callable[[SimulatedHeater], float]:
    """Return what a converter says, uncorrected; MAX31855 datasheet page 10: D31..D18."""

    def read(heater: SimulatedHeater) -> float:
        word = int.from_bytes(heater.words[4 * channel : 4 * channel + 4], "big", signed=True)
        return (word >> 18) / 4

    return read
