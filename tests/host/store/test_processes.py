"""A writer is called gone only when it surely is."""

import os
import shutil
import subprocess
import sys

import pytest

from emberbed.store import processes
from emberbed.store.processes import ProcessStamp, is_gone, own_stamp, start_of


@pytest.fixture
def sleeper():
    process = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    yield process
    process.kill()
    process.communicate()


def test_this_process_is_not_gone():
    stamp = own_stamp()
    assert stamp.process_id == os.getpid() and stamp.started
    assert not is_gone(stamp)


def test_a_killed_process_is_gone_even_before_it_is_collected(sleeper):
    stamp = own_stamp()._replace(process_id=sleeper.pid, started=start_of(sleeper.pid))
    assert not is_gone(stamp)
    sleeper.kill()
    if os.name == "posix":
        os.waitid(os.P_PID, sleeper.pid, os.WEXITED | os.WNOWAIT)  # ended, still in the table
        assert is_gone(stamp)
    sleeper.wait()
    assert is_gone(stamp)


def test_a_process_number_used_again_is_another_process(sleeper):
    stamp = own_stamp()._replace(process_id=sleeper.pid, started="an earlier start")
    assert is_gone(stamp)


def test_doubt_counts_as_alive(sleeper, monkeypatch):
    assert not is_gone(own_stamp()._replace(started=processes.UNKNOWN))
    assert not is_gone(ProcessStamp("another computer", sleeper.pid, "any"))
    stamp = own_stamp()._replace(process_id=sleeper.pid)
    monkeypatch.setattr(processes, "start_of", lambda _process_id: processes.UNKNOWN)
    assert not is_gone(stamp)


@pytest.mark.skipif(shutil.which("ps") is None, reason="this system has no ps")
def test_ps_serves_where_there_is_no_proc(sleeper):
    assert processes.start_from_ps(sleeper.pid)
    sleeper.kill()
    sleeper.wait()
    assert processes.start_from_ps(sleeper.pid) is None
