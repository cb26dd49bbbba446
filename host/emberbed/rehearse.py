"""A run in seconds, in process: the firmware against the simulated heater, nothing heated.

An analysis command: it may import the simulation. Gives the predicted curve and how the run would
end; the same firmware code as on a device, so the verdict holds as far as the simulated heater
does.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from emberbed import words
from emberbed.bench.outcome import OUTCOMES, REFUSED
from emberbed.bench.prepare import Prepared, load_profile
from emberbed.bench.story import Story
from emberbed.bench.with_heater import prepare_on
from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import ProfileFile
from emberbed.records import TickRecord, decode_record
from emberbed.rehearse_bench import Bench, bench_of, usual_bench
from emberbed.report import display
from emberbed.report.chart_model import Shade
from emberbed.report.series import series_of
from emberbed.report.series_chart import series_chart
from emberbed.report.summary import RunSummaryFigures, summarise
from emberbed_fw import run_states as rs
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.faults import FaultEvent, parse_fault
from emberbed_sim.plant.heater import SimulatedHeater

__all__ = ["bench_of", "bench_settings", "parse_sensors", "rehearse", "rehearse_by_name"]

ON_THE_USUAL_BENCH = "Rehearsed on the simulated heater: yours may be slower or faster."
Look = Callable[[TickRecord, SimulatedHeater], None]


@dataclass(frozen=True)
class Rehearsal:
    """One simulated run: its records and events, tick by tick."""

    prepared: Prepared
    description: DeviceDescription
    records: list[TickRecord]
    raw_records: list[bytes]
    settings: bytes
    events: list[tuple[int, str, str]]  # tick, kind, sentence
    about_heater: list[str]  # what a heater file changed in the plan, a sentence each

    @property
    def state(self) -> str:
        """Return how it ends, as the run store would say it."""
        return OUTCOMES.get(self.records[-1].state, REFUSED).state

    def names(self) -> dict[int, str]:
        return self.description.fitted_names()


def rehearse(
    profile_file: ProfileFile,
    seed: int = 1,
    faults: Sequence[FaultEvent] = (),
    bench: Bench | None = None,
    look: Look | None = None,
) -> Rehearsal:
    """Run the profile once. Raises NotReady, or ValueError for a fault the bench cannot have.

    `look` is called after every tick with its record and the simulated heater.
    """
    bench = bench or usual_bench(profile_file)
    settings = bench_settings(bench.parameters)
    description = decode_settings(settings)
    prepared, about_heater = prepare_on(profile_file, description, bench.identified)
    heater = SimulatedHeater(bench.parameters, seed, faults, bench.heat())
    loop = ClosedLoop(settings, prepared.plan, heater, Operator(), tuple(faults))
    raw_records, records = [], []
    for raw in loop.run():
        raw_records.append(raw)
        records.append(decode_record(raw))
        if look is not None:
            look(records[-1], heater)
        if records[-1].state == rs.LOADED:
            break  # the offer to heat has expired: a run would be refused
    story = Story(decode_plan(prepared.plan), prepared.prompts, description.fitted_names())
    events = [
        (record.tick, kind, sentence)
        for record, raw in zip(records, raw_records, strict=True)
        for kind, sentence in story.follow(record, raw)
    ]
    return Rehearsal(prepared, description, records, raw_records, settings, events, about_heater)


def predicted_curve(rehearsal: Rehearsal, every_s: float = 1.0) -> list[dict[str, float | None]]:
    """Return rows of seconds, setpoint_c, each channel in C and power in percent."""
    step = max(1, round(every_s * TICKS_PER_S))
    first = rehearsal.records[0].tick
    rows = []
    for record in rehearsal.records[::step]:
        row: dict[str, float | None] = {"seconds": (record.tick - first) / TICKS_PER_S}
        row["setpoint_c"] = _degrees(record.asked_cdeg())
        for channel, name in rehearsal.names().items():
            row[f"{name}_c"] = _degrees(record.channel_cdeg(channel))
        row["power_percent"] = round(100 * record.demand0_q15 / FULL_POWER_Q15, 1)
        rows.append(row)
    return rows


def _degrees(cdeg: int | None) -> float | None:
    return None if cdeg is None else cdeg / 100


def rehearse_by_name(name: str, seed: int, faults: Sequence[str]) -> Rehearsal:
    """Rehearse a profile by path or shipped name, with faults as a person writes them."""
    return rehearse(load_profile(name), seed, [parse_fault(text) for text in faults])


def figures_of(rehearsal: Rehearsal) -> RunSummaryFigures:
    """Return the predicted run's figures."""
    plan = decode_plan(rehearsal.prepared.plan)
    return summarise(rehearsal.records, plan, rehearsal.names())


def picture_of(rehearsal: Rehearsal, shades: Sequence[Shade] = ()) -> str:
    """Return the predicted run as an SVG picture."""
    from emberbed.report.chart import run_chart_svg  # matplotlib: only when it is needed

    plan = decode_plan(rehearsal.prepared.plan)
    title = f"{rehearsal.prepared.profile_file.model.name}: rehearsal"
    series = series_of(rehearsal.records)
    chart = series_chart(series, plan, rehearsal.names(), [], title)
    return run_chart_svg(replace(chart, shades=shades))


def as_json(rehearsal: Rehearsal) -> dict[str, object]:
    """Return the whole prediction for scripts."""
    figures = figures_of(rehearsal)
    return {
        "profile": rehearsal.prepared.profile_file.model.name,
        "state": rehearsal.state,
        "seconds": figures.duration_s,
        "largest_ramp_c_per_s": figures.largest_ramp_c_per_s,
        "largest_cooling_c_per_s": figures.largest_cooling_c_per_s,
        "peaks_c": {name: figures.peaks_c.get(n) for n, name in rehearsal.names().items()},
        "energy_j": figures.energy_j,
        "limits_exceeded": figures.limits_exceeded,
        "events": [
            {"tick": tick, "kind": kind, "sentence": sentence}
            for tick, kind, sentence in rehearsal.events
        ],
        "curve": predicted_curve(rehearsal),
    }


def as_lines(
    rehearsal: Rehearsal, more: Sequence[str] = (), worth: str = ON_THE_USUAL_BENCH
) -> list[str]:
    """Return the prediction for a person: `more` before the verdict, what it is `worth` last."""
    figures = figures_of(rehearsal)
    lines = [
        f"{display.clock(tick / TICKS_PER_S)}  {sentence}" for tick, _, sentence in rehearsal.events
    ]
    lines.append("")
    for channel, name in rehearsal.names().items():
        lines.append(f"{name}: peak {display.celsius(figures.peaks_c.get(channel))}")
    lines.append(f"largest ramp {display.rate(figures.largest_ramp_c_per_s)}")
    lines.append(f"largest cooling {display.rate(figures.largest_cooling_c_per_s)}")
    energy = display.energy(figures.energy_j)
    lines.append(f"{display.clock(figures.duration_s)} from arming to cool, {energy}")
    lines += more
    lines.append(words.verdict_words(rehearsal.state, len(figures.limits_exceeded)))
    lines += figures.limits_exceeded
    lines.append(worth)
    return lines
