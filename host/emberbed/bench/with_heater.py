"""What a run makes of a heater file: its profile prepared for that heater, and its board learned.

The file is read before anything else happens; without one, nothing here changes a run. What needs
scipy is imported only with a file, and before heat.
"""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from emberbed.bench.prepare import MadeOnDevice, NotReady, Prepared, prepare
from emberbed.device_description import DeviceDescription
from emberbed.plain_text import printable
from emberbed.profiles.plan_bytes import Plan
from emberbed.profiles.reader import ProfileFile
from emberbed.records import TickRecord

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified

Learner = Callable[[TickRecord], Sequence[tuple[int, str, str]]]  # gives tick, kind, sentence


def load_heater(path: Path | None) -> "Identified | None":
    """Read a heater file. Raises NotReady."""
    if path is None:
        return None
    from emberbed.heater.heater_file import HeaterMistakes, read_heater
    from emberbed.learn.identified import Identified

    try:
        return Identified(read_heater(path), printable(path, 200))
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
    prepared = prepare(asked, description, gains, power_cap, model, planner)
    return prepared, heater.notes(description)


def learner_of(heater: "Identified | None", plan: Plan, description: DeviceDescription) -> Learner:
    """Return what learns the board as the records come; without a heater, nothing does."""
    if heater is None:
        return lambda _record: ()
    from emberbed.learn.on_the_job import OnTheJob

    return OnTheJob(heater.heater, plan, description.zones[0].watts)
