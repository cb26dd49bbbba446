"""Lines between kept points stay as near as is allowed, and no point is kept in vain."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from emberbed.limit.thinning import kept_points


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(0, 1)), min_size=2, max_size=60))
def test_no_point_lies_further_off_than_allowed(points):
    seconds, columns, most = np.arange(len(points)) * 2.0, np.array(points), np.array([0.5, 0.05])
    kept = kept_points(seconds, columns, most)
    for column, allowed in zip(columns.T, most, strict=True):
        line = np.interp(seconds, seconds[kept], column[kept])
        assert np.abs(line - column).max() <= allowed * (1 + 1e-9)


def test_straight_line_needs_its_ends_alone():
    seconds = np.arange(100.0)
    columns = np.column_stack([seconds * 0.3, 1 - seconds / 200])
    assert list(kept_points(seconds, columns, np.array([0.1, 0.01]))) == [0, 99]
