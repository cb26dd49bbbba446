"""Settings of every test: property tests repeat the same examples and have no stopwatch.

A gate must give the same answer twice, and this machine may be busy.
"""

import gc

import pytest
from hypothesis import settings

from tests.support.browser import running_browser

settings.register_profile("emberbed", deadline=None, derandomize=True)
settings.load_profile("emberbed")


def pytest_collection_finish():
    """Spare what has been imported from the collections that the firmware asks for."""
    gc.freeze()


@pytest.fixture(scope="session")
def browser():
    """Return a real browser without a window; one for all, as two do not bear one another."""
    with running_browser() as browser:
        yield browser
