"""The temperatures that a bead can be held to at a bench, each with how sure it is.

`Reference` has the true temperature in °C and its standard uncertainty in K, made from half-widths
that are equally likely throughout (JCGM 100:2008, 4.3.7). Raises NotReady, one sentence, for a
pressure, an altitude or a solder that can be none.
"""

from dataclasses import dataclass
from math import hypot, sqrt

from emberbed.bench.prepare import NotReady
from emberbed.calibration.water import boils_c, isa_kpa
from emberbed.materials.book import UnknownMaterial, alloys, find_alloy
from emberbed.plain_text import printable

ICE, BOILING = "ice", "boiling"
HPA_PER_KPA = 10.0
LOWEST_HPA, HIGHEST_HPA = 500.0, 1090.0  # station pressures: 5.5 km up, and the deepest shores
LOWEST_SEA_HPA, HIGHEST_SEA_HPA = 900.0, 1090.0  # ever measured, rounded outwards; from memory
LOWEST_M, HIGHEST_M = -450.0, 5500.0
RECTANGULAR = sqrt(3)  # a half-width over it is a standard uncertainty
# Half-widths. Crushed ice from tap water, well stirred; salts and superheating in a boiling pot:
# judgement, no source (a careful ice bath, ASTM E563, is ten times as good).
ICE_K = 0.1
POT_K = 0.15
GAUGE_HPA = 1.0  # a phone's or weather station's barometer
REDUCED_HPA = 2.5  # a sea-level pressure by radio, brought back to the altitude
WEATHER_HPA = 25.0  # what weather moves the pressure by, where the altitude alone is known
MELT_K = 1.0  # by which the sources of the materials book differ
METER_K = 1.0  # of a reference thermometer beside the bead
LEAST_METER_C, MOST_METER_C = -40.0, 400.0  # what one can be held to at a bench


@dataclass(frozen=True)
class Reference:
    """A known temperature: `name` ice, boiling, a solder, or a number's own words."""

    name: str
    true_c: float
    standard_k: float
    told: str  # how it is known, for a person
    station_kpa: float = 0.0  # at which water boils


def ice() -> Reference:
    return Reference(ICE, 0.0, ICE_K / RECTANGULAR, "melting ice")


def boiling(
    station_hpa: float | None, altitude_m: float | None, sea_level_hpa: float | None
) -> Reference:
    """Return the boiling point by the pressure here, or by the altitude, better with the sea-level
    pressure that a weather report tells."""
    if station_hpa is not None:
        if altitude_m is not None or sea_level_hpa is not None:
            raise NotReady(
                ["--pressure is the pressure here already: leave --altitude and --sea-level out"]
            )
        _within("--pressure", station_hpa, LOWEST_HPA, HIGHEST_HPA, "hPa here, not at sea level")
        return _boiling(station_hpa, GAUGE_HPA, f"water boiling at {station_hpa:g} hPa")
    if altitude_m is None:
        raise NotReady(
            [
                "Where water boils depends on the air: add --pressure in hPa as it is here, or"
                " --altitude in m"
            ]
        )
    _within("--altitude", altitude_m, LOWEST_M, HIGHEST_M, "m above the sea")
    if sea_level_hpa is None:
        station_hpa = isa_kpa(altitude_m) * HPA_PER_KPA
        told = f"water boiling at {altitude_m:g} m in average weather ({station_hpa:.0f} hPa)"
        return _boiling(station_hpa, WEATHER_HPA, told)
    _within("--sea-level", sea_level_hpa, LOWEST_SEA_HPA, HIGHEST_SEA_HPA, "hPa at sea level")
    station_hpa = isa_kpa(altitude_m, sea_level_hpa / HPA_PER_KPA) * HPA_PER_KPA
    told = f"water boiling at {altitude_m:g} m, {sea_level_hpa:g} hPa at sea level"
    return _boiling(station_hpa, REDUCED_HPA, f"{told} ({station_hpa:.0f} hPa here)")


def melting(name: str) -> Reference:
    """Return the melting point of a solder that has one."""
    try:
        alloy = find_alloy(name)
    except UnknownMaterial as unknown:
        raise NotReady([f"--melt: {unknown}"]) from None
    if alloy.solidus_c != alloy.liquidus_c:
        single = [one.name for one in alloys().values() if one.solidus_c == one.liquidus_c]
        raise NotReady(
            [
                f"--melt {printable(name)} melts over a range ({alloy.solidus_c:g} to"
                f" {alloy.liquidus_c:g} °C) and has no plateau: take one of {', '.join(single)}"
            ]
        )
    told = f"{alloy.name} freezing ({alloy.status})"
    return Reference(alloy.name, alloy.solidus_c, MELT_K / RECTANGULAR, told)


def metered(true_c: float) -> Reference:
    """Return what a reference thermometer beside the bead showed."""
    return Reference(f"{true_c:g} °C", true_c, METER_K / RECTANGULAR, "a reference thermometer")


def _boiling(station_hpa: float, half_hpa: float, told: str) -> Reference:
    true_c = boils_c(station_hpa / HPA_PER_KPA)
    half_k = (
        boils_c((station_hpa + half_hpa) / HPA_PER_KPA)
        - boils_c((station_hpa - half_hpa) / HPA_PER_KPA)
    ) / 2
    standard_k = hypot(half_k, POT_K) / RECTANGULAR
    return Reference(BOILING, true_c, standard_k, told, station_hpa / HPA_PER_KPA)


def _within(option: str, number: float, least: float, most: float, what: str) -> None:
    if not least <= number <= most:  # not a number too
        raise NotReady([f"{option} {number:g} cannot be: write {least:g} to {most:g} {what}"])
