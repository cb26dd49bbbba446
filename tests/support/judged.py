"""A guard alone on a table: healthy readings and senses that single tests spoil."""

from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw import trip_codes
from emberbed_fw.guard import Guard
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.messages import ATTEND_HOST
from emberbed_fw.plan import Plan
from emberbed_fw.record import OUT_CONTACTOR, PORT_CONTACTOR_CLOSED, PORT_HEAT_CURRENT
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.plans import bench_settings, build_plan, cool, ramp

PLAN = Plan(build_plan([ramp(2500, 9000, 650), cool()], limit0_cdeg=11000, limit1_cdeg=12000))
EVERYTHING = PORT_CONTACTOR_CLOSED | PORT_HEAT_CURRENT
SENSOR_FAULTS = [
    trip_codes.SENSOR_OPEN, trip_codes.SENSOR_SHORT_GROUND, trip_codes.SENSOR_SHORT_SUPPLY,
    trip_codes.SENSOR_BUS_DEAD, trip_codes.SENSOR_STALE, trip_codes.SENSOR_RANGE,
]  # fmt: skip


class Fed:
    """Readings that say what a test wants."""

    def __init__(self, *cdeg):
        self.cdeg = [*cdeg, *[NO_READING_CDEG] * (CHANNELS - len(cdeg))]
        self.fault = [trip_codes.NO_TRIP] * CHANNELS
        self.cold_cdeg = [2500] * CHANNELS


class Judged:
    """A guard with healthy inputs that single tests spoil."""

    def __init__(self, has=fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE,
                 ceiling_cdeg=26000):  # fmt: skip
        channel = ("couple", fw_settings.CONVERTER_MAX31855K, ceiling_cdeg, 0, 4096)
        self.guard = Guard(Settings(bench_settings(has, (channel, channel))))
        self.guard.renew_lease(ATTEND_HOST)
        self.guard.memory = MemoryWatch(PLAN.tables(), [])
        self.readings = Fed(8000, 7900)
        self.state = rs.RUN
        self.plan = PLAN
        self.flags = None  # both senses follow what was driven
        self.elapsed_ms = 100
        self.air_on = False
        self.outputs = OUT_CONTACTOR
        self.guard.note_outputs(1, OUT_CONTACTOR)
        self._driven = 1

    def tick(self, count=1, wanted=1):
        """Judge `count` ticks; return the zones allowed in the last."""
        for _ in range(count):
            flags = self._healthy_flags() if self.flags is None else self.flags
            driven = self.guard.judge(
                self.state, self.readings, self.plan, flags, self.elapsed_ms, wanted,
                self.air_on,
            )  # fmt: skip
            self._driven = driven
            self.guard.note_outputs(driven, self.outputs)
        return driven

    def _healthy_flags(self):
        closed = PORT_CONTACTOR_CLOSED if self.outputs & OUT_CONTACTOR else 0
        return closed | (PORT_HEAT_CURRENT if closed and self._driven else 0)

    @property
    def trip(self):
        return self.guard.trip

    @property
    def withheld(self):
        return self.guard.withheld
