"""The file of results: whole at any moment, also when the disk takes no more."""

import subprocess
import sys

import pytest

from emberbed_sim.campaign.results import NAME, Result, ResultFile
from tests.support.parts import need_python_module
from tests.support.processes import need_posix

ONE = Result(
    "cell", "tc_open", "ramp", "edge/with/known", 1, "trip", "", "SENSOR_OPEN", 0.4, None, 60.0,
    135.0, -90.0, 0, 4.0, True,
)  # fmt: skip
# A real limit on the size of a file: the kernel refuses the write, as a full disk would.
FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from tests.sim.campaign.test_results import ONE
from emberbed_sim.campaign.results import ResultFile
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
file = ResultFile(Path(sys.argv[1]))
file.add([ONE] * 1000)
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
try:
    file.add([ONE] * 1000)
except OSError as error:
    print(error.strerror)
"""


@pytest.fixture(autouse=True)
def _parquet():
    need_python_module("pyarrow", "pip install 'emberbed[verify]'")


def read(folder):
    from pyarrow import parquet

    return parquet.read_table(folder / NAME)


def test_every_result_comes_back(tmp_path):
    file = ResultFile(tmp_path)
    assert read(tmp_path).num_rows == 0
    file.add([ONE] * 3)
    file.write()
    table = read(tmp_path)
    assert table.num_rows == 3
    assert table.to_pylist()[0] == {**vars(ONE)}


def test_the_file_grows_while_results_come(tmp_path):
    file = ResultFile(tmp_path)
    for _some in range(10):
        file.add([ONE] * 100)
    assert read(tmp_path).num_rows >= 800


def test_a_full_disk_leaves_the_results_before(tmp_path):
    need_posix("limits the size of its files")
    said = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path)],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert said.stdout.strip() == "File too large"
    assert read(tmp_path).num_rows == 1000
    assert [path.name for path in tmp_path.iterdir()] == [NAME]
