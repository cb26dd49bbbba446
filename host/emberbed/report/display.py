"""How numbers are shown to people in reports: times, temperatures, rates, or a dash for none."""

from datetime import UTC, datetime, tzinfo

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


def local_time(stored: str) -> str:
    """Return a stored time in the reader's own zone, with its distance to UTC."""
    return _written_time(stored, None, "%Y-%m-%d %H:%M:%S (UTC%z)")


def local_minute(stored: str) -> str:
    """Return a stored time in the reader's own zone, for a list."""
    return _written_time(stored, None, "%Y-%m-%d %H:%M")


def utc_time(stored: str | None) -> str:
    return NOTHING if stored is None else _written_time(stored, UTC, "%Y-%m-%d %H:%M:%S")


def _written_time(stored: str, zone: tzinfo | None, pattern: str) -> str:
    try:
        return datetime.fromisoformat(stored).astimezone(zone).strftime(pattern)
    except (ValueError, OverflowError, OSError):  # changed in the store: show what is there
        return stored


def seconds_between(stored: str, later: str | None) -> float | None:
    """Return the time between two stored ones, None where one is not known."""
    try:
        began, ended = datetime.fromisoformat(stored), datetime.fromisoformat(later or "")
        return (ended - began).total_seconds()
    except (ValueError, OverflowError, TypeError):
        return None
