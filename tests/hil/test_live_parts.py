"""The lamp and the mains part: what is asked, what is measured, what is found; on a device that is
virtual, with hands and answers from a script."""

import time

import pytest

from emberbed.acceptance.report import FAILED, NOT_DONE, PASSED
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed_hil import lamp_steps, mains_steps
from emberbed_hil.live import Live
from emberbed_hil.person import Asked, AtVirtualDevice, Skipped
from tests.hil.command import accept


class Scripted(AtVirtualDevice):
    """Hands of the virtual device and eyes from a script: `sees_no` are parts of questions."""

    sees = True

    def __init__(self, device, sees_no=()):
        super().__init__(device, lambda _text: None)
        self.sees_no = sees_no
        self.asked = []

    def confirm(self, asked):
        self.asked.append(asked)
        return not any(part in asked for part in self.sees_no)

    def do(self, what, channel, asked):
        self.asked.append(asked)
        super().do(what, channel, asked)


def lamp(faults=(), sees_no=()):
    """Run the lamp part; return its results by number, and the person."""
    with (
        VirtualDevice(VirtualBench(speed="max", faults=faults)) as virtual,
        Device.connect(virtual.url) as device,
    ):
        person = Scripted(virtual, sees_no)
        live = Live(device, device.read_settings(), person)
        results = {each.number: each for each in lamp_steps.run(live, lambda _line: None)}
    return results, person


def test_lamp_part_asks_measures_and_records():
    results, person = lamp()
    done = {number: each.outcome for number, each in results.items()}
    by_measure = {"8.02", "8.03", "8.04", "8.05", "8.06", "8.07", "8.08", "8.09"}
    assert {number for number in by_measure if done[number] == PASSED} == by_measure
    assert done["8.01"] == done["8.12"] == PASSED
    assert {number for number, outcome in done.items() if outcome == NOT_DONE} == {
        "8.10", "8.11", "8.13",  # the virtual device has no reset button, no stop, no warm finger
    }  # fmt: skip
    assert results["8.07"].measured <= results["8.07"].limit == 100
    assert results["8.08"].measured <= results["8.08"].limit == 300
    assert any("Pull the cable" in asked for asked in person.asked)


def test_swapped_channels_are_named():
    results, _person = lamp(faults=("channels_swapped@0s",))
    assert results["8.03"].outcome == FAILED
    assert "channels 0 (top_near_chip) and 1 (edge) are swapped" in results["8.03"].said
    assert "8.05" not in results, "nothing is lit after it"


def test_converter_that_answers_nonsense_is_named():
    results, _person = lamp(faults=("bus_dead@0s#1",))
    assert results["8.02"].outcome == FAILED
    assert "channel 0 (top_near_chip) answers nonsense" in results["8.02"].said
    assert "check its converter's wiring" in results["8.02"].said


@pytest.mark.parametrize(
    ("sees_no", "number", "told"),
    [
        ("heater disconnected", "8.01", "the lamp is not there"),
        ("Does the lamp light", "8.06", "does not light"),
        ("Is the lamp dark?", "8.07", "still lights after STOP"),
    ],
)
def test_what_the_eye_sees_wrong_ends_the_part(sees_no, number, told):
    results, _person = lamp(sees_no=(sees_no,))
    assert results[number].outcome == FAILED and told in results[number].said
    assert max(results) == number


def test_missing_current_sense_is_found():
    results, _person = lamp(faults=("current_sense_dead@0s",))
    assert results["8.05"].outcome == FAILED


def test_on_the_virtual_device_by_command(tmp_path):
    done = accept(tmp_path, "--part", "lamp", "--json")
    assert done.returncode == 0, done.stderr
    assert '"8.07"' in done.stdout and (tmp_path / "acceptance" / "virtual").is_dir()


class Slow(Scripted):
    """A person who reads first, and then answers."""

    READS_S = 1.5

    def confirm(self, asked):
        time.sleep(self.READS_S)
        return super().confirm(asked)

    def do(self, what, channel, asked):
        raise Skipped


def test_device_is_followed_while_the_person_reads():
    """Heat whose records nobody renews ends after 2 s: no lamp would be lit when the answer comes.
    The virtual device's clock stands while its records are not taken."""
    with (
        VirtualDevice(VirtualBench()) as virtual,
        Device.connect(virtual.url) as device,
    ):
        live = Live(device, device.read_settings(), Slow(virtual))
        live.watch(3)
        before = live.newest.tick
        assert live.confirm("Does the lamp light now?") is True
        assert live.newest.tick - before >= Slow.READS_S * 10 / 2
        with pytest.raises(Skipped):
            live.do("press", 0, "Hold the button.")


def answers(*said):
    waiting = iter(said)
    told = []
    return Asked(lambda asked: told.append(asked) or next(waiting), told.append), told


def test_mains_part_writes_down_what_is_answered():
    said = ["y", "M. Licence 12"] + ["y"] + ["y", "0.1 ohm"] + ["s"] * 8
    person, told = answers(*said)
    results = mains_steps.run(person, told.append)
    assert [each.outcome for each in results] == [PASSED] * 3 + [NOT_DONE] * 8
    assert results[0].said == "M. Licence 12" and results[2].said == "0.1 ohm"
    assert "competent" in told[0] and "Local code" in told[0]


def test_a_no_ends_the_mains_part_with_the_plug_out():
    person, told = answers("y", "x", "no")
    results = mains_steps.run(person, told.append)
    assert [each.outcome for each in results] == [PASSED, FAILED]
    assert "Pull the mains plug" in told[-1]


def test_cut_out_is_tested_by_hand_and_never_by_us():
    item = next(each for each in mains_steps.ITEMS if each.title == "Thermal cut-out")
    assert "tested by hand" in item.asked and "independent" in item.asked and item.note


def test_answers_are_understood_and_asked_again():
    person, told = answers("maybe", "YES")
    assert person.confirm("Is it?") is True
    assert "Type y" in told[1]
    person, _told = answers("s")
    with pytest.raises(Skipped):
        person.note("What?")
