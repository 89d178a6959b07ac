"""Pages as they are sent: what stands in them without the script, and what is refused."""

from __future__ import annotations

import gzip
import re
import time
from contextlib import suppress
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

import puzzles
from service.api.compressing import takes_gzip
from service.api.problems import ProblemError
from service.pages.clubs import result_of
from service.pages.problems import prefers_html
from service.pages.statics import FOLDER, TYPES, statics
from service.pages.wording import only_here
from tests.service.api.harness import Served

CATALOGUE = Path(puzzles.__file__).parent / "catalogue"
MARKUP = "<b onclick=alert(1)>\"bold\"</b> & 'quoted'"
#: As the brief of the policy has it: nothing inline, nothing from elsewhere.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


class _Seen(HTMLParser):
    """What stands in a page: its tags, the addresses in it, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())

    def addresses(self) -> list[str]:
        named = ("href", "src", "action", "data-follow", "data-page")
        return [own[name] or "" for _, own in self.tags for name in named if name in own]


def seen(reply: httpx.Response, status: int = 200) -> _Seen:
    """Return what stands in a page, having looked at what all pages promise."""
    assert reply.status_code == status, reply.text
    assert reply.headers["Content-Type"] == "text/html; charset=utf-8"
    policy = [one.split(maxsplit=1) for one in reply.headers["Content-Security-Policy"].split(";")]
    assert dict(policy) == POLICY
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    assert reply.headers["Referrer-Policy"] in ("no-referrer", "same-origin")
    page = _Seen(reply.text)
    assert [tag for tag, _ in page.tags].count("h1") == 1
    assert [tag for tag, _ in page.tags].count("main") == 1
    assert not [own for _, own in page.tags if "style" in own]
    assert not [name for _, own in page.tags for name in own if name.startswith("on")]
    assert "style" not in {tag for tag, _ in page.tags}
    assert all("src" in own for tag, own in page.tags if tag == "script")
    hosts = [one for one in page.addresses() if not one.startswith(("/", "#"))]
    assert all(one.startswith("http://127.0.0.1:") for one in hosts), hosts
    return page


def test_the_catalogue_names_every_puzzle(site: Served) -> None:
    page = seen(site.client.get("/"))
    listed = site.client.get("/api/puzzles").json()["puzzles"]
    for own in listed:
        assert f"/puzzles/{own['name']}" in page.addresses()
        assert own["description"] in page.text
    # Counted by hand: 8 corners, 12 edges and 6 centres.
    assert "26 pieces: 8 corners, 12 edges, 6 centres" in page.text


def test_a_puzzle_is_opened_by_its_name(site: Served) -> None:
    opened = site.client.get("/puzzles", params={"puzzle": " 3x3x3 "})
    assert (opened.status_code, opened.headers["Location"]) == (303, "/puzzles/3x3x3")
    assert site.client.get("/puzzles").headers["Location"] == "/"
    page = seen(site.client.get("/puzzles", params={"puzzle": MARKUP}), 404)
    assert [own["value"] for _, own in page.tags if "value" in own] == [MARKUP]
    assert "catalogue" in page.text


def test_a_puzzles_page_has_its_pieces_at_once_and_the_rest_in_the_end(site: Served) -> None:
    """What is impossible on a 3x3x3 is common practice: an odd swap, and a single twist."""
    first = seen(site.client.get("/puzzles/3x3x3"))
    assert "8 corners" in first.text
    parts = site.client.get("/api/puzzles/3x3x3/parts", headers={"Prefer": "wait=15"}).json()
    page = seen(site.client.get("/puzzles/3x3x3"))
    for effect in parts["effects"]:
        assert effect["notation"] in page.text
    assert "Impossible: two of them swapped. An odd rearrangement of the corners" in page.text
    assert "Impossible: one of them twisted. The twists of the corners" in page.text
    assert "43,252,003,274,489,856,000" in page.text.replace(", ", ",")
    assert not [own for _, own in page.tags if "data-follow" in own]


def test_where_no_sequence_is_kept_one_can_ask_for_one(site: Served) -> None:
    """The corners of the bandaged puzzle: none is shipped for them."""
    for _ in range(30):
        text = site.client.get("/puzzles/3x3x3-bandaged").text
        if "This is being worked out" not in text:
            break
        time.sleep(1)
    assert re.search('no sequence is kept for it. <a href="/puzzles/3x3x3-bandaged/ask">', text)


def test_what_is_being_worked_out_has_a_link_to_look_again(site: Served) -> None:
    waiting = seen(site.client.get("/puzzles/hexagonal-prism"))
    section = next(own for _, own in waiting.tags if "data-follow" in own)
    assert section["data-page"] == "/puzzles/hexagonal-prism"
    assert site.client.get(section["data-follow"] or "").json()["question"] == {
        "puzzle": "hexagonal-prism"
    }
    links = [own.get("href") for tag, own in waiting.tags if tag == "a"]
    assert "/puzzles/hexagonal-prism" in links


def test_a_result_is_read_copied_and_sent_on(site: Served, found: str) -> None:
    report = site.client.get(f"/api{found}").json()
    page = seen(site.client.get(found))
    for own in report["answers"]:
        assert own["notation"] in page.text
        assert own["why"] in page.text
        assert own["sequence"] in page.text
        assert own["sequence"] in [tag.get("data-copy") for _, tag in page.tags]
    assert all(motion in page.text for motion in report["answers"][0]["motions"])
    link = f"{site.client.base_url}{found}"
    assert link in [own.get("value") for tag, own in page.tags if tag == "input"]
    assert "the link leads to this very machine" in page.text
    assert f"/api{found}" in page.addresses()
    for own in report["answers"]:
        written = 2 * sum(len(own[part].split()) for part in ("setup", "a", "b"))
        said = f"{own['turns']} turns; {written} as the brackets write them"
        assert (said in page.text) == (written != own["turns"]), own["notation"]
    pictures = [own["src"] or "" for tag, own in page.tags if tag == "img"]
    picture = next(one for one in pictures if "cycle=" in one)
    assert "marker" in site.client.get(picture).text or "path" in site.client.get(picture).text


@pytest.mark.parametrize(
    ("link", "own"),
    [
        ("http://127.0.0.1:8000/results/1", True),
        ("http://[::1]:8000/", True),
        ("http://localhost/", True),
        ("http://192.168.1.7:8000/", False),
        ("https://trefoil.example/", False),
        ("http://[::1/", False),
    ],
)
def test_links_that_lead_every_machine_to_itself(link: str, own: bool) -> None:
    assert only_here(link) is own


def test_a_cycle_that_is_no_image_is_said_on_a_page(site: Served, found: str) -> None:
    digest = found.partition("?")[0]
    page = seen(site.client.get(digest, params={"cycle": "UFR,UBL,XYZ"}), 422)
    assert "XYZ" in page.text
    seen(site.client.get("/results/" + "0" * 64), 404)


def test_a_sequence_is_read(site: Served) -> None:
    sequence = "L [[U: [L2: U']], F2] L'"
    page = seen(site.client.get("/puzzles/3x3x3/read", params={"sequence": sequence}))
    told = site.client.post(
        "/api/puzzles/3x3x3/readings", json={"sequence": sequence}, headers={"Accept": "*/*"}
    ).json()
    assert told["tree"]["notation"] in page.text
    assert f"({' '.join(told['cycles'][0])})" in page.text
    assert told["inverse"]["sequence"] in page.text
    assert "A and B share" in page.text
    assert sequence in page.texts, "it stands in the form as it was given"
    (href,) = [one for one in page.addresses() if one.startswith("/api/puzzles/3x3x3/read?")]
    assert site.client.get(href).json() == told


@pytest.mark.parametrize("sequence", ["R Q", "(" * 500, "R" + "é" * 20, MARKUP, "\x00"])
def test_nonsense_is_said_and_kept(site: Served, sequence: str) -> None:
    page = seen(site.client.get("/puzzles/3x3x3/read", params={"sequence": sequence}), 422)
    alert = [own for _, own in page.tags if own.get("role") == "alert"]
    assert alert
    assert sequence.strip() in "".join(page.texts) or sequence == "\x00"
    assert next(own for tag, own in page.tags if tag == "textarea")["aria-invalid"] == "true"


def test_a_sequence_that_cancels_changes_nothing(site: Served) -> None:
    page = seen(site.client.get("/puzzles/3x3x3/read", params={"sequence": "R R'"}))
    assert "no piece is moved or twisted" in page.text
    seen(site.client.get("/puzzles/3x3x3/read"))


# --- Problems -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "status"), [("/puzzles/nix", 404), ("/nothing", 404), ("/static/x/y.js", 404)]
)
def test_problems_are_pages_for_browsers_alone(site: Served, address: str, status: int) -> None:
    seen(site.client.get(address), status)
    for accept in ("*/*", "application/json", "application/problem+json, text/html;q=0.5"):
        reply = site.client.get(address, headers={"Accept": accept})
        assert reply.headers["Content-Type"] == "application/problem+json"
        assert reply.json()["status"] == status
    machine = site.client.get(f"/api{address}")
    assert machine.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("accept", "html"),
    [
        # RFC 9110, 12.5.1: the most exact range says how much something is liked.
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", True),
        ("*/*", False),
        ("", False),
        ("application/json", False),
        ("text/html;q=0.3, application/json", False),
        ("text/html;q=0, */*", False),
        ("text/html, */*", True),
        ("text/*, application/json;q=0.2", True),
        ("text/html;q=nonsense", False),
    ],
)
def test_who_prefers_pages(accept: str, html: bool) -> None:
    assert prefers_html([accept]) is html


def test_other_methods_and_head(site: Served) -> None:
    reply = site.client.post("/puzzles/3x3x3")
    assert seen(reply, 405)
    assert reply.headers["Allow"] == "GET, HEAD, OPTIONS"
    head = site.client.head("/puzzles/3x3x3")
    assert (head.status_code, head.content) == (200, b"")
    missing = site.client.head("/puzzles/nix")
    assert (missing.status_code, missing.content) == (404, b"")


def test_links_in_the_log_are_templates(site: Served) -> None:
    site.client.get("/clubs/mistyped")
    text = site.client.get("/metrics").text
    assert 'route="/clubs/{key}"' in text
    assert "mistyped" not in text


# --- Files --------------------------------------------------------------------------------------


def test_files_are_kept_and_never_changed(site: Served) -> None:
    for path in FOLDER.iterdir():
        if path.suffix not in TYPES:
            continue
        reply = site.client.get(statics().href(path.name))
        assert reply.content == path.read_bytes()
        assert reply.headers["Cache-Control"] == "public, max-age=31536000, immutable"
        assert (
            reply.headers["Content-Type"].partition(";")[0] == TYPES[path.suffix].partition(";")[0]
        )
        assert reply.headers["X-Content-Type-Options"] == "nosniff"
    for address in (f"/static/{'0' * 16}/page.css", f"/static/{statics().digest}/../frame.py"):
        assert site.client.get(address).status_code == 404


def test_text_is_compressed_for_whoever_takes_it(site: Served) -> None:
    for address in (
        "/",
        "/api/puzzles",
        statics().href("page.css"),
        "/api/puzzles/3x3x3/picture.svg",
    ):
        small = site.client.get(address)
        assert small.headers["Content-Encoding"] == "gzip"
        assert "Accept-Encoding" in small.headers["Vary"]
        whole = site.client.get(address, headers={"Accept-Encoding": "identity"})
        assert "Content-Encoding" not in whole.headers
        assert whole.content == small.content
        assert int(small.headers["Content-Length"]) < len(whole.content)
        assert len(gzip.compress(whole.content)) * 1.1 > int(small.headers["Content-Length"])
    tiny = site.client.get("/livez")
    assert "Content-Encoding" not in tiny.headers


def test_tags_of_compressed_bodies_come_back(site: Served) -> None:
    """RFC 9110, 8.8.3: what is encoded otherwise has another strong tag."""
    address = "/api/puzzles/3x3x3/picture.svg"
    small, whole = (
        site.client.get(address, headers={"Accept-Encoding": one}) for one in ("gzip", "identity")
    )
    assert small.headers["ETag"] != whole.headers["ETag"]
    for reply in (small, whole):
        again = site.client.get(address, headers={"If-None-Match": reply.headers["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["ETag"] == reply.headers["ETag"]


@pytest.mark.parametrize(
    ("field", "taken"),
    [
        ("gzip", True),
        ("br, *", True),
        ("gzip;q=0", False),
        ("br", False),
        ("", False),
        ("GZIP;q=0.5", True),
    ],
)
def test_who_takes_gzip(field: str, taken: bool) -> None:
    assert takes_gzip([field]) is taken


# --- Clubs --------------------------------------------------------------------------------------


def post(site: Served, address: str, fields: dict[str, str], **headers: str) -> httpx.Response:
    """Post a form as a page of the service does."""
    sent = {"Sec-Fetch-Site": "same-origin", **{k.replace("_", "-"): v for k, v in headers.items()}}
    return site.client.post(address, data=fields, headers=sent)


@pytest.fixture(scope="module")
def club(site: Served) -> dict[str, str]:
    """Return the addresses of a club's shelf by role; its name is markup."""
    page = seen(post(site, "/clubs", {"name": MARKUP}), 201)
    links = [one for one in page.addresses() if re.fullmatch(r"/clubs/[\w-]{40,}", one)]
    assert len(links) == 3
    return dict(zip(("read", "add", "keep"), links, strict=True))


def test_founding_shows_the_links_once(site: Served, club: dict[str, str]) -> None:
    for link in club.values():
        reply = site.client.get(link)
        assert seen(reply).texts
        assert unescape(MARKUP) in "".join(_Seen(reply.text).texts), "the name is text"
        assert reply.headers["Cache-Control"] == "private, no-store"
        assert reply.headers["X-Robots-Tag"] == "noindex"
        assert reply.headers["Referrer-Policy"] == "no-referrer"
    assert seen(site.client.get("/clubs/" + "A" * 43), 404)
    assert seen(post(site, "/clubs", {"name": ""}), 422)
    assert seen(post(site, "/clubs", {"name": "x" * 81}), 422)


def test_what_is_added_is_on_the_shelf(site: Served, club: dict[str, str], found: str) -> None:
    link = f"{site.client.base_url}{found}"
    for fields in (
        {
            "kind": "note",
            "text": f"First\nsecond {MARKUP}",
            "by": MARKUP,
            "puzzle": "3x3x3",
            "type": "edges",
        },
        {"kind": "puzzle", "puzzle": "3x3x3", "state": "understood"},
        {"kind": "puzzle", "puzzle": "3x3x3", "state": "solved", "by": "", "text": ""},
        {"kind": "result", "link": link, "text": "short"},
    ):
        reply = post(site, club["add"], {"do": "share", **fields})
        assert (reply.status_code, reply.headers["Location"]) == (303, club["add"])
    page = seen(site.client.get(club["read"]))
    assert MARKUP in "".join(page.texts)
    assert re.search(r"3x3x3 ◑ solved \d{4}-\d\d-\d\d on the shelf", page.text), "said last"
    assert "how far you were before: 1" in page.text
    assert "2x2x2 ○ new on the shelf" in page.text
    assert found in page.addresses()
    assert not [own for tag, own in page.tags if tag == "form" and own.get("method") == "post"]
    some = seen(site.client.get(club["read"], params={"puzzle": "3x3x3", "type": "edge"}))
    assert "A note" in some.text
    assert found not in some.addresses()
    told = site.client.get(f"/api{club['read']}").json()
    assert [item["state"] for item in told["items"]] == [None, "understood", "solved", None]


def test_a_posted_puzzle_on_a_shelf_is_described(site: Served, club: dict[str, str]) -> None:
    """Its address says nothing to anybody; the words of its file do, and are text."""
    file = (CATALOGUE / "3x3x3-halves.toml").read_text()
    said = "A <b onclick=alert(1)>3x3x3</b> of ours"
    own = re.sub("^description = .*$", f'description = "{said}"', file, flags=re.MULTILINE)
    posted = {"Accept": "*/*", "Prefer": "wait=20"}
    told = site.client.post("/api/puzzles", json={"file": own}, headers=posted)
    assert told.status_code in (200, 201), told.text
    name = told.json()["name"]
    post(site, club["add"], {"do": "share", "kind": "puzzle", "puzzle": name})
    page = seen(site.client.get(club["read"]))
    assert f"{said} ○ new on the shelf about {said} {name}" in page.text
    chosen = rf"puzzle all (\S+ )*{re.escape(said)} "
    assert re.search(chosen, page.text), "it can be chosen by its words"
    assert f"{said} {name}" in seen(site.client.get(f"/puzzles/{name}")).text
    heads = {
        "ask": "Ask for a cycle on",
        "read": "Read a sequence on",
        "cover": "A favourite on",
        "bench": "The bench for",
        "finish": "The last pieces of",
        "solve": "A whole solve of",
        "sheet": "A sheet to print about",
        "practice": "Practice on",
    }
    for place, words in heads.items():
        assert f"{words}: {said}" in seen(site.client.get(f"/puzzles/{name}/{place}")).text, place


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"do": "share", "kind": "note"}, "text is missing"),
        ({"do": "share", "kind": "puzzle", "puzzle": "nix"}, "nix"),
        ({"do": "share", "kind": "puzzle", "puzzle": "3x3x3", "state": "lost"}, "state"),
        ({"do": "share", "kind": "result", "link": "http://[::1/x"}, "a link to a result"),
        ({"do": "share", "kind": "result", "link": "/results/123"}, "a link to a result"),
        ({"do": "share", "kind": MARKUP}, "kind"),
        ({"do": "fly"}, "what is to be done"),
        ({}, "what is to be done"),
    ],
)
def test_what_is_wrong_with_a_form_is_said_on_the_shelf(
    site: Served, club: dict[str, str], fields: dict[str, str], said: str
) -> None:
    page = seen(post(site, club["add"], {**fields, "by": "somebody"}), 422)
    assert said in page.text.lower()
    if fields.get("kind") in ("note", "puzzle", "result"):
        assert "somebody" in [own.get("value") for tag, own in page.tags if tag == "input"]


def test_links_allow_what_they_are_for(site: Served, club: dict[str, str]) -> None:
    note = {"do": "share", "kind": "note", "text": "x"}
    seen(post(site, club["read"], note), 403)
    for fields in ({"do": "rename", "name": "x"}, {"do": "take off", "number": "1"}):
        seen(post(site, club["add"], fields), 403)


def test_keeping_house(site: Served) -> None:
    page = seen(post(site, "/clubs", {"name": "Friday"}), 201)
    _, add, keep = [one for one in page.addresses() if re.fullmatch(r"/clubs/[\w-]{40,}", one)]
    post(site, add, {"do": "share", "kind": "note", "text": "one", "by": "me"})
    post(site, add, {"do": "share", "kind": "puzzle", "puzzle": "2x2x2"})
    assert post(site, keep, {"do": "change", "number": "1", "text": "other"}).status_code == 303
    assert post(site, keep, {"do": "change", "number": "2", "state": "taught"}).status_code == 303
    page = seen(site.client.get(keep, params={"change": "1"}))
    assert "other" in page.text
    assert "by me" not in page.text
    assert "● taught" in page.text
    seen(post(site, keep, {"do": "change", "number": "1", "text": "x", "state": "new"}), 422)
    seen(post(site, keep, {"do": "change", "number": "99", "text": "x"}), 404)
    seen(post(site, keep, {"do": "change", "number": "x"}), 422)
    assert post(site, keep, {"do": "take off", "number": "1"}).status_code == 303
    assert post(site, keep, {"do": "rename", "name": "Saturday"}).status_code == 303
    assert "Saturday" in seen(site.client.get(add)).text
    seen(post(site, keep, {"do": "replace", "role": "add"}), 422)
    seen(site.client.get(add))
    made = seen(post(site, keep, {"do": "replace", "role": "add", "sure": "1"}), 201)
    other = next(one for one in made.addresses() if re.fullmatch(r"/clubs/[\w-]{40,}", one))
    seen(site.client.get(add), 404)
    seen(site.client.get(other))
    seen(post(site, keep, {"do": "withdraw", "role": "add"}), 422)
    seen(site.client.get(other))
    assert post(site, keep, {"do": "withdraw", "role": "add", "sure": "1"}).status_code == 303
    seen(post(site, keep, {"do": "replace", "role": "add"}), 201)
    seen(site.client.get(other), 404)
    seen(post(site, keep, {"do": "withdraw", "role": "king"}), 422)
    seen(post(site, keep, {"do": "remove", "name": "Friday"}), 422)
    assert post(site, keep, {"do": "remove", "name": "Saturday"}).headers["Location"] == "/clubs"
    seen(site.client.get(keep), 404)


def test_forms_of_other_sites_are_refused(site: Served, club: dict[str, str]) -> None:
    """Fetch Metadata Request Headers (W3C), and Origin where a browser does not send them."""
    host = str(site.client.base_url)
    note = {"do": "share", "kind": "note", "text": "x"}

    def sent(address: str, fields: dict[str, str], headers: dict[str, str]) -> int:
        return site.client.post(address, data=fields, headers=headers).status_code

    assert sent(club["add"], note, {"Sec-Fetch-Site": "cross-site"}) == 403
    assert sent(club["add"], note, {"Sec-Fetch-Site": "same-site"}) == 403
    assert sent(club["add"], note, {"Origin": "https://elsewhere.example"}) == 403
    assert sent(club["add"], note, {"Origin": host}) == 303
    assert sent(club["add"], note, {"Origin": "null"}) == 303, (
        "its address is known to the club alone"
    )
    for headers in ({}, {"Origin": "null"}, {"Origin": "http://127.0.0.1:1"}):
        assert sent("/clubs", {"name": "x"}, headers) == 403
    assert sent("/clubs", {"name": "x"}, {"Origin": host}) == 201


def test_forms_are_forms(site: Served, club: dict[str, str]) -> None:
    headers = {"Sec-Fetch-Site": "same-origin"}
    seen(site.client.post(club["add"], json={"do": "share"}, headers=headers), 415)
    own = {**headers, "Content-Type": "application/x-www-form-urlencoded"}
    for body in (b"\xff\xfe", b"a", b"&".join(b"a=b" for _ in range(100)), b"text=%ff"):
        assert site.client.post(club["add"], content=body, headers=own).status_code in (400, 422)
    # The API takes JSON alone, which no form of another site can send.
    assert site.client.post("/api/clubs", data={"name": "x"}).status_code == 415


@given(st.text(max_size=200))
def test_links_to_results_are_read_or_refused(text: str) -> None:
    with suppress(ProblemError):
        assert set(result_of(text)) <= {"result", "cycle", "most", "left_handed"}


def test_what_a_sequence_reaches_is_one_link_away(site: Served, found: str) -> None:
    parts = site.client.get("/api/puzzles/2x2x2/parts", headers={"Prefer": "wait=10"})
    pages = [found, "/puzzles/2x2x2/read?sequence=[R+U+R',+F]"]
    for page in [*pages, *(["/puzzles/2x2x2"] if parts.status_code == 200 else [])]:
        links = [one for one in seen(site.client.get(page)).addresses() if "/cover?" in one]
        assert links, page
        assert "It reaches" in seen(site.client.get(links[0])).text, page
    nothing = seen(site.client.get("/puzzles/2x2x2/read?sequence=R+R2+R"))
    assert not [one for one in nothing.addresses() if "/cover?" in one]
