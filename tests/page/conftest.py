"""A page server of this process on a free port, with its store in a folder of its own."""

import json
from http.client import HTTPConnection
from urllib.parse import quote

import pytest
from rich.console import Console

from emberbed.bench.virtual import VirtualBench
from emberbed.page.run_desk import Bench
from emberbed.page.serve import Asked, PageServer


class Asking:
    """A client that can send what no browser would: every header is its own choice."""

    def __init__(self, server, host="127.0.0.1"):
        self.server = server
        self.token = server.url.partition("#")[2]
        self.host = f"{host}:{server.port}"
        self.address = host

    def headers(self, **changed):
        usual = {
            "Host": self.host,
            "Origin": f"http://{self.host}",
            "Content-Type": "application/json",
            "X-Emberbed-Token": self.token,
        }
        named = {name.replace("_", "-"): content for name, content in changed.items()}
        return {k: v for k, v in {**usual, **named}.items() if v is not None}

    def ask(self, method, path, body=None, headers=None):
        """Return status, headers and body."""
        connection = HTTPConnection(self.address, self.server.port, timeout=20)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        given = self.headers() if headers is None else headers
        raw = (
            b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        )
        if body is not None and "Content-Length" not in given:
            given = {**given, "Content-Length": str(len(raw))}
        for name, content in given.items():
            for one in content if isinstance(content, list) else [content]:
                connection.putheader(name, one)
        connection.endheaders(raw)
        answer = connection.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read()
        connection.close()
        return found

    def post(self, path, body=None, **changed):
        return self.ask("POST", path, {} if body is None else body, self.headers(**changed))

    def send_photo(self, octets, board="printer", note="", kind="image/jpeg", **changed):
        path = f"/api/before-heat/photo?board={quote(board)}&note={quote(note)}"
        return self.ask("POST", path, octets, self.headers(Content_Type=kind, **changed))

    def get(self, path, **changed):
        return self.ask("GET", path, None, self.headers(Content_Type=None, Origin=None, **changed))


@pytest.fixture
def serving(tmp_path):
    """Return a function that starts a server and gives a client for it."""
    ends = []

    def start(**asked):
        bench = Bench("virtual", VirtualBench(speed="max"), tmp_path / "runs.sqlite")
        server = PageServer(Asked(bench, tmp_path / "profiles", **asked), Console(quiet=True))
        ends.append(server.in_background())
        return Asking(server)

    yield start
    for end in ends:
        end()


@pytest.fixture
def client(serving):
    return serving()
