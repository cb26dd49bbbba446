"""Heater files written by hand, for what reads them."""

from emberbed.heater.heater_file import parse_heater
from tests.host.heater.made_heater import LABEL_PRINTER

HEAD = f"""format = 1
made = 2025-03-01T10:00:00Z

[source]
file = "label-printer-step.csv"
sha256 = "{"0a" * 32}"
rows = 400
fitted_rows = 400
drive = "power_w"
temperature = "temperature_c"

[scale]
full_drive = 1000.0
full_power_w = 1000.0

[fit]
percent_fitted = 99.5
rms_c = 0.1
correlation = 0.0
start = "at rest"
lowest_c = 21.0
highest_c = 170.0
"""


def heater_text(head=HEAD, **changes):
    """Return the text of a heater; numbers may be changed by name."""
    values = LABEL_PRINTER | changes
    lines = [
        f"{name} = {{ value = {value}, low = {value}, high = {value}, from_data = true }}"
        for name, value in values.items()
    ]
    uncertainty = ["[uncertainty]", 'names = ["board_lag_s", "room_c"]']
    uncertainty += ["covariance = [[0.04, 0.03], [0.03, 0.25]]"]
    return "\n".join([head, "[parameters]", *lines, "", *uncertainty, ""])


def heater(**changes):
    return parse_heater(heater_text(**changes), "heater.toml")
