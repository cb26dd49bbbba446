"""What a step test says of a heater's zones: the heater file's table, JSON for scripts, lines."""

from emberbed.heater.coupling import ZoneFit, even_shares, sharpness
from emberbed.heater.heater_file import ZoneTable


def zone_table(fit: ZoneFit, watts: list[int]) -> ZoneTable:
    """Return the heater file's table of zones."""
    coupling = fit.coupling
    return ZoneTable(
        watts=watts,
        sensors=list(coupling.sensors),
        rise_k_per_s=[list(row) for row in coupling.rise_k_per_s],
        rms_c=round(fit.rms_c, 3),
    )


def as_json(zones: ZoneTable | None) -> dict[str, object]:
    """Return it for scripts; nothing for a heater of one zone."""
    if zones is None:
        return {}
    own = zones.rise_k_per_s[: len(zones.watts)]
    return {
        "zones": {
            **zones.model_dump(),
            "shares": even_shares(zones.coupling(), zones.sensors[: len(zones.watts)]),
            "largest_relative_gain": round(sharpness(own), 2),
        }
    }


def as_lines(zones: ZoneTable | None) -> list[str]:
    """Return it for a person."""
    if zones is None:
        return []
    count = len(zones.watts)
    steered = zones.sensors[:count]
    lines = [
        f"How fast each sensor rises by each of the {count} zones at full power, °C/s"
        f" ({zones.rms_c:.1f} °C rms are left over):"
    ]
    for name, row in zip(zones.sensors, zones.rise_k_per_s, strict=True):
        lines.append(f"  {name:17s}" + "".join(f"{one:9.3f}" for one in row))
    gain = sharpness(zones.rise_k_per_s[:count])
    lines.append(
        f"Largest relative gain {gain:.1f}: 1 for zones that do not touch, above 10 for zones that"
        " cannot be told apart."
    )
    shares = even_shares(zones.coupling(), steered)
    if shares is None:
        lines.append(
            "No sensible shares of the power warm these sensors alike, so all zones will be heated"
            " alike; move each sensor further over its own zone."
        )
        return lines
    told = ", ".join(
        f"zone {zone} ({name}) {share:.0%}"
        for zone, (name, share) in enumerate(zip(steered, shares, strict=True))
    )
    lines.append(f"Runs with this file give {told} of what is asked of the heater.")
    return lines
