"""Make a long course short enough to draw.

`thinned` loses no peak, dip or gap: of each bucket the first, lowest, highest and last point stay
and one of a gap, so that what stands on the paper are readings. `averaged` is for a demand that
jumps with every reading's noise, where only its mean over some seconds says anything.
"""

import numpy as np

MOST_BUCKETS = 300


def thinned(
    seconds: np.ndarray, values: np.ndarray, buckets: int = MOST_BUCKETS
) -> tuple[np.ndarray, np.ndarray]:
    """Return the points to draw: at most about 4 per bucket, NaN between pieces."""
    if len(seconds) <= 4 * buckets:
        return seconds, values
    kept: list[int] = []
    for edges in np.array_split(np.arange(len(seconds)), buckets):
        kept += _kept_of(edges, values[edges])
    return seconds[kept], values[kept]


def averaged(
    seconds: np.ndarray, values: np.ndarray, buckets: int = MOST_BUCKETS
) -> tuple[np.ndarray, np.ndarray]:
    """Return the mean of each bucket at its middle; NaN where a bucket has a gap."""
    if len(seconds) <= buckets:
        return seconds, values
    parts = [np.array_split(column, buckets) for column in (seconds, values)]
    times, means = (np.array([part.mean() for part in column]) for column in parts)
    return times, means


def _kept_of(indexes: np.ndarray, values: np.ndarray) -> list[int]:
    read = np.isfinite(values)
    if not read.any():
        return [int(indexes[0])]  # one NaN keeps the gap open
    chosen = {0, len(values) - 1, int(np.nanargmin(values)), int(np.nanargmax(values))}
    if not read.all():
        chosen.add(int(np.flatnonzero(~read)[0]))
    return [int(indexes[at]) for at in sorted(chosen)]
