"""A bench whose board is warmed by what is driven: two masses, an emitter and a board.

Not the simulated heater: small, fast and independent of it, for runs of many thousand ticks. The
edge follows the board by a fixed share. `from_above_w` is what hot air brings to the board,
`cooled_by` is how many times faster than still air the board loses heat.
"""

from emberbed_fw import record
from emberbed_fw.units import TICKS_PER_S
from tests.support.bench import COLD_JUNCTION_C, Bench

EMITTER_W, EMITTER_J_PER_K, BOARD_J_PER_K = 400.0, 40.0, 60.0
TO_BOARD_W_PER_K, TO_ROOM_W_PER_K = 1.2, 0.35
EDGE_SHARE = 0.97


class HeatedBench(Bench):
    def __init__(self, plan=None, settings=None, start_c=COLD_JUNCTION_C):
        super().__init__(plan, settings)
        self.emitter_c = self.true_c = start_c
        self.from_above_w = 0.0
        self.cooled_by = 1.0
        self.lifted_c = None  # what the control bead says while it is off the board

    def _one_tick(self):
        self._warm()
        super()._one_tick()

    def _warm(self):
        driven = EMITTER_W if self.heats else 0.0
        across = TO_BOARD_W_PER_K * (self.emitter_c - self.true_c)
        lost = TO_ROOM_W_PER_K * (self.true_c - COLD_JUNCTION_C)
        cooled = lost * self.cooled_by * (3.0 if self._fan_runs else 1.0)
        self.emitter_c += (driven - across) / EMITTER_J_PER_K / TICKS_PER_S
        self.true_c += (across + self.from_above_w - cooled) / BOARD_J_PER_K / TICKS_PER_S
        edge_c = COLD_JUNCTION_C + EDGE_SHARE * (self.true_c - COLD_JUNCTION_C)
        self.board_c = [self.true_c if self.lifted_c is None else self.lifted_c, edge_c]

    @property
    def _fan_runs(self):
        return self.machine.outputs & record.OUT_FAN != 0
