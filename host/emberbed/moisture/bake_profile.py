"""A long, low bake on the heater as a profile's text, and who has to stay with it.

`bake_text` gives a gentle ramp, one long hold and a cool; a run lasts a day at most, so a longer
bake is told in runs. `attendance` says which of the conditions for leaving it alone are not met.
Degrees C, hours.
"""

from dataclasses import dataclass
from math import ceil

from emberbed.device_description import DeviceDescription
from emberbed.materials.book import UNKNOWN
from emberbed.moisture.bake import spoken_hours
from emberbed.profiles.limits import COOLING_ALLOWANCE_S, HANDLING_C, MOST_STAGE_S
from emberbed.profiles.plain_hold import head_lines, roles_of, warm_up_lines

UNATTENDED_MOST_C = 125.0  # peak of a run that nobody watches; our choice
LOWEST_C, HIGHEST_C = 40.0, 125.0  # the columns of the bake table
SPARE_S = 1800.0  # a hold counts only inside its band
BAND_C = 5.0
USUAL_SENSORS = ("top_near_chip", "edge")  # as the virtual device and the shipped profiles
WARM_UP_S = 3600.0  # reserved in the day that a run may last
LONGEST_H = (MOST_STAGE_S - COOLING_ALLOWANCE_S - WARM_UP_S - SPARE_S) / 3600


@dataclass(frozen=True)
class BakeProfile:
    """`text` of one run of `run_hours`; `runs` of them make the whole bake."""

    text: str
    run_hours: float
    runs: int


def bake_profile(
    oven_c: float,
    hours: float,
    sensors: list[str],
    alloy: str = UNKNOWN,
    laminate: str = UNKNOWN,
) -> BakeProfile:
    """Return the bake as a profile; ValueError with one sentence for what cannot be one."""
    if not LOWEST_C <= oven_c <= HIGHEST_C:
        raise ValueError(
            f"a bake at {oven_c:g} °C is outside {LOWEST_C:g} to {HIGHEST_C:g} °C, the columns of"
            " the bake table; choose a temperature between them"
        )
    if not 0 < hours <= 2000:
        raise ValueError(f"{hours:g} h are no bake; write hours above 0, at most 2000")
    runs = ceil(hours / LONGEST_H)
    each_h = hours / runs
    below_c = min(HANDLING_C, oven_c - BAND_C)
    part = f", one of {runs} runs" if runs > 1 else ""
    name = f"Bake {spoken_hours(each_h)} at {oven_c:g} °C{part}"
    lines = [
        "# A long, low bake. The board and its parts must bear it: take batteries, meltables and",
        "# labels off. It is as good as its sensor: put it on the part that is baked.",
        *head_lines(name, alloy, laminate, roles_of(sensors)),
        *warm_up_lines(oven_c, oven_c),
        "[[stages]]",
        'kind = "hold"',
        f"for_s = {round(each_h * 3600)}",
        f"band_c = {BAND_C:g}",
        f"longest_s = {round(each_h * 3600 + SPARE_S)}",
        "",
        "[[stages]]",
        'kind = "cool"',
        f"below_c = {below_c:g}",
        "fastest_c_per_s = 2",
        "",
    ]
    return BakeProfile("\n".join(lines), each_h, runs)


def attendance(oven_c: float, description: DeviceDescription | None) -> list[str]:
    """Return who has to stay, a sentence each; description None: the device is not known."""
    said = [
        "Somebody has to be there for the whole run: this version of the device's program takes"
        " no run that nobody watches."
    ]
    missing = _missing(oven_c, description)
    if missing:
        return [*said, f"On this bench such a run could not be left alone anyway: {missing}."]
    return [
        *said,
        f"A peak of at most {UNATTENDED_MOST_C:g} °C, a current sense and a declared cut-out are"
        " there, which leaving it alone would need; check the cut-out by hand all the same.",
    ]


def _missing(oven_c: float, description: DeviceDescription | None) -> str:
    lacks = []
    if oven_c > UNATTENDED_MOST_C:
        lacks.append(f"its peak is above {UNATTENDED_MOST_C:g} °C")
    if description is None:
        lacks.append("no device was asked for its current sense and its cut-out")
    else:
        if not description.has_heat_sense:
            lacks.append("the device has no current sense")
        if not description.has_cut_out:
            lacks.append("no independent cut-out is declared")
    return ", ".join(lacks)
