"""A controller-board port on played pins, for the tests of its parts."""

import pytest

from tests.support.controller_ports import (
    OnPins,
)


@pytest.fixture
def on_pins(tmp_path):
    opened = []

    def make(*arguments, **named):
        bench = OnPins(tmp_path / str(len(opened)), *arguments, **named)
        opened.append(bench)
        return bench

    yield make
    for bench in opened:
        bench.board.close()
