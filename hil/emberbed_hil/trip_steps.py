"""Steps 4: every trip that readings can reach, each against its reaction time, each latched."""

from contextlib import suppress

from emberbed.link.device import Refused
from emberbed.records import TickRecord
from emberbed.trip_titles import TRIP_TITLES
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes as codes
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.settings import HAS_HEAT_SENSE, Settings
from emberbed_fw.units import TICK_MS
from emberbed_hil import trip_ways
from emberbed_hil.bench import Bench, Failed, Tick
from emberbed_hil.channel import elapsed_ms
from emberbed_hil.evidence import TRIP_OF_NAME, check_of, must_act_ms
from emberbed_hil.step import MS, Found, Step
from emberbed_hil.trip_ways import UNREACHED, WAYS, Way, plan_of

MOST_REAL_MS = 5000  # what takes longer is provoked on given ticks, not by the device's clock
LATCHED_TICKS = 30
MARGIN_TICKS = 20  # that a trip which is too late is still waited for


def acted(way: Way, tick: Tick) -> bool:
    """Tell whether the guard has taken the heat for this reason in this tick."""
    record = tick.record
    if way.trip == "PC_LINK_LOST":
        has_tripped = record.state == rs.COOL and record.verdict == rs.LINK_LOST
    else:
        has_tripped = record.trip == TRIP_OF_NAME[way.trip]
    return has_tripped and tick.outputs.zones == 0 and not tick.outputs.bits & OUT_CONTACTOR


def provoke(bench: Bench, way: Way) -> Found:
    """Bring the device to trip; return how long it took from the first reading that shows it."""
    limit_ms = must_act_ms(check_of(way.trip))
    bench.to_run(plan_of(way, bench.settings), trip_ways.HOLD_C)
    bench.until_stage(way.stage)
    way.ready(bench)
    first, before = bench.next_sample(), bench.newest.tick
    way.spoil(bench)
    most_ticks = limit_ms // TICK_MS + MARGIN_TICKS
    given = way.given_only or limit_ms > MOST_REAL_MS
    if given:
        while bench.newest.tick < before + most_ticks and not _has_ended(bench.newest):
            bench.tick()
    else:
        bench.own_clock(most_ticks * TICK_MS / 1000, _has_ended)
    ticks = bench.since(before)
    shown = _shown(way, ticks, first)
    for tick in ticks[shown:]:
        if acted(way, tick):
            took_ms = (tick.record.tick - ticks[shown].record.tick + 1) * TICK_MS
            if not given:
                took_ms = elapsed_ms(tick.outputs.driven_ms, ticks[shown].outputs.read_ms)
            clock = "on given ticks" if given else "by its own clock"
            return Found(f"tripped, {clock}{_also(bench)}", took_ms, limit_ms, MS)
    raise Failed(_what_instead(bench, way, limit_ms))


def _has_ended(record: TickRecord) -> bool:
    return bool(record.trip) or record.verdict == rs.LINK_LOST


def _shown(way: Way, ticks: list[Tick], first: int) -> int:
    """Return where in the ticks the first one stands whose inputs show the cause."""
    if way.shown_from is not None:
        return next(at for at, tick in enumerate(ticks) if way.shown_from(tick)) + 1
    at = next(at for at, tick in enumerate(ticks) if tick.shows(first))
    return at + way.shown_after


def _also(bench: Bench) -> str:
    second = bench.newest.second_trip
    return f"; then also {codes.TRIPS[second - 1][1]}" if second else ""


def _what_instead(bench: Bench, way: Way, limit_ms: int) -> str:
    wanted = TRIP_TITLES[way.trip]
    if bench.newest.trip:
        name = codes.TRIPS[bench.newest.trip - 1][1]
        return f'"{TRIP_TITLES[name]}" came instead of "{wanted}"'
    return f'"{wanted}" did not come within {limit_ms} ms'


def stays(bench: Bench, way: Way) -> None:
    """The cause goes, a host asks: the heat stays off. Raises Failed."""
    assert bench.scene is not None
    bench.scene.reset()
    bench.scene.all_at(trip_ways.HOLD_C)
    bench.renews, bench.elapsed_ms = True, TICK_MS
    for _tick in range(LATCHED_TICKS):
        bench.tick()
        if not bench.is_dark or bench.newest.state != rs.COOL:
            raise Failed(f'"{TRIP_TITLES[way.trip]}" let heat back when its cause had gone')
    with suppress(Refused):
        bench.arm()
        raise Failed(f'after "{TRIP_TITLES[way.trip]}" the device let itself be armed')
    if not bench.is_dark:
        raise Failed("a refused start left a switch closed")


def _step(number: int, way: Way) -> Step:
    def act(bench: Bench) -> Found:
        found = provoke(bench, way)
        stays(bench, way)
        return found

    check = check_of(way.trip)
    title = f"Trip: {TRIP_TITLES[way.trip]}"
    return Step(f"4.{number:02}", title, act, (check,), fits=way.why_not)


def _surplus(bench: Bench) -> Found:
    """With a current sense unexplained warmth takes the heat away, and trips nothing."""
    way = next(way for way in WAYS if way.trip == "HEAT_SURPLUS")
    limit_ms = must_act_ms(check_of(way.trip))
    bench.to_run(plan_of(way, bench.settings), trip_ways.HOLD_C)
    bench.until_stage(way.stage)
    way.ready(bench)
    way.spoil(bench)
    ticks = bench.until(
        lambda record: record.withheld & codes.WITHHELD_SURPLUS != 0,
        limit_ms // TICK_MS,
        "the doubt",
    )
    bench.device.stop()
    return Found("heat withheld, on given ticks", ticks * TICK_MS, limit_ms, MS)


def _sees_current(settings: Settings) -> str:
    return "" if settings.has_input(HAS_HEAT_SENSE) else "no current sense fitted: step 4.23"


STEPS = (
    *(_step(number, way) for number, way in enumerate(WAYS, 1)),
    Step("4.40", "Heat withheld: the board warms although nothing is sent", _surplus, ("C28",),
         fits=_sees_current),
)  # fmt: skip

__all__ = ["STEPS", "UNREACHED"]
