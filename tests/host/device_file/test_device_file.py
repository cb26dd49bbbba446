"""The device description file: what it becomes, and one clear sentence for every mistake in it."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import emberbed.device_file
from emberbed.device_description import decode_settings
from emberbed.device_file.boards import CHIPS
from emberbed.device_file.keys import CHANNEL, TABLES, TOP, ZONE
from emberbed.device_file.pin_rules import pins_of
from emberbed.device_file.reader import (
    DeviceFileMistakes,
    parse_device_file,
    read_device_file,
)
from emberbed_fw import settings as layout
from emberbed_fw.ports import wiring
from emberbed_fw.ports.chip_rp2_pins import i2c_number, spi_number, uart_number
from emberbed_fw.settings import settings_fit

EXAMPLE = Path(emberbed.device_file.__file__).with_name("example.toml")
TEXT = EXAMPLE.read_text(encoding="utf-8")


def mistakes(text):
    with pytest.raises(DeviceFileMistakes) as refused:
        parse_device_file(text.encode(), "device.toml")
    return refused.value.sentences


def changed(before, after):
    assert TEXT.count(before) == 1, before
    return TEXT.replace(before, after)


def test_shipped_example_is_good():
    made = read_device_file(EXAMPLE)
    assert settings_fit(made.settings)
    assert wiring.find_wiring_fault(made.wiring) is None


def test_it_becomes_what_the_device_holds():
    made = read_device_file(EXAMPLE)
    description = decode_settings(made.settings)
    assert description.fitted_names() == {0: "top_near_chip", 1: "edge", 2: "ssr_heatsink"}
    assert [channel.converter for channel in description.channels[:3]] == [
        "MAX31855K", "MAX31856", "thermistor"
    ]  # fmt: skip
    assert description.ceilings_cdeg()[:3] == [26000, 26000, 8500]
    assert description.zones[0].watts == 1000 and description.zones[0].dwell_ticks == 2
    assert description.has_contactor_sense and description.has_heat_sense
    assert description.has_fan and description.has_cut_out and description.socket_watts == 2300
    assert layout.Settings(made.settings).hold_cdeg == 12000
    type_k = layout.COUPLE_TYPES.index("K")
    assert description.channels[1].options == type_k | layout.FILTER_50_HZ
    opened = wiring.Wiring(made.wiring)
    assert made.board == opened.board == "rp2040"
    assert opened.link == wiring.LINK_USB and opened.display_rows == 64
    assert [opened.pin(role) for role in ("sck", "mosi", "miso")] == [18, 19, 16]
    assert opened.pin("contactor") == 10 and opened.pin("tx") == wiring.NO_PIN
    assert list(opened.channel_pins[:4]) == [6, 7, 26, wiring.NO_PIN]
    assert list(opened.zone_pins) == [9] + [wiring.NO_PIN] * 3


def test_least_file_is_enough():
    least = """board = "rp2350"
[bus]
sck = 18
mosi = 19
miso = 16
[contactor]
pin = 10
[panel]
button = 15
[[channels]]
name = "top_near_chip"
converter = "MAX6675"
cs = 6
highest_c = 250
[[zones]]
pin = 9
watts = 800
"""
    made = parse_device_file(least.encode(), "device.toml")
    assert settings_fit(made.settings)
    assert layout.Settings(made.settings).has == 0


def test_uart_link():
    text = changed('link = "usb"            # or', 'link = "uart"\n#') + "[uart]\ntx = 0\nrx = 1\n"
    opened = wiring.Wiring(parse_device_file(text.encode(), "x").wiring)
    assert (opened.link, opened.baud) == (wiring.LINK_UART, 115200)
    assert (opened.pin("tx"), opened.pin("rx")) == (0, 1)


# One mistake each: what is changed, and the sentence.
MISTAKES = {
    "pin used twice": (
        ("lamp = 20", "lamp = 15"),
        "[panel]: pin 15 is panel.button already; give panel.lamp a pin of its own",
    ),
    "pin used twice, in a list": (
        ("cs = 7", "cs = 6"),
        "channels 2: pin 6 is channels 1 cs already; give channels 2 cs a pin of"
        " its own",
    ),
    "no such pin": (
        ("lamp = 20", "lamp = 31"),
        "[panel]: pin 31: the rp2040 has no such pin; choose another one",
    ),
    "no analogue input": (
        ("adc = 26", "adc = 22"),
        "channels 3: pin 22 of the rp2040 is no analogue input; choose one of 26,"
        " 27, 28, 29",
    ),
    "no clock of an SPI": (
        ("sck = 18", "sck = 17"),
        "[bus]: pin 17 is no sck of an SPI; choose one of 2, 6, 18, 22, 10, 14, 26",
    ),
    "pin of the other SPI": (
        ("miso = 16", "miso = 8"),
        "[bus]: pin 8 cannot be miso where sck is pin 18; choose one of 0, 4, 16,"
        " 20",
    ),
    "pin of the other I2C": (
        ("scl = 5", "scl = 3"),
        "[display]: pin 3 cannot be scl where sda is pin 4; choose one of 1, 5, 9,"
        " 13, 17, 21, 25, 29",
    ),
    "wrong converter": (
        ('converter = "MAX31855K"', 'converter = "MAX31865"'),
        'channels 1: converter is "MAX31865"; did you mean',
    ),
    "wrong chip": (
        ('board = "rp2040"', 'board = "rp2041"'),
        'board is "rp2041"; did you mean "rp2040"',
    ),
    "unknown key": (
        ("buzzer = 21", "buzer = 21"),
        '[panel]: "buzer" is not known here; did you mean "buzzer"?',
    ),
    "missing key": (
        ("button = 15", "# button", "[panel]"),
        "[panel]: button is missing; write it: button or foot switch to ground",
    ),
    "pin that is no number": (
        ("lamp = 20", 'lamp = "GP20"'),
        '[panel]: lamp is "GP20"; write a pin number, 0 to 48',
    ),
    "temperature that nothing bears": (
        ("adc = 26\nb_k = 3950\nhighest_c = 85", "adc = 26\nhighest_c = 200"),
        "channels 3: highest_c is 200; a thermistor is read up to 120 °C, write at"
        " most that",
    ),
    "watts of no zone": (
        ("watts = 1000", "watts = 10000"),
        "zones 1: watts is 10000; write a number from 1 to 3600",
    ),
    "option of another converter": (
        ('converter = "MAX31855K"', 'average = 2\nconverter = "MAX31855K"', "average = 2"),
        "channels 1: a MAX31855K has no average; leave it out, or write a MAX31856",
    ),
    "couple without its select pin": (
        ("cs = 6", "adc = 28", "converter = \"MAX31855K\""),
        "channels 1: a MAX31855K needs cs; write the pin it is at",
    ),
    "hold above the ceiling": (
        ('cs = 6\nhighest_c = 260', "cs = 6\nhighest_c = 110", "hold_c = 120"),
        "hold_c is 120, above what the first couple on the board may read; lower"
        " it, or raise that channel's highest_c",
    ),
    "name that no profile can write": (
        ('"edge"', '"the edge"'),
        'channels 2: "the edge" is no name; write a letter, then letters, digits, _'
        " or -, at most 16 in all",
    ),
    "name used twice": (
        ('"edge"', '"top_near_chip"'),
        'channels 2: "top_near_chip" is channel 1 already; give each channel a name'
        " of its own",
    ),
    "uart without pins": (
        ('link = "usb" ', 'link = "uart" '),
        'link is "uart"; write the table [uart] with tx and rx',
    ),
    "no TOML": (
        ("lamp = 20", "lamp = "),
        "this is no TOML (Invalid value); mend it",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("change", "sentence"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told_by_place_name_and_mend(change, sentence):
    _before, after, *where = change
    text = changed(*change[:2])
    line = 1 + text[: text.rindex(where[0] if where else after.split("\n")[-1])].count("\n")
    told = mistakes(text)
    assert any(one.startswith(f"device.toml:{line}: {sentence}") for one in told), (line, told)


PINS = {
    "start pin": ("esp32", "cs = 6", 12, "pin 12 of the esp32 decides how the chip starts"),
    "flash pin": ("esp32", "cs = 6", 8, "pin 8 of the esp32 belongs to the chip's flash memory"),
    "prompt's pin": ("esp32", "cs = 6", 3, "pin 3 of the esp32 belongs to the serial line"),
    "input only": ("esp32", "lamp = 20", 35, "pin 35 of the esp32 can only read"),
    "no pull-up": ("esp32", "button = 15", 36, "pin 36 of the esp32 has no pull-up"),
    "noisy": ("esp32", "pin = 9", 14, "pin 14 of the esp32 gives pulses while the chip starts"),
    "no such pin": ("esp32", "lamp = 20", 20, "pin 20: the esp32 has no such pin"),
    "S3 start": ("esp32-s3", "cs = 6", 45, "pin 45 of the esp32-s3 decides how the chip starts"),
    "S3 USB": ("esp32-s3", "cs = 6", 20, "pin 20 of the esp32-s3 belongs to the chip's USB"),
    "S3 flash": ("esp32-s3", "cs = 6", 30, "pin 30 of the esp32-s3 belongs to the chip's flash"),
    "C3 USB": ("esp32-c3", "cs = 6", 18, "pin 18 of the esp32-c3 belongs to the chip's USB"),
    "C3 start": ("esp32-c3", "cs = 6", 9, "pin 9 of the esp32-c3 decides how the chip starts"),
    "C3 no such": ("esp32-c3", "cs = 6", 22, "pin 22: the esp32-c3 has no such pin"),
}


@pytest.mark.parametrize(("board", "line", "pin", "said"), PINS.values(), ids=PINS)
def test_pin_that_cannot_be_that_on_this_chip(board, line, pin, said):
    key = line.split(" = ")[0]
    text = changed('board = "rp2040"', f'board = "{board}"').replace(
        f"\n{line}\n", f"\n{key} = {pin}\n"
    )
    text = re.sub(rf"\n{re.escape(line)}( +#)", rf"\n{key} = {pin}\1", text)
    assert any(said in one for one in mistakes(text))


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file():
    text = (
        changed("lamp = 20", "lamp = 31")
        .replace("sck = 18", "sck = 24")
        .replace("adc = 26", "adc = 22")
    )
    lines = [int(one.split(":")[1]) for one in mistakes(text)]
    assert lines == sorted(lines) and len(lines) == 3


@pytest.mark.parametrize(
    ("name", "said"), [("nowhere.toml", "No such file"), (".", "directory"), ("a\0b", "file name")]
)
def test_file_that_is_none(tmp_path, name, said):
    with pytest.raises(DeviceFileMistakes, match=said):
        read_device_file(f"{tmp_path}/{name}")


@pytest.mark.parametrize(
    "raw",
    [b"", b"\xff\xfe", b"a = 1", b"[bus]\n[bus]", b"channels = 3\nzones = [[]]", b"x" * 70000],
)
def test_anything_else_is_refused_and_raises_nothing_else(raw):
    with pytest.raises(DeviceFileMistakes):
        parse_device_file(raw, "x")


@given(st.integers(0, len(TEXT) - 1), st.sampled_from(list('x"[]=#\n0-')))
def test_a_changed_letter_is_taken_or_refused(at, letter):
    text = TEXT[:at] + letter + TEXT[at + 1 :]
    try:
        made = parse_device_file(text.encode(), "x")
    except DeviceFileMistakes as refused:
        assert refused.sentences
    else:
        assert settings_fit(made.settings) and wiring.find_wiring_fault(made.wiring) is None


def test_boards_of_host_and_firmware_are_the_same():
    assert tuple(CHIPS) == wiring.BOARDS


def test_bus_of_every_rp2_pin_is_the_one_that_the_firmware_takes():
    # RP2040 datasheet, table of pin functions, from memory; written twice on purpose
    chip = CHIPS["rp2040"]
    for number, buses in ((spi_number, chip.spi), (uart_number, chip.uart), (i2c_number, chip.i2c)):
        for index, bus in enumerate(buses):
            assert {number(pin) for pin in bus.first} == {index}


def test_every_role_of_a_pin_is_written_somewhere():
    import tomllib

    written = {location[-1] for location, _pin, _key in pins_of(tomllib.loads(TEXT))}
    assert written >= {"sck", "button", "tach", "sda", "cs", "adc", "pin", "sense"}
    for table in (TOP, *TABLES.values(), CHANNEL, ZONE):
        assert all(key.says for key in table.values())
