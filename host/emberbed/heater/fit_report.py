"""What an identification says: the same facts as JSON for scripts and as lines for people."""

from collections.abc import Iterator

from emberbed.heater.carried import Direction, Estimate, estimates, untold
from emberbed.heater.identify import Fitted
from emberbed.heater.model_parameters import BY_NAME
from emberbed.heater.step_data import WATTS

MOST_DIRECTIONS = 6
ASSUMED = (
    "The intervals hold for a heater built like the model: one emitter, one board without an edge,"
    " one ring of surroundings; on others a single number may lie outside while the curve is right."
)
ALL_HEAT = {  # everything that is counted in watts
    "full_power_w", "emitter_j_k", "board_j_k", "surroundings_j_k", "emitter_board_w_k4",
    "emitter_around_w_k4", "emitter_air_w_k", "board_around_w_k4", "board_air_w_k125",
    "room_loss_w_k",
}  # fmt: skip
NAMES = {
    "full_power_w": "the power itself",
    "emitter_j_k": "the emitter's heat capacity",
    "board_j_k": "the board's heat capacity",
    "surroundings_j_k": "the surroundings' heat capacity",
    "emitter_board_w_k4": "radiation from emitter to board",
    "emitter_around_w_k4": "radiation from emitter to surroundings",
    "emitter_air_w_k": "the air's share of the emitter's heat",
    "board_around_w_k4": "radiation from the board",
    "board_air_w_k125": "convection from the board",
    "room_loss_w_k": "loss from the surroundings to the room",
    "sensor_lag_s": "the sensor's lag",
    "drive_exponent": "the power law of the drive",
    "room_k": "the room's temperature",
    "first_board_c": "the board's first temperature",
    "first_emitter_c": "the emitter's first temperature",
    "first_surroundings_c": "the surroundings' first temperature",
}


def as_json(fitted: Fitted, full_power_w: float | None) -> dict[str, object]:
    """Return everything for scripts."""
    noise = fitted.scored.noise
    return {
        "source": fitted.measured.name,
        "rows": len(fitted.measured.seconds),
        "fitted_rows": fitted.fitted_rows,
        "parameters_rows": fitted.whole_rows,
        "parameters_rms_c": round(fitted.whole.noise.rms_c, 3),
        "fit_percent_fitted": round(fitted.percent_fitted, 2),
        "fit_percent_unseen": _rounded(fitted.percent_unseen),
        "start": fitted.whole.candidate.start,
        "scores": {start: round(score, 2) for start, score in fitted.scores.items()},
        "full_drive": fitted.full_drive,
        "full_power_w": full_power_w,
        "parameters": {one.name: _estimate_json(one) for one in estimates(fitted.whole)},
        "not_told": [
            {
                "shares": {name: round(share, 3) for name, share in one.shares.items()},
                "factor": None if one.only_ratios else float(f"{one.factor:.3g}"),
                "sentence": direction_sentence(one),
            }
            for one in untold(fitted.whole, full_power_w)
        ],
        "residuals": {
            "rms_c": round(noise.rms_c, 3),
            "largest_c": round(fitted.scored.largest_c, 3),
            "correlation": round(noise.correlation, 3),
            "independent_rows": round(noise.independent_rows, 1),
        },
    }


def as_lines(fitted: Fitted, full_power_w: float | None) -> list[str]:
    """Return everything for a person."""
    rows = fitted.fitted_rows
    lines = [f"{fitted.measured.name}: {rows} rows are fitted to {fitted.percent_fitted:.1f} %"]
    unseen = fitted.percent_unseen
    if unseen is not None:
        more = len(fitted.measured.seconds) - rows
        lines.append(f"{more} unseen rows, simulated freely from the first row on: {unseen:.1f} %")
    if fitted.whole_rows > rows:
        lines.append(
            f"The numbers below are those of a second fit, to all {_all_rows(fitted)}, which leaves"
            f" {fitted.whole.noise.rms_c:.2f} °C rms."
        )
    lines.append(f"At the first row the heater was {fitted.whole.candidate.start}.")
    lines += ["", *_table(estimates(fitted.whole)), "", *_physics(fitted, full_power_w)]
    lines += [*_limits(fitted), ASSUMED, ""]
    lines += [
        direction_sentence(one) for one in untold(fitted.whole, full_power_w)[:MOST_DIRECTIONS]
    ]
    if fitted.measured.kind == WATTS and full_power_w == fitted.measured.drive.max():
        lines.append(
            f"Full power is taken as the highest in the file, {full_power_w:g} W; if the heater can"
            " do more, say so with --watts."
        )
    return lines


def direction_sentence(one: Direction) -> str:
    """Return what a direction without a trace means."""
    names = [NAMES.get(name, name) for name in one.shares]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    if set(one.shares) == ALL_HEAT:
        listed = "power, heat capacities, radiation, convection and losses"
    if one.only_ratios:
        same_sign = len({share > 0 for share in one.shares.values()}) == 1
        what = "one common factor" if same_sign else "one combination"
        mend = "; give the watts at full power with --watts" if "full_power_w" in one.shares else ""
        return f"Not in the data: {what} of {listed}: only their ratios are known{mend}."
    if len(names) == 1:
        return f"Hardly in the data: {listed}."
    known = "at all" if one.factor > 1000 else f"to better than a factor of {one.factor:.0f}"
    return f"Hardly in the data: {listed} do each other's work and are not told apart {known}."


def _table(found: list[Estimate]) -> Iterator[str]:
    for one in found:
        mark = "" if one.from_data else "  mostly the usual value"
        mark = "  at the edge of what is allowed" if one.at_edge else mark
        interval = f"{one.low:.4g} to {one.high:.4g}"
        unit = "" if one.unit == "1" else one.unit.replace("degC", "°C")
        yield f"{one.says:63s}{one.value:9.4g} {unit:4s}{interval:>19s}{mark}"


def _physics(fitted: Fitted, full_power_w: float | None) -> Iterator[str]:
    """Say heat capacities where watts are known."""
    if full_power_w is None:
        return
    board = next(one for one in estimates(fitted.whole) if one.name == "board_capacity_s_per_k")
    value, low, high = (full_power_w * part for part in (board.value, board.low, board.high))
    yield f"Heat capacity of the board: {value:.0f} J/K ({low:.0f} to {high:.0f})"


def _limits(fitted: Fitted) -> Iterator[str]:
    """Say what keeps the fit from being better."""
    of = " in the fitted rows" if fitted.whole_rows > fitted.fitted_rows else ""
    noise = fitted.scored.noise
    jumps = fitted.measured.temperature_c[: fitted.fitted_rows]
    sensor_c = float(abs(jumps[2:] - 2 * jumps[1:-1] + jumps[:-2]).mean()) / 2
    yield (
        f"Left over{of}: {noise.rms_c:.2f} °C rms, at most {fitted.scored.largest_c:.1f} °C;"
        f" the sensor's own flicker is about {sensor_c:.2f} °C."
    )
    if noise.rms_c > 2 * sensor_c and noise.correlation > 0.5:
        yield (
            f"What is left over hangs together ({noise.correlation:.2f} from step to step, as good"
            f" as {noise.independent_rows:.0f} independent rows): draughts, or parts that this"
            " model has not; more rows of the same kind would not help."
        )


def _all_rows(fitted: Fitted) -> str:
    fan = "" if fitted.whole_rows == len(fitted.measured.seconds) else " before the fan blows"
    return f"{fitted.whole_rows} rows{fan}"


def _rounded(percent: float | None) -> float | None:
    return None if percent is None else round(percent, 2)


def _estimate_json(one: Estimate) -> dict[str, object]:
    numbers = {name: float(f"{getattr(one, name):.5g}") for name in ("value", "low", "high")}
    return {
        **numbers,
        "unit": one.unit,
        "from_data": one.from_data,
        "at_edge": one.at_edge,
        "of_the_heater": one.name in BY_NAME,
    }
