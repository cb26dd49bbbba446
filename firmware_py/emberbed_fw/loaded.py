"""A checked plan with all that works through it, opened between ticks: a tick only swaps."""

from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.pid import Pid
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import ZONES


class Loaded:
    """Plan, sequencer, controllers, and the sums over every number that the run will live by."""

    def __init__(self, plan, settings, ceiling_cdeg):
        self.plan = plan
        self.sequencer = Sequencer(plan)
        self.pids = [Pid(plan.header, zone) for zone in range(ZONES)]
        limits = [plan.limit_cdeg, plan.air_limit_cdeg, ceiling_cdeg]
        self.memory = MemoryWatch(plan.tables() + settings.tables(), limits)
