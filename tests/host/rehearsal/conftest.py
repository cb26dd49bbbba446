"""The whole command in process, in an empty folder, and files for it."""

import pytest

from tests.host.cli.conftest import emberbed  # noqa: F401  (a fixture)
from tests.host.heater.heater_texts import heater_text
from tests.support.profiles import hold_profile


@pytest.fixture
def short_profile(tmp_path):
    """Write a profile of one short hold; return its name."""
    (tmp_path / "short.toml").write_text(hold_profile(for_s=10, to_c=55), encoding="utf-8")
    return "short.toml"


@pytest.fixture
def heater_file(tmp_path):
    """Write a heater file; return its name."""
    (tmp_path / "h.toml").write_text(heater_text(), encoding="utf-8")
    return "h.toml"


@pytest.fixture
def refused(emberbed):  # noqa: F811
    """Return a function that runs a command which must be refused, and gives its one sentence."""

    def run(*words):
        said = emberbed(*words)
        assert said.exit_code == 2, said.out
        assert said.out == ""
        (sentence,) = said.lines
        return sentence

    return run
