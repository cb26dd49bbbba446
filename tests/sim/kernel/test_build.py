"""Building a kernel must not change how the rest of the process computes."""

import numpy as np
import pytest

from emberbed_sim.kernel.build import QUICK, compiler, library

SMALLEST = 5e-324  # of IEEE 754 double precision, not normalised


def test_a_quick_kernel_leaves_the_smallest_numbers_alone():
    if not compiler():
        pytest.skip("no C compiler here")
    library("int probe(void) { return 1; }\n", *QUICK)
    assert float(np.float64(SMALLEST) * np.float64(1.0)) == SMALLEST
