"""Settings of every test: property tests repeat the same examples and have no stopwatch.

A gate must give the same answer twice, and this machine may be busy.
"""

from hypothesis import settings

settings.register_profile("emberbed", deadline=None, derandomize=True)
settings.load_profile("emberbed")
