"""A run holds the computer awake by the system's own means; where there are none, nothing is said.

The system's program is played by a script of its name here: few test machines have a service
manager that may refuse to sleep.
"""

import sys
import time

import pytest

from emberbed.bench import stay_awake
from emberbed.bench.stay_awake import staying_awake
from tests.support.processes import need_posix

SCRIPT = """#!/bin/sh
echo "$@" > {told}
while [ "${{1#--}}" != "$1" ] || [ "${{1#-}}" != "$1" ]; do shift; done
exec "$@"
"""


@pytest.fixture
def holder(tmp_path, monkeypatch):
    """Put a script in place of the system's program; return what it was told, and its folder."""
    need_posix("Windows holds itself awake by a call")
    name = (stay_awake.CAFFEINATE if sys.platform == "darwin" else stay_awake.INHIBIT)[0]
    told = tmp_path / "told"
    script = tmp_path / name
    script.write_text(SCRIPT.format(told=told))
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    return told, script


def test_it_is_held_for_the_length_of_the_block(holder, monkeypatch):
    told, _script = holder
    children = []
    start = stay_awake._start
    monkeypatch.setattr(
        stay_awake, "_start", lambda words: children.append(start(words)) or children[0]
    )
    with staying_awake():
        end_s = time.monotonic() + 20
        while not (told.exists() and told.read_text()) and time.monotonic() < end_s:
            time.sleep(0.02)
        assert children[0].poll() is None
    assert children[0].poll() is not None
    if sys.platform != "darwin":
        assert told.read_text().startswith("--what=sleep:idle --who=emberbed")


@pytest.mark.parametrize("how", ["none", "refuses", "no program"])
def test_where_it_cannot_be_held_nothing_happens(holder, capfd, how):
    _told, script = holder
    if how == "none":
        script.unlink()
    elif how == "refuses":
        script.write_text("#!/bin/sh\necho no >&2\nexit 1\n")
    else:
        script.write_text("no program")
    with staying_awake():
        pass
    assert capfd.readouterr() == ("", "")
