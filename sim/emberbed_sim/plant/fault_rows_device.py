"""The rows of the catalogue that act on the device and on its link to the computer.

Names only: who carries them out is outside the plant, in device_faults, machine_faults and
link_faults.
"""

from emberbed_sim.plant.fault_kind import (
    IN_PROCESS,
    ON_A_WIRE,
    ON_DEVICE,
    ON_LINK,
    FaultKind,
)

A_DRAW = range(10000)  # the number of a random draw: the same number, the same bit
STEPS = "0 readings, 1 states, 2 controller, 3 guard, 4 signals; 0 if not given"

DEVICE_ROWS = (
    FaultKind("late_ticks", ON_DEVICE, "every tick of the device comes late",
              "ms, 250 if not given", range(1, 5001), 250),
    FaultKind("clock_wrong", ON_DEVICE,
              "the device's clock is slow: its ticks last longer than it says (below 0: shorter)",
              "thousandths, 50 if not given", range(-500, 1001), 50),
    FaultKind("heap_low", ON_DEVICE, "the device runs short of memory"),
    FaultKind("button_stuck", ON_DEVICE, "the device's button stays pressed"),
    FaultKind("device_resets", ON_DEVICE,
              "the device starts anew, with its outputs off, and knows nothing of a run",
              at_once=True),
    FaultKind("device_hangs", ON_DEVICE,
              "the firmware stops with its outputs as they are, until the watchdog resets it",
              "ms, 1000 if not given", range(100, 8389), 1000, at_once=True),
    FaultKind("tick_raises", ON_DEVICE, "an error stops the firmware inside a tick, once",
              STEPS, range(5), lasts_s=0.1, only=IN_PROCESS),
    FaultKind("step_skipped", ON_DEVICE, "a step of every tick is left out",
              STEPS, range(5), only=IN_PROCESS),
    FaultKind("plan_bit_flips", ON_DEVICE, "a bit flips in the plan as the device holds it",
              "number of the draw that picks it, 0 if not given", A_DRAW, at_once=True,
              only=IN_PROCESS),
    FaultKind("settings_bit_flips", ON_DEVICE,
              "a bit flips in the device description as the device holds it",
              "number of the draw that picks it, 0 if not given", A_DRAW, at_once=True,
              only=IN_PROCESS),
    FaultKind("limit_bit_flips", ON_DEVICE,
              "a bit flips in one of the temperatures that the guard holds readings against",
              "number of the draw that picks it, 0 if not given", A_DRAW, at_once=True,
              only=IN_PROCESS),
    FaultKind("memory_bit_flips", ON_DEVICE,
              "a bit flips in what the device remembers from tick to tick",
              "number of the draw that picks it, 0 if not given", A_DRAW, at_once=True,
              only=IN_PROCESS),
)  # fmt: skip

LINK_ROWS = (
    FaultKind("host_silent", ON_LINK, "the computer goes on running but sends nothing"),
    FaultKind("host_stores_nothing", ON_LINK,
              "the computer renews the link but stores no record any more: it names the same old"
              " tick again and again", only=IN_PROCESS),
    FaultKind("cable_out", ON_LINK, "the cable between computer and device is pulled",
              only=ON_A_WIRE),
    FaultKind("frames_repeated", ON_LINK,
              "what the computer sent last comes again and again out of some buffer, and nothing"
              " new"),
    FaultKind("frames_late", ON_LINK, "what the computer sends arrives late",
              "ticks of 100 ms, 15 if not given", range(1, 601), 15),
    FaultKind("link_noise", ON_LINK, "frames are damaged on their way",
              "% of the frames, 20 if not given", range(1, 101), 20),
    FaultKind("link_flood", ON_LINK, "rubbish pours in from the computer's side",
              "bytes a tick, 500 if not given", range(1, 3001), 500, only=ON_A_WIRE),
)  # fmt: skip
