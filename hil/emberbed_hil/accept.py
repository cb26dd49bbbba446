"""Run steps of acceptance one after the other on an injected device; give how each ended.

A step that fails does not end the list: the device is brought back to rest, if need be by a reset,
and the next step is its own. A device that does not come back leaves the rest of the list undone;
what was done before still counts. `Unfit` makes the whole list senseless: one sentence.
"""

import time
from collections.abc import Callable, Iterable, Sequence

from emberbed.acceptance.report import FAILED, INJECTED, NOT_DONE, NOT_FITTED, PASSED, StepResult
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed_fw.messages import ENTRY_INJECTED
from emberbed_hil import steps_controller, steps_first, steps_people, trip_steps
from emberbed_hil.bench import Bench, Failed
from emberbed_hil.evidence import modules_of
from emberbed_hil.person import Skipped
from emberbed_hil.plans import sensors_of
from emberbed_hil.step import MS, Found, Step
from emberbed_hil.teardown import tear_down

CARRIERS = ("tick.py", "main_loop.py", "life.py", "guard.py")  # every step goes through these
NOBODY = "somebody has to do this at the device: start it in a terminal"
Say = Callable[[str], None]


class Unfit(Exception):
    """This device cannot be accepted as it is; one sentence with the mend."""


def all_steps(soak_s: float) -> tuple[Step, ...]:
    """Return every step on injected readings, in the order in which trust is built."""
    return (
        *steps_first.STEPS,
        *trip_steps.STEPS,
        *steps_people.STEPS,
        *steps_controller.steps(soak_s),
    )


def check_fit(bench: Bench) -> None:
    """Raise Unfit for a device that cannot be tried: its readings are real, or it has no sensor."""
    if bench.device.greeting.entry != ENTRY_INJECTED:
        raise Unfit(
            f"The device at {bench.url} runs its usual firmware, which drives pins: start its"
            " injection entry first, with mains and load unplugged"
        )
    try:
        sensors_of(bench.settings)
    except ValueError as error:
        raise Unfit(str(error)) from None


def modules_needed(step: Step) -> tuple[str, ...]:
    """Return the firmware files that a step proves."""
    named = set(step.modules)
    for check in step.checks:
        named |= modules_of(check)
    return tuple(sorted(named | set(CARRIERS)))


def run_steps(bench: Bench, steps: Iterable[Step], say: Say) -> list[StepResult]:
    """Run the steps; `say` gets a line for each."""
    results = []
    lost = ""  # why nothing more can be done
    for step in steps:
        begun_s = time.monotonic()
        outcome, found = (NOT_DONE, Found(lost)) if lost else _run_one(bench, step)
        if not bench.answers:
            lost = f"the device at {bench.url} does not come back: reset it by hand, then go on"
        result = StepResult(
            step.number, step.title, INJECTED, outcome, found.said, found.measured, found.limit,
            found.unit, step.checks, modules_needed(step), round(time.monotonic() - begun_s, 1),
        )  # fmt: skip
        results.append(result)
        say(line(result))
    return results


def line(result: StepResult) -> str:
    """Return how a step ended, for a terminal."""
    figures = ""
    if result.measured is not None:
        figures = f" {result.measured:g}"
        figures += f" of {result.limit:g}" if result.limit is not None else ""
        figures += f" {result.unit}"
    said = "" if result.outcome == PASSED and figures else f": {result.said}"
    return f"{result.number:>5}  {result.outcome:<10}  {result.title}{figures}{said}"


def _run_one(bench: Bench, step: Step) -> tuple[str, Found]:
    why_not = step.fits(bench.settings)
    if why_not:
        return NOT_FITTED, Found(why_not)
    if step.by_hand and bench.hands is None:
        return NOT_DONE, Found(NOBODY)
    outcome, found = _try(bench, step)
    left = _rest(bench)
    if left:
        return FAILED, Found(f"{found.said}; {left}", found.measured, found.limit, found.unit)
    return outcome, found


def _try(bench: Bench, step: Step) -> tuple[str, Found]:
    try:
        found = step.act(bench)
    except Skipped:
        return NOT_DONE, Found("left out")
    except (Failed, LinkError, Refused) as error:
        return FAILED, Found(str(error))
    return (PASSED if found.is_inside else FAILED), found


def _rest(bench: Bench) -> str:
    """Bring the device to rest; return what was left, "" for nothing. Then it starts anew."""
    try:
        tear_down(bench)
        return ""
    except (Failed, LinkError, Refused) as error:
        left = str(error)
    try:
        bench.reset()
    except (Failed, LinkError, Refused) as error:
        bench.answers = False
        left = f"{left}; {error}"
    return left


def numbered(steps: Sequence[Step], wanted: Sequence[str]) -> list[Step]:
    """Return the steps whose numbers begin so; Unfit names one that does not exist."""
    for want in wanted:
        if not any(_is_in(step.number, want) for step in steps):
            raise Unfit(
                f"There is no step {want}: the steps are {steps[0].number} to {steps[-1].number}"
            )
    return [step for step in steps if any(_is_in(step.number, want) for want in wanted)]


def _is_in(number: str, wanted: str) -> bool:
    return number == wanted or number.startswith(f"{wanted.rstrip('.')}.")


__all__ = ["MS", "Unfit", "all_steps", "check_fit", "line", "numbered", "run_steps"]
