"""What people did in a run and what it came to, for scripts: plain data with units in the keys.

Names are those of the firmware's tables and of the CSV (`docs/data.md`); None where nothing was
read.
"""

from typing import Any

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.report.deeds import Moment, moments_of
from emberbed.report.run_view import liquidus_c, profile_data
from emberbed.report.series import Deed, RunSeries, series_of
from emberbed.report.summary import in_stages
from emberbed.report.work_figures import work_figures
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun
from emberbed_fw import messages


def work_json(store: RunStore, run: StoredRun) -> dict[str, Any]:
    """Return `marks`, `touches` and `work` of a run."""
    plan = plan_of(run)
    series = series_of(store.records(run.id))
    staged = in_stages(series)
    did = [(moment, moment.deed) for moment in moments_of(series, plan, []) if moment.deed]
    return {
        "marks": [_mark(moment, deed) for moment, deed in did if deed.mark],
        "touches": [
            _touch(moment, deed, series, bool(staged[max(0, deed.at - 1)]))
            for moment, deed in did
            if deed.touch not in (0, messages.MARK)
        ],
        "work": _figures(run, series, plan),
    }


def _mark(moment: Moment, deed: Deed) -> dict[str, Any]:
    return {"mark": words.name_at(messages.MARK_NAMES, deed.mark), **_when(moment, deed)}


def _touch(moment: Moment, deed: Deed, series: RunSeries, staged: bool) -> dict[str, Any]:
    """Return a touch with the stage that it was made in: what the record before it shows."""
    return {
        "touch": messages.TOUCH_NAMES.get(deed.touch),
        "stage": int(series.stage[max(0, deed.at - 1)]) + 1 if staged else None,
        "offset_c": float(series.offset_c[deed.at]),
        **_when(moment, deed),
    }


def _when(moment: Moment, deed: Deed) -> dict[str, Any]:
    return {
        "source": words.name_at(messages.SOURCE_NAMES, deed.source),
        "tick": moment.tick,
        "elapsed_s": _rounded(moment.at_s),
        "since_press_s": _rounded(moment.since_press_s),
        "board_c": moment.board_c,
        "chip_c": moment.chip_c,
    }


def _figures(run: StoredRun, series: RunSeries, plan: Plan | None) -> dict[str, Any]:
    work = work_figures(series, plan, liquidus_c(profile_data(run.profile_toml)))
    names = channel_names_of(run)
    return {
        "liquidus_c": work.liquidus_c,
        "above_liquidus_s": _rounded(work.above_liquidus_s),
        "above_liquidus_sensor": None
        if work.chip_channel is None
        else names.get(work.chip_channel),
        "solder_moves_to_air_away_s": [_rounded(seconds) for seconds in work.moves_to_away_s],
        "hot_air_s": _rounded(work.hot_air_s),
        "held_s": _rounded(work.held_s),
        "largest_spread_c": _rounded(work.spread_c),
        "hold_spreads_c": {str(n + 1): _rounded(c) for n, c in work.hold_spreads_c.items()},
        "touches": sum(work.touches.values()),
        "marks": work.marks,
    }


def _rounded(value: float | None) -> float | None:
    """Return a number without what arithmetic adds: the device counts ms and hundredths of °C."""
    return None if value is None else round(value, 3)
