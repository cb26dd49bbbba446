"""The catalogue of faults as JSON, for programs that do not import the simulation.

`python -m emberbed_sim.fault_list` prints a list of rows: name, what happens, what the number after
`#` means ("" = it takes none).
"""

import json
import sys

from emberbed_sim.faults import CATALOGUE


def rows() -> list[dict[str, str]]:
    return [{"name": kind.name, "does": kind.does, "number": kind.amount_is} for kind in CATALOGUE]


if __name__ == "__main__":
    sys.stdout.write(json.dumps(rows()) + "\n")
