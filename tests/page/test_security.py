"""Rebinding, request forgery, hijacked sockets: what comes from another page changes nothing.

The rules are those of OWASP's CSRF prevention and HTML5 security cheat sheets (from memory): an
exact Host against DNS rebinding, Origin and Fetch-Metadata and a token against forged requests,
Origin at the WebSocket's opening against hijacking.
"""

import json
import socket
from contextlib import ExitStack

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from emberbed.page import security
from emberbed.page.security import MOST_BODY_BYTES, MOST_LIVE

WRITES = ["/api/enter", "/api/answer", "/api/touch", "/api/simulated", "/api/run", "/api/clear",
          "/api/check", "/api/rehearse", "/api/save"]  # fmt: skip
READS = ["/api/live/curve", "/api/profiles", "/api/runs", "/api/runs/1", "/api/runs/1/curve",
         "/runs/1/report", "/runs/1/csv", "/runs/1/bundle", "/api/before-heat"]  # fmt: skip


def why(answer):
    return json.loads(answer[2])["why"]


def open_live(client, *, origin=True, host=None, token=None, **more):
    """Open the WebSocket as a browser would, or as another page's would be."""
    token = client.token if token is None else token
    host = f"{host}:{client.server.port}" if host else client.host
    return connect(
        f"ws://{host}/api/live",
        sock=socket.create_connection(("127.0.0.1", client.server.port), timeout=10),
        origin=f"http://{host}" if origin is True else origin,
        subprotocols=["emberbed", f"token-{token}"],
        additional_headers=more,
        open_timeout=10,
    )


# DNS rebinding: the browser believes that the foreign name is this computer


@pytest.mark.parametrize("path", ["/", "/static/page.js", "/api/runs", "/api/stop"])
@pytest.mark.parametrize(
    "host", ["evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "0.0.0.0:{port}",
             "127.0.0.1:{port}.evil.example", "LOCALHOST:{port}", "[::1]:{port}", "", None]
)  # fmt: skip
def test_another_host_is_refused_before_any_route(client, host, path):
    named = None if host is None else host.format(port=client.server.port)
    answer = client.ask("GET", path, None, {} if named is None else {"Host": named})
    assert answer[0] in (400, 403)  # no Host at all: the HTTP library is quicker
    assert b"<html" not in answer[2]


def test_two_host_headers_are_refused(client):
    answer = client.ask("GET", "/", None, {"Host": [client.host, "evil.example"]})
    assert answer[0] in (400, 403)


def test_both_names_of_this_computer_are_its_own(client):
    for name in ("127.0.0.1", "localhost"):
        assert client.ask("GET", "/", None, {"Host": f"{name}:{client.server.port}"})[0] == 200


# requests that another page forges


@pytest.mark.parametrize("path", [*WRITES, "/api/stop"])
@pytest.mark.parametrize(
    "changed",
    [
        {"Origin": None},
        {"Origin": "null"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://127.0.0.1:{port}"},
        {"Origin": "http://localhost:{port}"},  # its own, but not of this Host
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "none"},
    ],
)
def test_a_forged_write_is_refused_with_a_valid_token_too(client, path, changed):
    port = client.server.port
    given = {k: v and v.format(port=port) for k, v in changed.items()}
    answer = client.post(path, **given)
    assert (answer[0], why(answer)) == (403, "origin")


@pytest.mark.parametrize("kind", [None, "text/plain", "application/x-www-form-urlencoded",
                                  "multipart/form-data", "application/json-not"])  # fmt: skip
def test_what_a_form_can_send_is_refused(client, kind):
    assert client.post("/api/enter", Content_Type=kind)[0] == 415


@pytest.mark.parametrize("path", WRITES)
@pytest.mark.parametrize("token", [None, "", "0" * 32, "token"])
def test_a_write_needs_the_token(client, path, token):
    answer = client.post(path, X_Emberbed_Token=token)
    assert (answer[0], why(answer)) == (401, "token")


def test_a_cookie_is_no_token_for_a_write(client):
    cookie = f"emberbed_{client.server.port}={client.token}"
    assert client.post("/api/enter", X_Emberbed_Token=None, Cookie=cookie)[0] == 401
    assert client.get("/api/runs", X_Emberbed_Token=None, Cookie=cookie)[0] == 200


@pytest.mark.parametrize("path", READS)
def test_reading_needs_the_token_too(client, path):
    assert client.get(path, X_Emberbed_Token=None)[0] == 401


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_reading_from_another_page_is_refused(client, site):
    assert client.get("/api/runs", Sec_Fetch_Site=site)[0] == 403
    assert client.get("/", Sec_Fetch_Site=site)[0] == 403


def test_a_typed_address_and_a_page_of_ours_may_read(client):
    for site in ("none", "same-origin", None):
        assert client.get("/api/runs", Sec_Fetch_Site=site)[0] == 200


@pytest.mark.parametrize("path", WRITES)
def test_reading_an_address_that_writes_does_nothing(client, path):
    assert client.get(path)[0] == 405


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "POSTS"])
def test_other_methods_are_not_known(client, method):
    assert client.ask(method, "/api/enter", {})[0] == 405


def test_no_answer_lets_another_origin_read(client):
    for answer in (client.get("/"), client.get("/api/runs"), client.post("/api/enter"),
                   client.post("/api/enter", Origin="http://evil.example")):  # fmt: skip
        names = {name.lower() for name in answer[1]}
        assert not any(name.startswith("access-control") for name in names)


# stopping: the safe direction


def test_stop_needs_no_token_but_a_page_of_ours(client):
    assert client.post("/api/stop", X_Emberbed_Token=None)[0] == 202
    assert client.post("/api/stop", X_Emberbed_Token="stale")[0] == 202


def test_stop_is_not_held_up_by_the_rate(client):
    statuses = {client.get("/api/runs", X_Emberbed_Token=None)[0] for _ in range(450)}
    assert 429 in statuses
    assert client.post("/api/stop")[0] == 202


# the WebSocket


def test_live_opens_for_our_own_page(client):
    with open_live(client) as live:
        assert live.subprotocol == "emberbed"
        assert json.loads(live.recv(timeout=10))["desk"] == {"state": "idle"}


@pytest.mark.parametrize(
    "changed",
    [
        {"origin": "http://evil.example"},
        {"origin": None},
        {"origin": "null"},
        {"host": "evil.example"},
        {"token": ""},
        {"token": "0" * 32},
        {"Sec-Fetch-Site": "cross-site"},
    ],
)
def test_a_hijacked_socket_is_not_opened(client, changed):
    with pytest.raises(InvalidStatus) as refused, open_live(client, **changed):
        pass
    assert refused.value.response.status_code == 403


def test_only_so_many_pages_watch_and_stop_still_works(client):
    with ExitStack() as watching:
        for _ in range(MOST_LIVE):
            watching.enter_context(open_live(client))
        with pytest.raises(InvalidStatus), open_live(client):
            pass
        assert client.post("/api/stop")[0] == 202
    with open_live(client) as live:
        live.recv(timeout=10)


def test_a_socket_takes_no_long_messages(client):
    with open_live(client) as live:
        live.recv(timeout=10)
        live.send("x" * 70_000)
        with pytest.raises(Exception, match="1009|too big|close"):
            for _ in range(50):
                live.recv(timeout=5)


# size and content


def test_a_long_body_is_refused(client):
    answer = client.ask(
        "POST", "/api/check", b"", client.headers(Content_Length=str(MOST_BODY_BYTES + 1))
    )
    assert (answer[0], why(answer)) == (413, "size")


def test_a_body_without_its_length_is_refused(client):
    with socket.create_connection(("127.0.0.1", client.server.port), timeout=10) as raw:
        lines = [f"{name}: {content}" for name, content in client.headers().items()]
        head = ["POST /api/check HTTP/1.1", *lines, "Transfer-Encoding: chunked", "", ""]
        raw.sendall("\r\n".join(head).encode() + b"2\r\n{}\r\n0\r\n\r\n")
        assert b" 413 " in raw.recv(4096).splitlines()[0]


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'"x"', b"null", b"[" * 30_000, b"\xff\xfe"])
def test_a_body_that_is_no_object_is_not_understood(client, body):
    status, _headers, said = client.ask("POST", "/api/answer", body)
    assert (status, len(json.loads(said)["sentences"])) == (400, 1)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../serve.py",
        "/static/%2e%2e/serve.py",
        "/static/..%2fserve.py",
        "/static//etc/passwd",
        "/static/%00",
    ],
)
def test_nothing_outside_the_static_folder_is_served(client, path):
    status, _headers, body = client.get(path)
    assert status in (400, 403, 404)
    assert b"uvicorn" not in body and b"root:" not in body


def test_every_answer_has_the_protecting_headers(client):
    for answer in (client.get("/"), client.get("/static/page.js"), client.get("/api/runs"),
                   client.get("/nowhere"), client.post("/api/enter", Origin="null")):  # fmt: skip
        headers = {name.lower(): content for name, content in answer[1].items()}
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"


def test_the_cookie_is_strict_and_out_of_reach_of_scripts(client):
    cookie = client.post("/api/enter")[1]["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie


def test_the_token_is_of_128_bits_and_new_at_each_start(serving):
    first, second = serving(), serving()
    assert len(bytes.fromhex(first.token)) == 16
    assert first.token != second.token
    assert second.post("/api/enter", X_Emberbed_Token=first.token)[0] == 401


def test_the_page_listens_on_this_computer_only(client):
    listening = client.server._sockets[0].getsockname()
    assert listening[0] == "127.0.0.1"


def test_the_rate_fills_again():
    now_s = [0.0]
    rate = security.Rate(lambda: now_s[0])
    assert all(rate.allows() for _ in range(int(security.BURST)))
    assert not rate.allows()
    now_s[0] += 1.0
    assert sum(rate.allows() for _ in range(100)) == int(security.REQUESTS_PER_S)
