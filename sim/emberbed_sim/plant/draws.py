"""Random numbers that follow from a seed, as `random.Random` gives them, cheap to copy.

A campaign copies a bench for every cell; half of what is to be copied would be the generators'
state, number by number.
"""

from random import Random


class Draws(Random):
    """A copy goes on with the same numbers."""

    def __deepcopy__(self, _memo: object) -> "Draws":
        other = Draws(0)
        other.setstate(self.getstate())
        return other
