"""`python -m tests.benchmarks.control.step_tests KIND`: identify a nominal heater, write its file.

The firmware's own step test on the heater in two dimensions, then `identify` as the command does
it. Gains that the file had are lost: `emberbed tune` finds others.
"""

import sys
from datetime import UTC, datetime

import numpy as np

from emberbed.device_description import decode_settings
from emberbed.heater.heater_writer import heater_text
from emberbed.heater.identify import identify
from emberbed.heater.run_rows import even_rows
from emberbed.heater.step_data import SWITCHED, Measured
from emberbed.heater.step_test import SECOND_HEATING, StepTest
from emberbed.profiles.compile import compile_plan
from emberbed.records import decode_record
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from tests.benchmarks.control.heaters import NOMINAL, SENSOR, WATTS, bench_of, heat_of
from tests.benchmarks.control.ours import IDENTIFIED

LIMIT_C, PERCENT = 140.0, 60.0


def main(kind: str) -> None:
    bench = bench_of(NOMINAL)
    settings = bench_settings(bench)
    device = decode_settings(settings)
    test = StepTest(LIMIT_C, PERCENT).on(device).model
    plan = compile_plan(test, device.channel_names(), device.ceilings_cdeg(), zone_w=round(WATTS))
    loop = ClosedLoop(settings, plan, SimulatedHeater(bench, 1, (), heat_of(kind, NOMINAL)))
    records = [decode_record(raw) for raw in loop.run()]
    rows = [
        (one.tick / TICKS_PER_S, one.driven_zones & 1, one.channel0_cdeg, one.stage)
        for one in records
    ]
    seconds, driven, cdeg, stages = (np.array(column, float) for column in zip(*rows, strict=True))
    again_s = float(seconds[np.flatnonzero(stages == SECOND_HEATING)[0]])
    rows_s, drive, celsius = even_rows(seconds, driven, cdeg)
    lines = np.arange(1, len(rows_s) + 1)
    measured = Measured(
        "step test", "0" * 64, SWITCHED, "driven", f"{SENSOR}_c", rows_s, drive, celsius, lines,
        np.zeros(len(rows_s)),
    )  # fmt: skip
    text = heater_text(identify(measured, again_s, 1.0), WATTS, datetime.now(UTC))
    (IDENTIFIED / f"{kind}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
