"""A step test: heat that is known, so that the answer tells what the heater is.

Full step, coast, half a step, coast, then each zone alone where there are several, cooling without
a fan: all of it open loop, ended by a limit
and by an energy that no bench heater turns into more. `step_test_profile` writes the profile's
text and reads it as any other, so that it passes the same checks and the run's record shows it.
Temperatures in degrees C, times in s, power in percent of the heater's full power.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor

from emberbed.bench.prepare import NotReady
from emberbed.device_description import DeviceDescription
from emberbed.heater.default_gains import POWER_CAP
from emberbed.materials.book import UNKNOWN
from emberbed.profiles.limits import HANDLING_C, HARD_CEILING_C, STORED_HEAT
from emberbed.profiles.plain_hold import head_lines, roles_of
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed_fw.settings import is_emitter_ceiling

USUAL_PERCENT = 50.0
# name, value, unit, why; our choice
LIMITS = (
    ("LEAST_LIMIT_C", 60.0, "degC", "a step well above the room, and cooling that begins hot"),
    ("MOST_LIMIT_C", HARD_CEILING_C - STORED_HEAT.value, "degC", "stored heat stays below this"),
    ("LEAST_PERCENT", 10.0, "%", "less is lost in a draught"),
    ("MOST_PERCENT", 100 * POWER_CAP, "%", "a heater that is not identified gets no more"),
    ("MOST_FULL_POWER_S", 180.0, "s", "energy of the first step, in time at full power"),
    ("HEAT_S", 360.0, "s", "a ceramic emitter is past its own lag by far"),
    ("COAST_S", 180.0, "s", "what is stored arrives within two to three lags of an emitter"),
    ("HALF_S", 240.0, "s", "long enough to bend"),
    ("ZONE_S", 90.0, "s", "a zone alone: its sensor bends, and the board has not evened it out"),
    ("ZONE_SHARE", 0.8, "1", "of the power of the first step, so that the limit stays away"),
    ("ZONE_COAST_S", 120.0, "s", "what the last zone has stored arrives"),
)
(LEAST_LIMIT_C, MOST_LIMIT_C, LEAST_PERCENT, MOST_PERCENT, MOST_FULL_POWER_S, HEAT_S, COAST_S,
 HALF_S, ZONE_S, ZONE_SHARE, ZONE_COAST_S) = (row[1] for row in LIMITS)  # fmt: skip
SECOND_HEATING = 2  # stage, from 0; what comes before is fitted, the rest is only foretold
FIRST_ZONE = 4  # stage, from 0: from here on zones are heated alone
ZONE_ROUNDS = 2  # each zone in turn, and once more: the second time tells stored heat from new


@dataclass(frozen=True)
class StepTest:
    """What is asked for; `on` a device it becomes a profile."""

    limit_c: float
    percent: float = USUAL_PERCENT
    alloy: str = UNKNOWN
    laminate: str = UNKNOWN

    def on(self, description: DeviceDescription) -> ProfileFile:
        """Return it as a profile of this device's sensors."""
        try:
            return step_test_profile(
                self.limit_c, heater_roles(description), self.percent, self.alloy, self.laminate,
                len(description.zone_watts),
            )  # fmt: skip
        except ProfileMistakes as mistakes:
            raise NotReady(mistakes.sentences) from None


def step_test_profile(
    limit_c: float,
    sensors: Mapping[str, str] | Sequence[str],
    percent: float = USUAL_PERCENT,
    alloy: str = UNKNOWN,
    laminate: str = UNKNOWN,
    zones: int = 1,
) -> ProfileFile:
    """Return a profile that heats with `percent` up to `limit_c`, lets go, and heats once more;
    then with each of the zones alone, where there are several.

    sensors: roles by channel names; or names alone, of which the first controls and the others
    watch the edge. Raises ProfileMistakes as a file would.
    """
    spoken = f"Step test up to {limit_c:g} °C"
    for number, least, most, what in (
        (limit_c, LEAST_LIMIT_C, MOST_LIMIT_C, "°C"),
        (percent, LEAST_PERCENT, MOST_PERCENT, "% of full power"),
    ):
        if not least <= number <= most:  # not a number too
            raise ProfileMistakes(
                [f"{spoken}: {number:g} {what} is outside {least:g} to {most:g}; choose in between"]
            )
    roles = sensors if isinstance(sensors, Mapping) else roles_of(sensors)
    coast_c = limit_c + STORED_HEAT.value
    heat_s = min(HEAT_S, floor(MOST_FULL_POWER_S * 100 / percent))
    lines = [
        *head_lines(spoken, alloy, laminate, roles),
        *_power(percent, heat_s, limit_c),
        *_power(0, COAST_S, coast_c),
        *_power(percent / 2, HALF_S, limit_c),
        *_power(0, COAST_S, coast_c),
        *(_zone_lines(ZONE_SHARE * percent, limit_c, zones) if zones > 1 else ()),
        "[[stages]]",
        'kind = "cool"',
        f"below_c = {HANDLING_C:g}",
        "fastest_c_per_s = 2",
        'fan = "never"  # a fan is no part of what is fitted',
        "",
    ]
    return parse_profile("\n".join(lines).encode(), spoken)


def _zone_lines(percent: float, limit_c: float, zones: int) -> list[str]:
    lines = []
    for _round in range(ZONE_ROUNDS):
        for zone in range(zones):
            lines += _power(percent, ZONE_S, limit_c, zone)
    return lines + _power(0, ZONE_COAST_S, limit_c + STORED_HEAT.value)


def _power(percent: float, for_s: float, limit_c: float, zone: int | None = None) -> list[str]:
    return [
        "[[stages]]",
        'kind = "power"',
        f"percent = {percent:.12g}",
        f"for_s = {for_s:.12g}",
        f"limit_c = {limit_c:.12g}",
        *([] if zone is None else [f"zone = {zone}"]),
        "",
    ]


def heater_roles(description: DeviceDescription) -> dict[str, str]:
    """Return what each channel is for: one that may get hotter than any board is on the heater."""
    on_board, on_heater = board_and_heater(description)
    if not on_board:
        raise NotReady(["No sensor of this device is on the board: a step test needs one there"])
    return {**roles_of(on_board), **dict.fromkeys(on_heater, "emitter")}


def board_and_heater(description: DeviceDescription) -> tuple[list[str], list[str]]:
    """Return the names of the channels on the board, and of those on the heater."""
    named = [channel for channel in description.channels if channel.name]
    on_heater = [channel.name for channel in named if is_emitter_ceiling(channel.ceiling_cdeg)]
    return [one.name for one in named if one.name not in on_heater], on_heater
