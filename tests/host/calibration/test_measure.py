"""A point taken on devices with other converters."""

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.calibration import fixed_points
from emberbed.calibration.guided import couple_on
from emberbed.calibration.measure import steady_point
from emberbed.link.device import Device

KINDS = ("coarse:board_centre:MAX6675", "fine:board_edge:MAX31856")


@pytest.fixture(scope="module")
def bench():
    asked = VirtualBench(speed="max", engine="cpython", sensors=KINDS)
    with VirtualDevice(asked) as virtual, Device.connect(virtual.url) as device:
        yield virtual, device


def taken(bench, name, bath, reference, offset_k=0.0):
    virtual, device = bench
    couple = couple_on(device, name)
    virtual.misread(couple.channel, offset_k, 1.0)
    virtual.dip(couple.channel, bath)
    return steady_point(couple, reference, lambda _line: None)


@pytest.mark.parametrize(("name", "within_k"), [("coarse", 0.6), ("fine", 0.1)])
def test_every_converter_gives_its_points(bench, name, within_k):
    boiling = fixed_points.boiling(1013.25, None, None)
    assert taken(bench, name, "ice", fixed_points.ice(), 1.0).read_c == pytest.approx(
        1.0, abs=within_k
    )
    read = taken(bench, name, "boiling 101.325", boiling, 1.0)
    assert read.read_c == pytest.approx(100.97, abs=within_k)
    assert read.standard_k > boiling.standard_k


def test_ice_below_what_a_converter_can_show_is_no_point(bench):
    with pytest.raises(NotReady, match="a MAX6675 gives none below 0 °C"):
        taken(bench, "coarse", "ice", fixed_points.ice(), -3.0)
    assert taken(bench, "fine", "ice", fixed_points.ice(), -3.0).read_c == pytest.approx(
        -3, abs=0.1
    )


def test_a_bead_that_is_not_there_yet_is_not_taken(bench):
    with pytest.raises(NotReady, match="too far from 99.97 °C|too far from 100.0 °C"):
        taken(bench, "fine", "block 60", fixed_points.boiling(1013.25, None, None))
