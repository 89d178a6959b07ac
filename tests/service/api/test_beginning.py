"""What pages of other sites make a browser ask for begins nothing; the fields are those of the
standard (Fetch Metadata Request Headers, section 2; Fetch, 3.9)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.service.api.harness import Served, serving

ASK = "/puzzles/2x2x2/ask?cycle=UFR,UBL,DFR"
SHEET = "/puzzles/2x2x2/sheet?cycle=UFR,UBL,DFR"
TABLE = "/puzzles/2x2x2/sheet?start=UFR&work=1"
HTML = {"Accept": "text/html"}
#: What a browser says of an <img> in a page of another site, of a frame there, and of a link there.
IMAGE = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"}
FRAME = {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}
LINK = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
AHEAD = {**LINK, "Sec-Purpose": "prefetch;prerender"}
OWN = {"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Mode": "cors", "Sec-Fetch-Dest": "empty"}
TYPED = {"Sec-Fetch-Site": "none", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service that is asked for nothing that it may begin."""
    with serving(tmp_path_factory.mktemp("quiet")) as own:
        yield own


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """Return a service of whose jobs nobody does any."""
    with serving(tmp_path) as own:
        yield own


def begun(served: Served) -> int:
    """Return how many shards wait for workers."""
    return len(served.store.jobs.waiting(10))


@pytest.mark.parametrize(
    "address",
    [
        *(ASK, f"/api{ASK}", SHEET, f"/api{SHEET}", TABLE, f"/api{TABLE}"),
        *("/puzzles/2x2x2", "/api/puzzles/2x2x2/parts", "/api/puzzles/2x2x2/method"),
    ],
)
def test_nothing_is_begun_for_other_sites(quiet: Served, address: str) -> None:
    accept = {} if address.startswith("/api") else HTML
    for fields in (IMAGE, FRAME):
        reply = quiet.client.get(address, headers={**fields, **accept})
        assert "nothing is begun for a page of another site" in reply.text.lower(), address
        assert "open this address itself" in reply.text
    reply = quiet.client.get(address, headers={**AHEAD, **accept})
    assert "nothing is begun for a page that is loaded ahead" in reply.text.lower()
    quiet.client.head(address, headers={**IMAGE, **accept})
    assert begun(quiet) == 0


def test_who_opens_a_page_begins_its_search(served: Served) -> None:
    """One after the other, for another search each."""
    large = ASK.replace("2x2x2", "3x3x3")
    own = (ASK, f"{ASK}&any_twist=1", large, f"{large}&free=edge")
    for number, (address, fields) in enumerate(zip(own, ({}, OWN, TYPED, LINK), strict=True), 1):
        reply = served.client.get(address, headers={**fields, **HTML})
        assert (reply.status_code, begun(served)) == (200, number)


def test_what_is_loaded_ahead_is_an_error_which_browsers_drop(quiet: Served) -> None:
    for address in (ASK, SHEET, "/puzzles/2x2x2"):
        assert quiet.client.get(address, headers={**AHEAD, **HTML}).status_code >= 400


def test_what_is_known_is_given(served: Served) -> None:
    """A search that somebody else wants is shown and not joined; one that is done is answered."""
    began = served.client.get(f"/api{ASK}", headers=OWN).json()["search"]
    assert began["askers"] == 1
    served.client.delete(began["href"])
    seen = served.client.get(f"/api{ASK}", headers=IMAGE).json()["search"]
    assert (seen["state"], seen["href"], seen["askers"]) == ("stopped", began["href"], 0)
    assert served.client.get(f"/api{ASK}", headers=OWN).json()["search"]["state"] == "waiting"
    served.finish()
    seen = served.client.get(f"/api{ASK}", headers=IMAGE).json()["search"]
    assert seen["state"] == "done"
    assert seen["answer"]["answers"]
