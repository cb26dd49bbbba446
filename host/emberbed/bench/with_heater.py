"""What a run makes of a heater file: its profile prepared for that heater, and its board learned.

The file is read before anything else happens; without one, nothing here changes a run. What needs
scipy is imported only with a file, and before heat.
"""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from emberbed.bench.onlookers import Hand
from emberbed.bench.prepare import MadeOnDevice, NotReady, Prepared, prepare
from emberbed.device_description import DeviceDescription
from emberbed.plain_text import printable
from emberbed.profiles.model import Profile, Ramp
from emberbed.profiles.plan_bytes import Plan, decode_plan
from emberbed.profiles.reader import ProfileFile
from emberbed.profiles.timing import spans
from emberbed.records import TickRecord
from emberbed_fw.units import TICKS_PER_S

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified

TOLD_FROM_S = 5.0
Learner = Callable[[TickRecord], Sequence[tuple[int, str, str]]]  # gives tick, kind, sentence


def load_heater(path: Path | None, plan_anew: bool = False) -> "Identified | None":
    """Read a heater file; `plan_anew`: the power too, while a wait lasts. Raises NotReady."""
    if path is None:
        if plan_anew:
            raise NotReady(["--plan-anew needs to know the heater: add --heater with its file"])
        return None
    from emberbed.heater.heater_file import HeaterMistakes, read_heater
    from emberbed.learn.identified import Identified

    try:
        return Identified(read_heater(path), printable(path, 200), plan_anew=plan_anew)
    except HeaterMistakes as mistakes:
        raise NotReady(mistakes.sentences) from None


def prepare_on(
    asked: ProfileFile | MadeOnDevice, description: DeviceDescription, heater: "Identified | None"
) -> tuple[Prepared, list[str]]:
    """Check and compile for this heater; return it with notes for the person. Raises NotReady."""
    if heater is None:
        return prepare(asked, description), []
    gains, power_cap = heater.gains(), heater.power_cap(description)
    model = partial(heater.guard_model, description)
    planner = heater.planner(description)
    coupling = heater.coupling(description)
    prepared = prepare(asked, description, gains, power_cap, model, planner, coupling)
    late = later_ramps(prepared.profile_file.model, decode_plan(prepared.plan)) if planner else []
    return prepared, [*heater.notes(description), *late]


def later_s(profile: Profile, plan: Plan) -> dict[int, float]:
    """Return by stage number how much longer a ramp takes that the plan had to stretch."""
    ramps = [span for span in spans(profile) if isinstance(span.stage, Ramp)]
    ends = {span.index: plan.knots_of(span.index)[-1]["tick"] for span in ramps}
    late_s = {span.index: (ends[span.index] - span.planned_ticks) / TICKS_PER_S for span in ramps}
    return {index: late for index, late in late_s.items() if late >= TOLD_FROM_S}


def later_ramps(profile: Profile, plan: Plan) -> list[str]:
    """Return one sentence for each ramp that the plan had to stretch for this heater."""
    to_c = {span.index: span.to_cdeg / 100 for span in spans(profile)}
    return [
        f"stage {index + 1}, to {to_c[index]:g} °C, takes about {late_s:.0f} s"
        " longer than the profile says: this heater is not strong enough for its rate"
        for index, late_s in later_s(profile, plan).items()
    ]


def learner_of(heater: "Identified | None", plan: Plan, description: DeviceDescription) -> Learner:
    """Return what learns the board as the records come; without a heater, nothing does."""
    if heater is None or description.heater_watts > description.zones[0].watts:
        return lambda _record: ()  # the learner knows one zone
    from emberbed.learn.on_the_job import OnTheJob

    return OnTheJob(heater.heater, plan, description.zones[0].watts)


def planning_anew(
    heater: "Identified | None", plan: bytes, learner: Learner, hand: Hand
) -> tuple[Learner, Hand]:
    """Return both, with what plans the power anew in a wait where that is asked for and possible:
    with a plan that has the power of one zone."""
    if heater is None or not heater.plan_anew:
        return learner, hand
    from emberbed.bench.plan_anew import PlanAnew, PlanningHand, may_plan_anew

    if not may_plan_anew(plan):
        return learner, hand
    anew = PlanAnew(heater.heater, plan)
    return lambda record: [*learner(record), *anew(record)], PlanningHand(hand, anew)
