"""The same sums on a real Cortex-M0 instruction stream as in CPython, in a MicroPython of 2017."""

import pytest

from emberbed_fw import self_sums
from tests.install.microbit import CORES, FIRMWARE, Microbit, core_statements
from tests.support.parts import need, need_program


@pytest.mark.parametrize("wanted", CORES)
def test_arithmetic_core_gives_the_same_sum_on_a_cortex_m0(sources, wanted):
    qemu = need_program("qemu-system-arm", "apt-get install qemu-system-arm")
    need("micro:bit firmware", FIRMWARE.is_file(), "apt-get install firmware-microbit-micropython")
    with Microbit(qemu) as board:
        assert board.run("import sys; print(sys.implementation[0], sys.platform)") == (
            "micropython microbit"
        )
        for statement in core_statements(sources, CORES[wanted]):
            board.run("import gc; gc.collect()\n" + statement)
        assert board.run(f"print({wanted}())") == str(getattr(self_sums, wanted)())
