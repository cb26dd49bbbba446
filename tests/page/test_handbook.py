"""The handbook at the page's address: all of it, nothing beside it, and a place for every trip."""

import pytest

from emberbed.handbook.places import slug
from emberbed.handbook.write import handbook
from emberbed.page.facts import TRIP_PAGE
from emberbed.page.security import POLICY
from emberbed.trip_titles import TRIP_TITLES

KINDS = {".html": "text/html", ".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png"}


def test_all_of_it_is_served_to_a_browser_without_a_token(client):
    for path, content in handbook().items():
        status, headers, body = client.get(f"/handbook/{path}", X_Emberbed_Token=None)
        assert status == 200, path
        kind = headers["content-type"].partition(";")[0]
        assert kind == KINDS.get(path[path.rindex(".") :], kind), path
        assert headers["content-security-policy"] == POLICY
        assert body == (content.encode() if isinstance(content, str) else content.read_bytes())


def test_its_first_page_is_where_one_begins(client):
    assert client.get("/handbook/")[2] == client.get("/handbook/index.html")[2]


@pytest.mark.parametrize(
    "path", ["none.html", "../app.py", "..%2f..%2fapp.py", "%2fetc%2fpasswd", "index.md", "files/"]
)
def test_nothing_else_is_there(client, path):
    status, _headers, body = client.get(f"/handbook/{path}")
    assert (status, b"import" in body, b"root:" in body) == (404, False, False)


def test_it_is_read_only(client):
    assert client.post("/handbook/index.html")[0] == 405


def test_another_name_for_this_computer_is_not_let_in(client):
    assert client.get("/handbook/index.html", Host="elsewhere.example")[0] == 403


@pytest.mark.parametrize("title", TRIP_TITLES.values())
def test_every_trip_has_a_place_that_the_banner_can_lead_to(title):
    name, _, place = (TRIP_PAGE + slug(title)).removeprefix("/handbook/").partition("#")
    text = handbook()[name]
    assert isinstance(text, str) and f'id="{place}"' in text
