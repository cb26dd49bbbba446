"""Step 9: commissioning with mains, by a competent person. Asked and written down, never measured.

Common practice of electrical work, no source; local code and the makers' sheets come first. The
program switches nothing here.
"""

from typing import NamedTuple

from emberbed.acceptance.report import FAILED, MAINS, NOT_DONE, PASSED, StepResult
from emberbed_hil.accept import Say, line
from emberbed_hil.person import Person, Skipped

BEFORE = (
    "This part is for a person who is competent in mains work, and allowed to do it where the bench"
    " stands. Local code and the makers' sheets override every line here. Pull the plug and prove"
    " dead before opening anything. Leave out what you cannot answer: it stays open in the report."
)
MODULES = ("ports/",)


class Item(NamedTuple):
    number: str
    title: str
    asked: str
    note: str = ""  # what to write down besides


ITEMS = (
    Item("9.01", "Competence",
         "Are you competent for mains work, and allowed to do it here?",
         "Your name and licence, or why none is needed"),
    Item("9.02", "Dead before opening",
         "Was the plug out, and every part proved dead, before the heater was wired?"),
    Item("9.03", "Protective earth",
         "Does every metal part that can be touched have earth, measured as local code asks?",
         "Highest resistance measured, and with what"),
    Item("9.04", "Insulation",
         "Is the insulation of heater and wiring as local code asks, controller disconnected?",
         "Lowest value measured, and at what voltage"),
    Item("9.05", "Residual-current device",
         "Has the supply a residual-current device of 30 mA or less, and does its test trip it?",
         "Its rating"),
    Item("9.06", "Fuse",
         "Does the fuse protect the relay and the wires, by its maker's sheet?",
         "Its rating and kind"),
    Item("9.07", "Wires and enclosure",
         "Are wires made for the heat, terminals tight, cords relieved, the enclosure closed, and"
         " mains apart from low voltage?"),
    Item("9.08", "Thermal cut-out",
         "Does the independent manual-reset cut-out, tested by hand as its maker says, take the"
         " mains from the emitters with the relay driven, and stay open until it is reset by hand?",
         "Its temperature, and how it was tested"),
    Item("9.09", "Emergency stop",
         "Does the emergency stop take the mains away from the emitters?"),
    Item("9.10", "Contactor under mains",
         "After STOP, is the heater dead behind the contactor, by a meter?"),
    Item("9.11", "First heat",
         "Did a plain hold at 60 °C for 10 min, watched all the time, with extraction on, go well?",
         "What was seen: smoke of the first burn-in, smells, the peak"),
)  # fmt: skip


def run(person: Person, say: Say) -> list[StepResult]:
    """Ask every item; a no is a failure and ends them, what is left out is not done."""
    person.tell(BEFORE)
    results = []
    for item in ITEMS:
        outcome, said = _ask(person, item)
        result = StepResult(item.number, item.title, MAINS, outcome, said, modules=MODULES)
        results.append(result)
        say(line(result))
        if outcome == FAILED:
            person.tell("Pull the mains plug, and mend this first.")
            break
    return results


def _ask(person: Person, item: Item) -> tuple[str, str]:
    try:
        if not person.confirm(item.asked):
            return FAILED, "no"
        return PASSED, person.note(item.note) if item.note else "yes"
    except Skipped:
        return NOT_DONE, "left out"
