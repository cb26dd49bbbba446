"""Facts of a run in words, the same on its web page and on paper."""

from emberbed.report import display
from emberbed.report.run_view import RunView


def lead_words(view: RunView) -> str:
    """Return when it was, how long, and whether a real board was heated."""
    heater = "Simulated heater, no board was heated" if view.run.simulated else "Real heater"
    recorded = f"{display.clock(view.figures.duration_s)} recorded{hurried_words(view)}"
    return f"{display.local_time(view.run.started_utc)}, {recorded}. {heater}."


def hurried_words(view: RunView) -> str:
    """Say how long a simulated run really took where that is less than its own time."""
    took_s = display.seconds_between(view.run.started_utc, view.run.last_stored_utc)
    if not view.run.simulated or took_s is None or took_s > 0.9 * view.figures.duration_s:
        return ""
    told = f"{took_s:.0f} s" if took_s < 120 else f"{took_s / 60:.0f} min"
    return f", simulated in {told}"


def board_words(view: RunView) -> str:
    """Return what the profile says about the board; a profile may be of another version."""
    board = view.profile.get("board")
    given = board if isinstance(board, dict) else {}
    parts = [f"{given['mass_g']} g"] if "mass_g" in given else []
    if "length_mm" in given and "width_mm" in given:
        parts.append(f"{given['length_mm']} × {given['width_mm']} mm")
    parts += [str(view.profile[key]) for key in ("laminate", "alloy") if key in view.profile]
    return ", ".join(parts) or display.NOTHING


def heater_words(view: RunView) -> str:
    watts = [zone.watts for zone in view.device.zones if zone.watts] if view.device else []
    return " + ".join(f"{zone} W" for zone in watts) or display.NOTHING
