"""Fixtures of the bench's tests."""

import pytest

from emberbed.bench import absence


@pytest.fixture(autouse=True)
def short_patience(monkeypatch):
    """A link that broke on a tape is tried again for a moment only."""
    monkeypatch.setattr(absence, "TRIES_FOR_S", 0.3)
    monkeypatch.setattr(absence, "PAUSE_S", 0.01)
