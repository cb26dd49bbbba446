"""A shared page watches and stops, after pairing by the code, and can do nothing else."""

import json
import sys

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.page.sharing import MOST_WRONG
from tests.page.conftest import Asking

TABLET = "127.0.0.2"  # another address of this computer stands for the bench's network

pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="only Linux answers at all of 127.0.0.0/8 without more ado"
)


@pytest.fixture
def tablet(serving):
    return Asking(serving(share=TABLET).server, TABLET)


def pair(tablet, code):
    status, _headers, body = tablet.post("/api/pair", {"code": code}, X_Emberbed_Token=None)
    return status, json.loads(body)


def paired(tablet):
    status, answer = pair(tablet, tablet.server.sharing.code)
    assert status == 200
    tablet.token = answer["token"]
    return tablet


def test_nothing_is_shared_unless_asked_for(client):
    assert client.server.shared_url is None
    status, _headers, body = client.post("/api/pair", {"code": client.server.sharing.code})
    assert (status, "--share" in body.decode()) == (409, True)


def test_the_bench_token_does_not_open_the_shared_door(tablet):
    assert tablet.post("/api/enter")[0] == 401


def test_a_paired_tablet_watches_and_stops(tablet):
    about = json.loads(paired(tablet).get("/api/live/curve?from=0")[2] or b"0")
    assert about == 0
    assert tablet.post("/api/stop")[0] == 202


@pytest.mark.parametrize("path", ["/api/answer", "/api/touch", "/api/simulated", "/api/run",
                                  "/api/clear", "/api/save", "/api/check"])  # fmt: skip
def test_a_paired_tablet_changes_nothing(tablet, path):
    status, _headers, body = paired(tablet).post(path, {"prompt": 0})
    assert (status, json.loads(body)["why"]) == (403, "guest")


@pytest.mark.parametrize("path", ["/api/profiles", "/api/runs", "/runs/1/report"])
def test_a_paired_tablet_reads_nothing_else(tablet, path):
    assert paired(tablet).get(path)[0] == 403


def test_a_paired_tablet_has_no_code_to_pass_on(tablet):
    about = json.loads(paired(tablet).post("/api/enter")[2])
    assert (about["guest"], about["shared"]) == (True, None)


def test_a_tablet_token_does_not_open_the_bench(tablet):
    bench = Asking(tablet.server)
    bench.token = paired(tablet).token
    assert bench.post("/api/enter")[0] == 401


def test_wrong_codes_close_the_pairing(tablet):
    right = tablet.server.sharing.code
    wrong = "000000" if right != "000000" else "111111"
    for _ in range(MOST_WRONG):
        assert pair(tablet, wrong)[0] == 409
    status, answer = pair(tablet, right)
    assert (status, "start emberbed page again" in answer["sentences"][0]) == (409, True)


@pytest.mark.parametrize("address", ["0.0.0.0", "bench", "", "999.1.1.1", "::"])
def test_an_address_that_is_none_is_refused(serving, address):
    with pytest.raises(NotReady, match="--share"):
        serving(share=address)


def test_an_address_of_another_computer_is_refused(serving):
    with pytest.raises(NotReady, match="cannot be shared at 192.0.2.1"):  # RFC 5737: nobody's
        serving(share="192.0.2.1")
