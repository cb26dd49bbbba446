"""What the page says of one moment of a run: plain data, from the record and the story so far.

The sentences are those of the terminal (panel_rows, calls, touch_answer, key_table); here they are
only put under the page's three questions. Temperatures in degrees C, times in s. Pure.
"""

from typing import Any

from emberbed import words
from emberbed.bench import key_table, panel_rows
from emberbed.bench.calls import button_text, call_of, most_text
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.stage_text import degrees, doing_text, nothing_heated
from emberbed.bench.story import Story
from emberbed.bench.touch_answer import touch_answer
from emberbed.handbook.places import slug
from emberbed.page.steps_ahead import line_ahead, steps_ahead
from emberbed.profiles.limits import DEFAULT_REMIND_S
from emberbed.records import TickRecord
from emberbed.trip_titles import clearing_words, trip_title
from emberbed_fw import plan as layout
from emberbed_fw import record as record_layout
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.trip_codes import NO_TRIP, PC_LINK_LOST, WITHHELD_STATE
from emberbed_fw.units import FULL_POWER_Q15, NONE, TICKS_PER_S

MARK_KEY, SMOKE_KEY = "m", "s"
J_PER_WH = 3600
TRIP_PAGE = "/handbook/trips.html#"
_WHY_HEATED = {
    layout.RAMP: "on the way to {target}",
    layout.HOLD: "keeps {target}",
    layout.WAIT: "keeps {target} for you",
    layout.HOT_AIR: "keeps the soak from below",
    layout.POWER: "runs at a fixed power",
}
_SLOWED = (
    rs.WAITS_BOARD, rs.WAITS_BAND, rs.WAITS_NEIGHBOUR, rs.WAITS_SPREAD, rs.WAITS_SENSOR_DOWN,
    rs.WAITS_HELD,
)  # fmt: skip


def facts_of(record: TickRecord, story: Story) -> dict[str, Any]:
    """Return everything for `record`, which the story followed last."""
    progress = story.progress
    works = record.state == rs.WAIT or progress.air_on()
    touch = touch_answer(record, progress.board_channels(), progress.emitter_channels(), works)
    return {
        "clock": story.run_clock(record.tick),
        "over": record.state in OUTCOMES,
        "heating": record.state in rs.HEATING_STATES,
        "now": _now(record, story),
        "next": _next(record, story),
        "touch": touch._asdict(),
        "ask": _ask(record, story),
        "press": _press(record, story),
        "mark": _hint(MARK_KEY, story),
        "changes": [
            {"key": row.key, "label": hint}
            for row in key_table.KEYS
            if row.key != MARK_KEY and (hint := row.hint(progress))
        ],
        "trip": _trip(record, story),
        "stage": record.stage,
    }


def _now(record: TickRecord, story: Story) -> dict[str, Any]:
    asked = record.asked_cdeg()
    return {
        "sensors": [_sensor(record, story, c) for c in story.progress.board_channels()],
        "heater_sensors": [_sensor(record, story, c) for c in story.progress.emitter_channels()],
        "asked_c": None if asked is None else asked / 100,
        "offset_c": record.offset_cdeg / 100,
        "doing": _doing(record, story),
        "waiting": panel_rows.waiting_text(record, story).removeprefix(panel_rows.NOBODY),
        "heater": _heater(record, story),
        "percent": round(100 * record.demand0_q15 / FULL_POWER_Q15),
        "energy_wh": round(record.energy_j / J_PER_WH, 1),
        "fan": bool(record.outputs & record_layout.OUT_FAN),
    }


def _doing(record: TickRecord, story: Story) -> str:
    if nothing_heated(record):
        return words.NOTHING_HEATED
    if record.stage == NONE or record.state == rs.COOL:
        ready = record.waits_for == rs.WAITS_PRESS
        return words.READY if ready else words.state_words(record.state)
    return doing_text(story.progress)


def _sensor(record: TickRecord, story: Story, channel: int) -> dict[str, Any]:
    header = story.plan.header
    reading, limit = record.channel_cdeg(channel), header[f"limit{channel}_cdeg"]
    fault = record.fault(channel)
    return {
        "name": story.names.get(channel, f"channel{channel}"),
        "c": None if reading is None else reading / 100,
        "limit_c": limit / 100,
        "role": words.role_words(header[f"role{channel}"]),
        "controls": channel == header["control0"],
        "fault": trip_title(fault) if fault else "",
    }


def _heater(record: TickRecord, story: Story) -> dict[str, Any]:
    """Say what the heater does and why; `wrong`: it does not do what it is told."""
    wrong = panel_rows.stuck_text(record)
    if wrong:
        return {"does": "wrong", "why": wrong}
    if record.state not in rs.HEATING_STATES:
        return {"does": "off", "why": _why_off(record)}
    held_off = words.withheld_words(record.withheld & ~WITHHELD_STATE)
    if held_off:
        return {"does": "held_off", "why": held_off[0]}
    if record.state == rs.HOT_PROOF:
        return {"does": "tries", "why": words.state_words(record.state)}
    why = _why_heated(record, story)
    return {"does": "heats" if record.demand0_q15 else "rests", "why": why}


def _why_off(record: TickRecord) -> str:
    if record.trip != NO_TRIP:
        return trip_title(record.trip)
    if record.state in (rs.LOADED, rs.COLD_PROOF):
        return "no heat before the press at the device"
    return "" if record.state == rs.COOL else words.state_words(record.state)


def _why_heated(record: TickRecord, story: Story) -> str:
    row = story.progress.stage_row()
    if row is None:
        return ""
    target = degrees(row["target_cdeg"] + record.offset_cdeg, 0)
    why = _WHY_HEATED.get(row["kind"], "").format(target=target)
    if record.waits_for in _SLOWED:
        return f"{why}; {words.wait_words(record.waits_for)}"
    return why


def _next(record: TickRecord, story: Story) -> dict[str, Any]:
    call = call_of(story.progress, story.prompts, story.names, keyed=False)
    to_person = story.progress.ticks_to_person()
    return {
        "call": None if call is None else call._asdict(),
        "text": panel_rows.next_text(record, story).plain,
        "steps": [step._asdict() for step in steps_ahead(story.progress, story.prompts)],
        "person_in_s": None if to_person is None else -(-to_person // TICKS_PER_S),
        "line": line_ahead(story.progress),
    }


def _ask(record: TickRecord, story: Story) -> dict[str, Any] | None:
    """Return the question that the one large control answers now, None for none."""
    answer = key_table.answer_hint(story.progress)
    if not answer:
        return None
    call = call_of(story.progress, story.prompts, story.names, keyed=False)
    board = degrees(record.channel_cdeg(story.plan.header["control0"]), 0)
    text = call.text if call is not None else _doing(record, story)
    needs_press = record.prompt == GO_ON_PROMPT
    stage = story.progress.stage_row()
    return {
        "prompt": record.prompt,
        "remind_s": (stage["remind_ticks"] if stage else 0) / TICKS_PER_S or DEFAULT_REMIND_S,
        "text": text,
        "board": board,
        "answer": answer,
        "needs_press": needs_press,
    }


def _press(record: TickRecord, story: Story) -> dict[str, Any] | None:
    """Return what to do at the device's button, None while it has nothing to do."""
    text = button_text(record)
    return {"text": text, "most": most_text(story.progress)} if text else None


def _hint(key: str, story: Story) -> str:
    return key_table.BY_KEY[key].hint(story.progress)


def _trip(record: TickRecord, story: Story) -> dict[str, Any] | None:
    """Return why heat was taken away, and what to do; None while nothing is wrong."""
    lost = record.verdict == rs.LINK_LOST
    code = PC_LINK_LOST if lost else record.trip
    if code == NO_TRIP:
        return None
    cause = words.trip_words(code, None if lost else story.blamed_sensor(record))
    return {
        "title": trip_title(code),
        "page": TRIP_PAGE + slug(trip_title(code)),
        "happened": cause.happened,
        "mend": cause.mend,
        "clears": clearing_words(code, record.trips_of_cause),
    }
