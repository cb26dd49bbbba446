"""Every speed of the project beside what it is held against: `python -m tests.benchmarks`.

With --write the table, its picture and the committed ratios are written anew.
"""

import argparse
from pathlib import Path

import emberbed
from tests.benchmarks.speed import many, picture, table

DOCS = Path(emberbed.__file__).parent / "docs"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write docs/performance.md anew")
    asked = parser.parse_args()
    groups = {}
    for title, measures in table.GROUPS.items():
        groups[title] = [figure for measure in measures for figure in measure()]
        print(title, *table.rows(groups[title]), sep="\n", flush=True)
    costs = many.costs()
    groups["Many workers"] = many.fan_out(costs)
    print(*table.rows(groups["Many workers"]), *many.plan(costs), sep="\n")
    if asked.write:
        figures = [one for some in groups.values() for one in some]
        (DOCS / "performance.md").write_text(table.page(groups, costs), encoding="utf-8")
        picture.draw(figures, DOCS / "pictures" / "performance.svg")
        table.commit(figures)


if __name__ == "__main__":
    main()
