"""Settings of a person: a file and variables; what wins; one sentence for what is none."""

import json
import os

import pytest

from emberbed.cli_page import USUAL_PORT
from emberbed.settings_file import KEYS, Settings, SettingsFault, read_settings, settings_path
from emberbed.store.database import default_path
from tests.support.command import finish


@pytest.fixture
def written(tmp_path, monkeypatch):
    """Return a function that writes the settings."""
    path = tmp_path / "settings.toml"
    monkeypatch.setenv("EMBERBED_SETTINGS", str(path))
    for key in KEYS:
        monkeypatch.delenv(f"EMBERBED_{key.upper()}", raising=False)

    def write(text):
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_no_file_and_an_empty_one_set_nothing(written):
    assert read_settings() == Settings()
    written("# nothing yet\n")
    assert read_settings() == Settings()
    assert not any(read_settings().for_options().values())


def test_a_variable_wins_over_the_file(written, monkeypatch, tmp_path):
    written('device = "auto"\nstore = "/a/runs.sqlite"\npage_port = 9000\nfahrenheit = true\n')
    assert read_settings() == Settings("auto", "/a/runs.sqlite", None, None, 9000, True)
    monkeypatch.setenv("EMBERBED_STORE", str(tmp_path / "b.sqlite"))
    monkeypatch.setenv("EMBERBED_PAGE_PORT", "9001")
    monkeypatch.setenv("EMBERBED_FAHRENHEIT", "no")
    assert read_settings() == Settings("auto", str(tmp_path / "b.sqlite"), None, None, 9001, False)
    assert default_path() == tmp_path / "b.sqlite"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("devise = 1", 'did you mean "device"'), ("hot = true", "the settings are device, store"),
        ("device = 7", "device is 1 to"), ('device = ""', "device is 1 to"),
        ('store = "a\\u001b[2J"', "store is 1 to"), ("page_port = 70000", "page_port is a port"),
        ("page_port = true", "page_port is a port"), ('page_port = "1"', "page_port is a port"),
        ("fahrenheit = 1", "fahrenheit is true or false"), ("device = ", "no TOML"),
        (b"\xff\xfe", "no TOML"), ("[page]\nport = 1", '"page" is no setting'),
        ("device = [" * 3000, "no TOML"), ("device = nan", "device is 1 to"),
    ],
)  # fmt: skip
def test_what_is_no_setting_is_one_sentence_with_the_place(written, text, named):
    path = written(text)
    with pytest.raises(SettingsFault) as fault:
        read_settings()
    said = str(fault.value)
    assert said.startswith(str(path)) and named in said and "\n" not in said and len(said) < 500
    done = finish("runs", "list")
    assert (done.exit_code, done.errors.strip()) == (2, said)


def test_a_variable_that_is_none_names_itself(written, monkeypatch):
    monkeypatch.setenv("EMBERBED_PAGE_PORT", "many")
    with pytest.raises(SettingsFault, match="EMBERBED_PAGE_PORT is a port"):
        read_settings()


def test_a_folder_is_no_settings_file(tmp_path, monkeypatch):
    monkeypatch.setenv("EMBERBED_SETTINGS", str(tmp_path))
    with pytest.raises(SettingsFault, match="cannot be read"):
        read_settings()


def test_commands_take_them_and_an_option_wins(written, tmp_path, monkeypatch):
    store = tmp_path / "mine" / "runs.sqlite"
    written(f'device = "/dev/none"\nstore = {json.dumps(str(store))}\n')
    refused = finish("run", "label-printer", "--speed", "max")
    assert refused.exit_code == 2 and "/dev/none" in refused.errors, "the device of the settings"
    assert finish("job", "new", "Label printer").exit_code == 0
    assert store.exists()
    doctor = finish("doctor", "--device", "virtual", "--json")
    rows = {row["what"]: row for row in json.loads(doctor.output)}
    assert "2 set" in rows["settings"]["told"] and str(store) in rows["run store"]["told"]


def test_every_option_in_the_settings_is_one_of_its_command():
    """The names are click's: of the parameters, not of the flags."""
    import typer

    from emberbed.cli import app

    given = Settings("auto", "s", "h", "p", USUAL_PORT, True).for_options()
    commands = typer.main.get_group(app).commands
    for name, options in given.items():
        assert set(options) <= {param.name for param in commands[name].params}, name
    assert {option for options in given.values() for option in options} | {"store"} == {
        "port" if key == "page_port" else key for key in KEYS
    }


def test_they_lie_in_the_usual_folder(monkeypatch):
    import platformdirs

    monkeypatch.delenv("EMBERBED_SETTINGS")
    assert settings_path().parent == platformdirs.user_config_path("emberbed")


def test_the_settings_of_the_tests_are_none():
    assert os.environ["EMBERBED_SETTINGS"] == os.devnull and read_settings().device is None
