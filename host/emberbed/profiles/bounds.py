"""How far a run may go: the highest setpoint that a person's changes may reach, and every sensor's
own limit.

Taken from the profile where it says so, else from its materials and its peak. All in hundredths of
a degree C; the device's own ceilings come on top in `compile`.
"""

from emberbed.materials.book import Alloy, Laminate, find_alloy, find_laminate
from emberbed.materials.standards import package_rating
from emberbed.profiles.limits import (
    LIMIT_ABOVE_PEAK_C,
    MOST_OFFSET_C,
    PACKAGE_LEAD_FREE,
    PACKAGE_LEADED,
    PAUSE_BELOW_LIMIT_C,
    SOLIDUS_MARGIN,
    SUPPORT_SOAK,
    TG_MARGIN,
    Limit,
)
from emberbed.profiles.model import Profile, Sensor
from emberbed.profiles.timing import peak_cdeg, to_cdeg
from emberbed_fw.safety_limits import EMITTER_CEILING_CDEG


def soak_advised_c(laminate: Laminate) -> float:
    """Return the highest temperature from below that is advised for a laminate, in degrees C."""
    return min(SUPPORT_SOAK.value, laminate.tg_c - TG_MARGIN.value)


def solid_below_c(alloy: Alloy) -> float:
    """Return up to where a solder is sure to be solid, in degrees C."""
    return alloy.solidus_c - SOLIDUS_MARGIN.value


def package_limit(profile: Profile) -> Limit:
    """Return what the chip is rated for; of an unknown one, what the weakest package is."""
    alloy, chip = find_alloy(profile.alloy), profile.chip
    if chip is None:
        return PACKAGE_LEADED if alloy.leaded else PACKAGE_LEAD_FREE
    rated = package_rating(profile.standard, alloy.leaded, chip.thickness_mm, chip.volume_mm3())
    return Limit(rated.value, "°C", f"{rated.source}, {rated.status}")


def most_setpoint_cdeg(profile: Profile) -> int:
    """Return the highest setpoint that changes at the bench may reach, never below the peak."""
    peak = peak_cdeg(profile)
    if profile.identifies():  # open loop: there is no setpoint to change
        return peak
    if profile.ceiling_c is not None:
        return max(peak, to_cdeg(profile.ceiling_c))
    laminate, alloy = find_laminate(profile.laminate), find_alloy(profile.alloy)
    advised = to_cdeg(min(soak_advised_c(laminate), solid_below_c(alloy)))
    return max(peak, min(peak + to_cdeg(MOST_OFFSET_C), advised))


def limit_cdeg(profile: Profile, sensor: Sensor) -> int:
    """Return the reading of `sensor` beyond which heat goes off, before any hot air."""
    if sensor.limit_c is None and sensor.role not in ("emitter", "chip_top"):
        return peak_cdeg(profile) + to_cdeg(LIMIT_ABOVE_PEAK_C)
    return air_limit_cdeg(profile, sensor)


def air_limit_cdeg(profile: Profile, sensor: Sensor) -> int:
    """Return the same once hot air from above has been on."""
    if sensor.limit_c is not None:
        return to_cdeg(sensor.limit_c)
    if sensor.role == "emitter":  # hotter than any board, so only the device knows its limit
        return EMITTER_CEILING_CDEG
    alloy = find_alloy(profile.alloy)
    above_peak = peak_cdeg(profile) + to_cdeg(LIMIT_ABOVE_PEAK_C)
    if sensor.role == "chip_top" or (sensor.in_jet and profile.has_hot_air()):
        return max(above_peak, to_cdeg(package_limit(profile).value))
    if profile.has_hot_air():  # what lies beside the chip gets warm too, and must stay soldered
        return max(above_peak, to_cdeg(alloy.solidus_c))
    return above_peak


def pause_cdeg(sensor: Sensor, limit: int) -> int:
    """Return the reading of a neighbour that stops the ramp, below its `limit`; 0 for others."""
    if sensor.role != "neighbour":
        return 0
    below = limit - to_cdeg(PAUSE_BELOW_LIMIT_C)
    return below if sensor.pause_c is None else min(to_cdeg(sensor.pause_c), limit - 1)
