"""`python -m tests.benchmarks.control`: compare all controllers and write the page with pictures.

`--mismatched N` heaters beside the nominal one; `--optima M` computes the optimum of the first M
where it is not known yet, some minutes each; `--more` heaters for ours alone; `--kind` for one kind
of emitters alone (then nothing is written but the table on the screen).
"""

import argparse
from pathlib import Path

from tests.benchmarks.control.compared import SEED, compare
from tests.benchmarks.control.heaters import DRAWN_SEED, EMITTERS, MISMATCHED, drawn
from tests.benchmarks.control.infeasible import run_infeasible
from tests.benchmarks.control.many import HEATERS
from tests.benchmarks.control.many import section as section_of_many
from tests.benchmarks.control.table import draw, markdown
from tests.benchmarks.control.told_late import section as section_of_told_late
from tests.benchmarks.control.waits import section as section_of_waits

DOCS = Path(__file__).parents[3] / "host" / "emberbed" / "docs"
HEAD = """# Control

How well a profile is followed, side by side in one run: the same simulated heaters in two
dimensions, the same noise and converter steps, the same profiles. Each figure is taken from the
thermocouple's bead, against the profile's own timeline as if nothing ever waited, and divided by
what full knowledge of that very heater and of the future could reach (`emberbed rehearse --limit`).
Ours is the firmware as it ships, in integers, with the plan and gains of a heater file that a step
test on the nominal heater has given; it knows nothing of the mismatch. The others compute in floats
and set their power exactly, which no switched output can. Mismatched: mass 0.7 to 1.3, mains ±10 %,
emissivity ±20 % (no more than 1 in all), room 10 to 35 °C, the sensor's lag 0.6 to 2 times. All of
it holds as far as the simulated heaters do. `python -m tests.benchmarks.control` makes this page.

"""


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--mismatched", type=int, default=MISMATCHED)
    asked.add_argument("--optima", type=int, default=1)
    asked.add_argument("--more", type=int, default=HEATERS)
    asked.add_argument("--kind", choices=EMITTERS)
    given = asked.parse_args()
    kinds = (given.kind,) if given.kind else EMITTERS
    heaters = drawn(given.mismatched, DRAWN_SEED)
    found = [compare(kind, heaters, max(given.optima, 1)) for kind in kinds]
    held = {kind: run_infeasible(kind, SEED) for kind in kinds}
    pictures = [] if given.kind else draw(found, DOCS / "pictures")
    parts = [
        markdown(found, [f"pictures/{name}" for name in pictures]),
        _infeasible(held),
        section_of_told_late(heaters) if heaters and not given.kind else "",
        section_of_many(kinds, given.more),
        section_of_waits(kinds),
    ]
    text = "\n".join(part.strip() + "\n" for part in parts if part)
    print(text)
    if not given.kind:
        (DOCS / "control.md").write_text(HEAD + text, encoding="utf-8")


def _infeasible(held: dict) -> str:
    lines = ["## A profile that cannot be followed", ""]
    lines += ["| emitters | longer, foretold | longer, taken | overshoot beyond a hold |"]
    lines += ["| --- | --- | --- | --- |"]
    for kind, one in held.items():
        ended = "" if one.finished else " (not finished)"
        lines.append(
            f"| {kind} | {one.foretold_s:.0f} s | {one.taken_s:.0f} s{ended}"
            f" | {one.overshoot_c:.1f} °C |"
        )
    return "\n".join(lines) + "\n"


main()
