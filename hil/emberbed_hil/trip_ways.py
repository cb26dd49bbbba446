"""Ways to make the guard trip by what it reads: one row for each trip that readings can reach.

`changes` are fields of the plan's header, `ready` brings the run to where it can happen, `spoil`
lets it happen from the next reading on. `why_not` says why a device cannot show it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import trip_codes as codes
from emberbed_fw.converters import tells_cold
from emberbed_fw.ports import inject
from emberbed_fw.record import OUT_CONTACTOR, PORT_HEAP_LOW
from emberbed_fw.safety_limits import MOST_COLD_CDEG, MOST_VALID_CDEG, OVERRUN_TICK_MS
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.settings import HAS_CONTACTOR_SENSE, HAS_HEAT_SENSE, Settings
from emberbed_fw.units import CHANNELS
from emberbed_hil import plans
from emberbed_hil.bench import Bench, Tick
from emberbed_hil.plans import HOLD, KNOWN_HEATER, SOON, WAIT, sensors_of
from emberbed_hil.scene import ALWAYS, NEVER, STILL, Scene
from emberbed_hil.words import broken_word

HOLD_C = plans.HIGH_CDEG / 100
SPREAD_C = 22.0  # two sensors of a pair apart, and a chip above its limit
JUMP_C = 25.0
SHORT_RUN_TICKS = 150
WARMER_C = 4.0  # more than the room that heat on its way needs, less than a surplus that trips
WARMS_C = 0.1  # a tick, without heat: 1 degC a second
EAGER = {"kp0_q8": 30000}  # full power a few degrees below
HEAVY = {"most_capacity_j_per_k": 3000, "least_capacity_j_per_k": 70}  # nothing ever seems missing
ROOMY_CDEG = 12000
CLOSE_CDEG = plans.HIGH_CDEG + 500


def _settle(bench: Bench) -> None:
    bench.tick(5)


@dataclass(frozen=True)
class Way:
    trip: str
    spoil: Callable[[Bench], None]
    ready: Callable[[Bench], None] = _settle
    stage: int = HOLD
    changes: Mapping[str, int] = field(default_factory=dict)
    limit_cdeg: int = plans.LIMIT_CDEG  # of the board's sensors
    hold_ticks: int = plans.HOLD_TICKS
    why_not: Callable[[Settings], str] = lambda _settings: ""
    given_only: bool = False  # the device's own clock cannot show it
    shown_after: int = 0  # ticks: what was on its way still arrives
    shown_from: Callable[[Tick], bool] | None = None  # a tick; the next one shows it


def victim(settings: Settings) -> int:
    """Return the channel that goes wrong: a second one where there is one."""
    sensors = sensors_of(settings)
    return sensors.control if sensors.other is None else sensors.other


def plan_of(way: Way, settings: Settings) -> bytes:
    """Return the plan that this way needs on this device."""
    changes = dict(way.changes)
    for channel in sensors_of(settings).board:
        limit_cdeg = min(way.limit_cdeg, settings.ceiling_cdeg[channel])
        changes[f"limit{channel}_cdeg"] = changes[f"air_limit{channel}_cdeg"] = limit_cdeg
    if way.trip == "SENSORS_DISAGREE":
        changes |= {f"role{victim(settings)}": layout.ROLE_PAIR}
        changes |= {f"partner{victim(settings)}": sensors_of(settings).control}
    return plans.stages_plan(settings, changes, way.hold_ticks)


def _scene(bench: Bench) -> Scene:
    assert bench.scene is not None
    return bench.scene


def _sensor(trip: str) -> Way:
    code = dict((name, number) for number, name, _reaction in codes.TRIPS)[trip]

    def spoil(bench: Bench) -> None:
        channel = victim(bench.settings)
        broken = broken_word(bench.settings.converter[channel], code)
        assert broken is not None, "asked before"
        _scene(bench).raw[channel] = broken

    def why_not(settings: Settings) -> str:
        says = broken_word(settings.converter[victim(settings)], code) is not None
        return "" if says else "its converter cannot tell this"

    return Way(trip, spoil, why_not=why_not)


def _put(**changes: object) -> Callable[[Bench], None]:
    return lambda bench: vars(_scene(bench)).update(changes)


def _victim_at(reading_c: float) -> Callable[[Bench], None]:
    def spoil(bench: Bench) -> None:
        _scene(bench).board_c[victim(bench.settings)] = reading_c

    return spoil


def _stale(bench: Bench) -> None:
    _scene(bench).fresh_channels &= ~(1 << victim(bench.settings))


def _late(bench: Bench) -> None:
    bench.elapsed_ms = OVERRUN_TICK_MS + 1


def _silent(bench: Bench) -> None:
    bench.renews = False


def _nothing(_bench: Bench) -> None:
    """The time that passes is enough."""


def _undriven(bench: Bench) -> None:
    _scene(bench).all_at(HOLD_C + 16)
    bench.tick(3)
    bench.until(lambda record: record.driven_zones == 0, 50, "a tick without heat")


def driven(bench: Bench) -> None:
    """Have the heater driven without a pause, where the plan is EAGER."""
    _scene(bench).all_at(HOLD_C - 5.5)
    bench.until(lambda record: record.driven_zones != 0, 50, "heat")
    bench.tick(5)


def _welded(bench: Bench) -> None:
    _scene(bench).contactor = ALWAYS
    bench.device.stop()


def _opens(tick: Tick) -> bool:
    return not tick.outputs.bits & OUT_CONTACTOR


def _at_question(bench: Bench) -> None:
    bench.until(lambda record: record.stage_elapsed >= SOON - 2, SOON, "the end of the wait")


def _out_of_band(bench: Bench) -> None:
    _scene(bench).all_at(HOLD_C - 2)
    bench.until(lambda record: record.prompt == LONGER_PROMPT, 2 * SOON, "the device's question")


def _nearly_over(bench: Bench) -> None:
    bench.tick(bench.began + SHORT_RUN_TICKS - 2 - bench.newest.tick)


def _hot_air(bench: Bench) -> None:
    for prompt in (plans.WAIT_PROMPT, plans.NOZZLE_PROMPT):
        bench.until(lambda record, asked=prompt: record.prompt == asked, 20, "the question")
        bench.device.acknowledge(prompt, ms.BY_SCRIPT)
    bench.tick(5)


def _hot_emitters(bench: Bench) -> None:
    _scene(bench).all_at(HOLD_C - 5.5)
    bench.until(lambda record: record.withheld & codes.WITHHELD_COMING != 0, 900, "heat on its way")


def _warmer(bench: Bench) -> None:
    scene = _scene(bench)
    scene.board_c = {channel: board_c + WARMER_C for channel, board_c in scene.board_c.items()}


def _cold_power(bench: Bench) -> None:
    _scene(bench).all_at(HOLD_C - 5.5)


def _warms_alone(bench: Bench) -> None:
    def course(scene: Scene) -> None:
        scene.board_c = {channel: at_c + WARMS_C for channel, at_c in scene.board_c.items()}

    _scene(bench).course = course


def _jumps(bench: Bench) -> None:
    channel = victim(bench.settings)

    def course(scene: Scene) -> None:
        scene.board_c[channel] = HOLD_C + JUMP_C * (scene.ticks % 2)

    _scene(bench).course = course


def _warm_converters(bench: Bench) -> None:
    _scene(bench).cold_c = MOST_COLD_CDEG / 100 + 10


def _needs(has: int, what: str) -> Callable[[Settings], str]:
    return lambda settings: "" if settings.has_input(has) else f"no {what} fitted"


def _needs_two(settings: Settings) -> str:
    return "" if sensors_of(settings).other is not None else "one sensor on the board"


def _needs_blind(settings: Settings) -> str:
    sees = settings.has_input(HAS_HEAT_SENSE)
    return "a current sense shows it earlier: heat is withheld, step 4.40" if sees else ""


def _needs_told_cold(settings: Settings) -> str:
    tells = any(tells_cold(settings.converter[channel]) for channel in range(CHANNELS))
    return "" if tells else "its converters keep their own temperature to themselves"


WAYS = (
    _sensor("SENSOR_OPEN"),
    _sensor("SENSOR_SHORT_GROUND"),
    _sensor("SENSOR_SHORT_SUPPLY"),
    _sensor("SENSOR_BUS_DEAD"),
    Way("SENSOR_STALE", _stale),
    Way("SENSOR_RANGE", _victim_at(MOST_VALID_CDEG / 100 + 10)),
    Way("OVER_TEMPERATURE", _victim_at(HOLD_C + SPREAD_C)),
    Way("TICK_OVERRUN", _late, given_only=True),
    Way("HEAT_UNCOMMANDED", _put(current=ALWAYS), _undriven,
        why_not=_needs(HAS_HEAT_SENSE, "current sense")),
    Way("HEAT_MISSING", _put(current=NEVER), driven, changes=EAGER,
        why_not=_needs(HAS_HEAT_SENSE, "current sense")),
    Way("CONTACTOR_STUCK_OPEN", _put(contactor=NEVER),
        why_not=_needs(HAS_CONTACTOR_SENSE, "mirror contact")),
    Way("CONTACTOR_STUCK_CLOSED", _welded, given_only=True, shown_from=_opens,
        why_not=_needs(HAS_CONTACTOR_SENSE, "mirror contact")),
    Way("PROMPT_OVERDUE", _nothing, _at_question, WAIT),
    Way("STAGE_OVERDUE", _nothing, _out_of_band, changes={"band2_cdeg": 10}, hold_ticks=20),
    Way("RUN_TOO_LONG", _nothing, _nearly_over, stage=plans.RAMP,
        changes={"longest_run_ticks": SHORT_RUN_TICKS}),
    Way("FIRMWARE_ERROR", _put(how=inject.FAILS)),
    Way("PC_LINK_LOST", _silent, shown_after=1),
    Way("TOO_HOT_FROM_ABOVE", _victim_at(HOLD_C + SPREAD_C), _hot_air, WAIT),
    Way("SENSOR_LIFTED", _victim_at(HOLD_C - 34)),
    Way("PREDICTED_PEAK", _warmer, _hot_emitters,
        changes={**KNOWN_HEATER, **EAGER}, limit_cdeg=CLOSE_CDEG, hold_ticks=1000),
    Way("NO_RISE", _cold_power, changes={**KNOWN_HEATER, **HEAVY, **EAGER, "start_budget_j": 1400},
        limit_cdeg=ROOMY_CDEG, hold_ticks=1000),
    Way("HEAT_NOT_ARRIVING", _cold_power, changes={**KNOWN_HEATER, **EAGER}, limit_cdeg=ROOMY_CDEG,
        hold_ticks=1000),
    Way("HEAT_SURPLUS", _warms_alone, changes=KNOWN_HEATER, limit_cdeg=ROOMY_CDEG, hold_ticks=1000,
        why_not=_needs_blind),
    Way("READING_STUCK", _put(live_ticks=STILL), changes={**KNOWN_HEATER, **HEAVY},
        hold_ticks=1000),
    Way("READING_JUMPS", _jumps, limit_cdeg=ROOMY_CDEG),
    Way("SENSORS_DISAGREE", _victim_at(HOLD_C + SPREAD_C), limit_cdeg=ROOMY_CDEG,
        why_not=_needs_two),
    Way("COLD_JUNCTION", _warm_converters, why_not=_needs_told_cold),
    Way("HEAP_LOW", _put(more_flags=PORT_HEAP_LOW)),
)  # fmt: skip

# No reading and no frame reaches these; the campaign of `emberbed verify` proves them.
UNREACHED = {
    "MEMORY_CHANGED": "no message reaches into memory",
    "PROGRAM_FLOW": "no message makes the program leave a step out",
}
