"""How numbers are shown to people in reports: times, temperatures, rates, or a dash for none."""

NOTHING = "\N{EN DASH}"


def clock(seconds: float | None) -> str:
    """Return a time of a run as people read it: 4:05, or 1:02:03 from an hour on."""
    if seconds is None:
        return NOTHING
    minutes, rest = divmod(round(abs(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    sign = "-" if seconds <= -0.5 else ""
    return f"{sign}{hours}:{minutes:02d}:{rest:02d}" if hours else f"{sign}{minutes}:{rest:02d}"


def celsius(degrees: float | None) -> str:
    return NOTHING if degrees is None else f"{degrees:.1f} °C"


def rate(c_per_s: float | None) -> str:
    return NOTHING if c_per_s is None else f"{c_per_s:.2f} °C/s"


def energy(joules: int) -> str:
    return f"{joules / 1000:.0f} kJ ({joules / 3_600_000:.2f} kWh)"
