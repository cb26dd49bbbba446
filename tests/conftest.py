"""Settings of every test: property tests repeat the same examples and have no stopwatch.

A gate must give the same answer twice, and this machine may be busy.
"""

import gc
import os
from pathlib import Path

import pytest
from hypothesis import settings

from tests.support.browser import running_browser

settings.register_profile("emberbed", deadline=None, derandomize=True)
settings.load_profile("emberbed")
os.environ["EMBERBED_SETTINGS"] = os.devnull  # those of whoever runs the tests stay outside

TESTS = Path(__file__).parent
# Folders whose files take longest begin: at the end no worker waits for another's long file.
LONG_FIRST = ["hil", "install", "end_to_end", "scenarios", "fuzz", "mutation", "docs", "packaging",
              "page", "sim"]  # fmt: skip


def pytest_collection_modifyitems(items):
    def turn(item):
        folder = item.path.relative_to(TESTS).parts[0]
        return LONG_FIRST.index(folder) if folder in LONG_FIRST else len(LONG_FIRST)

    items.sort(key=turn)


def pytest_collection_finish():
    """Spare what has been imported from the collections that the firmware asks for."""
    gc.freeze()


@pytest.fixture(scope="session")
def browser():
    """Return a real browser without a window; one for all, as two do not bear one another."""
    with running_browser() as browser:
        yield browser
