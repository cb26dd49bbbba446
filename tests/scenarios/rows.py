"""The rows of rows.toml, and the profile, the acts and the bench that each asks for."""

import json
import tomllib
from pathlib import Path

from emberbed.bench.acts import parse_act
from emberbed.bench.prepare import PlainHold, load_profile, prepare
from emberbed.device_description import decode_settings
from emberbed.profiles.reader import parse_profile
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.plant.parameters import bench_for_board

ROWS_FILE = Path(__file__).with_name("rows.toml")
FILE = tomllib.loads(ROWS_FILE.read_text(encoding="utf-8"))
ROWS = FILE["row"]
NAMES = [row["name"] for row in ROWS]
KNOWN_KEYS = {
    "name", "shows", "profile", "hold", "sensors", "faults", "acts", "answers", "answers_at",
    "marks_before_press", "exit_code", "verdict", "trip", "runs", "says", "never", "calls", "waits",
    "marks", "touches", "falls_to_c", "steady_power", "fan", "arms_within_s",
}  # fmt: skip
BOARD = (60.0, 100.0, 70.0)  # g, mm, mm: small, so that runs are short
FOR_GOOD_S = 1e6


def row_of(name):
    return next(row for row in ROWS if row["name"] == name)


def profile_of(row):
    """Return the profile that a row asks for: shipped, of the file's table, or a plain hold."""
    if "hold" in row:
        return PlainHold(*row["hold"])
    made = FILE["profile"].get(row["profile"])
    if made is None:
        return load_profile(row["profile"])
    return parse_profile(written(row["profile"], made).encode(), row["profile"])


def written(name, made):
    """Return a profile's text; every value of it is written alike in JSON and in TOML."""
    head = {"name": name, "alloy": "SAC305", "laminate": "FR-4 Tg 150"}
    head |= {key: value for key, value in made.items() if key not in ("sensors", "stages")}
    lines = [f"{key} = {json.dumps(value)}" for key, value in head.items()]
    lines.append("[sensors]")
    for sensor, role in made.get("sensors", FILE["usual_sensors"]).items():
        lines.append(f"{sensor} = {inline(role)}")
    for stage in made["stages"]:
        lines += ["[[stages]]", *(f"{key} = {json.dumps(value)}" for key, value in stage.items())]
    return "\n".join(lines) + "\n"


def inline(role):
    if isinstance(role, str):
        return json.dumps(role)
    return f"{{ {', '.join(f'{key} = {json.dumps(value)}' for key, value in role.items())} }}"


def acts_of(row):
    return sorted((parse_act(text) for text in row.get("acts", ())), key=lambda act: act.after_s)


def fitted(row):
    """Return plan, prompts and channel names of a row on its bench."""
    bench = bench_for_board(*BOARD, parse_sensors(row.get("sensors", ())))
    description = decode_settings(bench_settings(bench))
    prepared = prepare(profile_of(row), description)
    return prepared.plan, prepared.prompts, description.fitted_names()
