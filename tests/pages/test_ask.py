"""Asking: what stands without the script, and in a browser by mouse, keyboard and touch."""

from __future__ import annotations

import random
import re
import time
from collections import Counter
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from puzzles import load
from puzzles.names import read_cycle
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from search.impossible import reason
from search.request import request
from search.wanted import read_effect
from service.api.asking import wish
from service.reports import puzzle as in_short
from service.sequences import stored
from service.stores import NoLevels
from tests.pages.everybody import PHONE, WIDE, axe, for_everybody, unfolded
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import MOST_BYTES, Visit, visiting
from tests.service.api.harness import Served, serving

CYCLE = ["UFR", "UBL", "DFR"]
ASKED = "/puzzles/2x2x2/ask?cycle=UFR,UBL,DFR"
SWAPS = "(UFR UFL)(UBR UBL)"
#: Milliseconds in which a search of the 2x2x2 is over, on a slow machine.
PATIENCE = 20_000


@pytest.fixture(scope="module")
def warm(site: Served) -> Served:
    """Return a service that has searched what the tests ask for."""
    question = {"puzzle": "2x2x2", "cycle": CYCLE}
    assert site.post(question, prefer="wait=20").json()["state"] == "done"
    return site


def opened(visit: Visit, address: str) -> Any:
    """Open the page, wait until the script has it, and return it."""
    visit.open(address)
    visit.page.wait_for_selector("#ask[data-ready]")
    return visit.page


def point(page: Any, name: str) -> tuple[float, float]:
    """Return where on the page a sticker is to be clicked, which the drawing shows."""
    told = page.evaluate(
        """async (name) => {
          const own = document.querySelector('script[src*="/ask.js"]').src;
          const { Drawing } = await import(own.replace("ask.js", "drawing.js"));
          const stage = document.querySelector("#stage");
          const data = await (await fetch(stage.dataset.drawing)).json();
          const canvas = stage.querySelector("canvas");
          const twin = canvas.cloneNode();
          canvas.replaceWith(twin);
          const drawing = new Drawing(twin, data);
          const sticker = data.stickers.placement.indexOf(data.placements.indexOf(name));
          const { x, y, seen } = drawing.whereIs(sticker);
          drawing.destroy();
          twin.replaceWith(canvas);
          const box = canvas.getBoundingClientRect();
          return { x: x + box.left, y: y + box.top, seen }; }""",
        name,
    )
    assert told["seen"]
    return told["x"], told["y"]


# --- what an address asks for -------------------------------------------------------------------


def test_an_address_with_nonsense_keeps_the_rest() -> None:
    told = in_short(load("3x3x3"))
    given = [
        ("cycle", "UFR → UBL, DFL"),
        ("free", "edge,wheel"),
        ("layers", "U R"),
        ("layers", "Q"),
        ("matters", "beauty"),
        ("any_twist", "1"),
        ("nothing", "at all"),
    ]
    own = wish(given, told)
    assert own.cycle == ("UFR", "UBL", "DFL")
    assert own.free == ("edge",)
    assert own.layers == ("U", "R")
    assert own.matters == ""
    assert own.ticks == {"any_twist"}
    assert [text.split(":")[0] for text in own.wrong] == ["layers", "free", "matters"]
    question = own.question("3x3x3")
    assert question.layers == ["U", "R"]
    assert question.free == ["edge"]
    assert question.any_twist


def test_all_layers_are_no_wish() -> None:
    """A form without the script sends every tick; that is the same question as without any."""
    told = in_short(load("3x3x3"))
    every = [("layers", name) for name in "UDFBLR"]
    cycle = [("cycle", "UFR,UBL,DFL")]
    assert wish(cycle + every, told).question("3x3x3") == wish(cycle, told).question("3x3x3")


def test_cycles_in_brackets_are_an_effect() -> None:
    told = in_short(load("3x3x3"))
    for given in (
        [("effect", SWAPS)],
        [("cycle", f" {SWAPS} ")],
        [("effect", SWAPS), ("cycle", "")],
    ):
        own = wish([*given, ("any_twist", "1"), ("free", "edge")], told)
        assert (own.effect, own.cycle, own.wrong, own.text) == (SWAPS, (), (), SWAPS)
        question = own.question("3x3x3")
        assert (question.effect, question.cycle, question.any_twist) == (SWAPS, None, True)
        assert own.query == {"effect": SWAPS, "free": "edge", "any_twist": "1"}
    both = wish([("effect", SWAPS), ("cycle", "UFR,UBL,DFL")], told)
    assert both.effect == SWAPS
    assert [text.split(":")[0] for text in both.wrong] == ["cycle"]


@pytest.mark.parametrize(
    ("query", "said", "status"),
    [
        ({"cycle": "UFR,UBL"}, "2 names were given; three were expected", 422),
        ({"cycle": f"UFR,UBL,{MARKUP}"}, "names were given; three were expected", 422),
        ({"cycle": "UFR,UBL,XYZ"}, "XYZ", 422),
        ({"cycle": "UFR,UBL,DFR", "matters": MARKUP}, "one of turns layers memory hands", 200),
        ({"matters": "x"}, "one of turns layers memory hands was expected", 422),
        ({"effect": "(UFR"}, "cycles in brackets were expected", 422),
        ({"cycle": "(UFR XYZ)"}, "XYZ", 422),
        ({"effect": f"({MARKUP} UFR)"}, "UFR", 422),
    ],
)
def test_nonsense_is_said(warm: Served, query: dict[str, str], said: str, status: int) -> None:
    page = warm.client.get("/puzzles/2x2x2/ask", params=query)
    assert page.status_code == status
    assert said in page.text
    assert "<b onclick" not in page.text
    assert 'id="wish"' in page.text


def test_an_effect_is_asked_for_without_the_script(warm: Served) -> None:
    """The form sends cycles in brackets in its one field; what comes of them stands in the page."""
    query = {"cycle": SWAPS, "any_twist": "1"}
    told = warm.client.get("/api/puzzles/2x2x2/ask", params=query).json()
    assert told["question"] == {"puzzle": "2x2x2", "effect": SWAPS, "any_twist": True}
    assert told["wish"]["effect"] == SWAPS
    warm.client.get(told["search"]["href"], headers={"Prefer": "wait=20"})
    page = warm.client.get("/puzzles/2x2x2/ask", params=query).text
    assert "6 turns is proven shortest among sequences of any form" in unescape(page)
    assert "may be twisted in any way" in page
    assert "picture.svg?effect=%28UFR+UFL%29%28UBR+UBL%29" in page
    links = [unescape(link) for link in re.findall(r'href="([^"]*result=[^"]*)"', page)]
    assert [urlsplit(link).path.rpartition("/")[2] for link in links] == ["sheet", "practice"]
    for link in links:
        assert parse_qs(urlsplit(link).query)["result"][0].endswith(f":{SWAPS}")
        there = warm.client.get(link)
        assert there.status_code == 200
        assert 'class="wrong"' not in there.text
    impossible = warm.client.get("/puzzles/3x3x3/ask", params={"effect": "(UFR RUF FUR)"})
    assert "Impossible: UFR would be twisted alone" in impossible.text


@pytest.mark.parametrize(
    ("puzzle", "query"),
    [
        ("2x2x2", {"cycle": "LUB,BDR,LDF", "layers": "F"}),
        ("2x2x2", {"cycle": "UFR,DFL,BDR", "layers": "F,R"}),
        ("cube-corners", {"cycle": "LUF,RDF,LDB"}),
        ("cube-corners", {"cycle": "RDB,UFR,FDL"}),
        ("3x3x3", {"cycle": "F,U,R"}),
    ],
)
def test_each_reason_is_said_at_once(warm: Served, puzzle: str, query: dict[str, str]) -> None:
    """Nothing is searched for: the page has the reason that the laws of the puzzle give."""
    own = load(puzzle)
    layers = [own.layer_numbers[name] for name in query.get("layers", "").split(",") if name]
    places = request(own, query["cycle"].split(",")).cycle
    why = reason(own, places, layers or None)
    assert why is not None
    at_once = {"Prefer": "wait=0"}
    page = warm.client.get(f"/puzzles/{puzzle}/ask", params=query, headers=at_once).text
    assert f"Impossible: {why}" in unescape(page)
    told = warm.client.get(f"/api/puzzles/{puzzle}/ask", params=query, headers=at_once).json()
    assert told["search"]["impossible"]


def test_without_the_script(warm: Served) -> None:
    """The answers stand in the page, with everything that the API says of them."""
    page = warm.client.get(ASKED).text
    told = warm.post({"puzzle": "2x2x2", "cycle": CYCLE}, prefer="wait=20").json()
    assert len(told["answer"]["answers"]) > 1
    for own in told["answer"]["answers"]:
        assert own["notation"].replace("'", "&#39;") in page
        assert own["why"].replace("'", "&#39;") in page
    assert told["answer"]["searched"]["text"][1:].rstrip(".") in page
    assert told["result"].removeprefix("/api").replace("&", "&amp;") in page
    assert f'href="/api{ASKED}"' in page, "its JSON"
    beside = warm.client.get(f"/api{ASKED}", headers={"Prefer": "wait=20"}).json()
    assert beside["search"]["answer"] == told["answer"]
    assert beside["search"]["href"] == told["href"]
    assert warm.post(beside["question"], prefer="wait=20").json()["id"] == told["id"]


def test_a_search_that_found_nothing_says_what_may_help(warm: Served) -> None:
    address = "/puzzles/ball-sixths-218/ask?cycle=UFL,UFR,UBL&seconds=1"
    page = ""
    for _ in range(60):
        page = warm.client.get(address).text
        if 'id="none"' in page:
            break
    text = " ".join(re.sub("<[^>]*>", "", unescape(page)).split())
    assert "Nothing was found in 1 s of computing. That is no proof" in text
    assert "Looked at were all sequences X Y Z X' Y' Z' with up to" in text
    links = [unescape(link) for link in re.findall('<li><a href="([^"]*)"', page)]
    ways = [parse_qs(urlsplit(link).query) for link in links if "/ask?" in link]
    asked = {"cycle": ["UFL,UFR,UBL"]}
    others = [kind.name for kind in load("ball-sixths-218").types if kind.name != "tip"]
    assert ways == [
        asked | {"seconds": ["6"]},
        asked | {"seconds": ["1"], "free": [",".join(others)]},
        asked | {"seconds": ["1"], "any_twist": ["1"]},
    ]
    nonsense = warm.client.get("/puzzles/3x3x3/ask?seconds=soon")
    assert nonsense.status_code == 422
    assert "a whole number of seconds was expected" in nonsense.text


@pytest.mark.parametrize("name", ["3x3x3", "ball-sixths-218", "3x3x3-bandaged"])
def test_the_example_is_one_that_is_known(name: str) -> None:
    """A sequence for it is shipped, the shortest of those for three-cycles."""
    puzzle = load(name)
    places = read_cycle(puzzle, tuple(in_short(puzzle)["example"]))
    kept = [own for own in stored(puzzle, NoLevels()).values() if own.kept.effect == "three-cycle"]
    shortest = min(kept, key=lambda own: len(own.word))
    effect = puzzle.effect(shortest.word)
    for place, after in zip(places, [*places[1:], places[0]], strict=True):
        assert effect[place.placement] == after.placement


def test_the_json_beside_the_page(warm: Served) -> None:
    """What can be read is kept, the rest is said, as on the page; without a cycle none is begun."""
    address = "/api/puzzles/2x2x2/ask"
    plain = warm.client.get(address).json()
    assert (plain["search"], plain["question"], plain["wrong"]) == (None, None, [])
    query = {"cycle": "UFR UBL→DFR", "layers": "U R F Q", "matters": "x", "any_twist": "1"}
    told = warm.client.get(address, params=query, headers={"Prefer": "wait=0"}).json()
    assert told["wish"]["cycle"] == CYCLE
    assert told["wish"]["layers"] == [], "these are all"
    assert told["wish"]["any_twist"]
    assert [text.split(":")[0] for text in told["wrong"]] == ["layers", "matters"]
    assert told["question"] == {"puzzle": "2x2x2", "cycle": CYCLE, "any_twist": True}
    for wrong in ({"cycle": "UFR,UBL"}, {"cycle": "UFR,UBL,XYZ"}, {"matters": "x"}, {"what": "x"}):
        reply = warm.client.get(address, params=wrong)
        assert reply.status_code == 422
        assert reply.headers["Content-Type"] == "application/problem+json"
    assert warm.client.get("/api/puzzles/nix/ask").status_code == 404
    # A form without the script has a field for every tick; the link has each once.
    ticked = "cycle=UFR+UBL+DFR&layers=U&layers=R&apart=1&what=x"
    page = warm.client.get(f"/puzzles/2x2x2/ask?{ticked}", headers={"Prefer": "wait=0"}).text
    link = f"{address}?cycle=UFR,UBL,DFR&amp;layers=U,R&amp;apart=1"
    assert f'href="{link}"' in page
    own = warm.client.get(link.replace("&amp;", "&"), headers={"Prefer": "wait=0"}).json()
    assert own["wish"]["layers"] == ["U", "R"]


@pytest.mark.parametrize(
    ("cycle", "said"),
    [
        # Common practice: a corner and an edge never change places.
        ("UFR,UF,UBL", "Impossible: UFR is a corner and UF is an edge"),
        # Common practice: three edges can be cycled.
        ("UF,UR,UB", None),
    ],
)
def test_what_is_impossible_is_said(warm: Served, cycle: str, said: str | None) -> None:
    page = warm.client.get(f"/puzzles/3x3x3/ask?cycle={cycle}", headers={"Prefer": "wait=0"}).text
    assert ("Impossible" in page) == (said is not None)
    assert said is None or said in page


# --- in a browser -------------------------------------------------------------------------------


def test_by_mouse(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/2x2x2/ask")
        said = page.locator("#said")
        for name, text in (("UFR", "two more"), ("UBL", "one more")):
            page.mouse.click(*point(page, name))
            page.locator("#said", has_text=text).wait_for()
        page.mouse.click(*point(page, "UBL"))
        page.locator("#said", has_text="UBL is taken back").wait_for()
        page.mouse.click(*point(page, "UBL"))
        assert page.input_value("#cycle") == "UFR, UBL"
        began = time.monotonic()
        page.mouse.click(*point(page, "UFL"))
        page.locator("#answers li[data-a]").first.wait_for(timeout=PATIENCE)
        assert time.monotonic() - began < PATIENCE
        page.locator("#answers[data-state=done]").wait_for(timeout=PATIENCE)
        assert re.search(r"cycle=UFR,UBL,UFL", page.url)
        assert re.fullmatch(r"\d+ answers are shown\.", said.inner_text())


def test_back_goes_to_what_was_asked_before(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/2x2x2/ask")

        def shows(text: str, query: str) -> None:
            page.wait_for_function(
                """([text, query]) => location.search === query
                && document.querySelector("#cycle").value.replaceAll(" ", "") === text""",
                arg=[text, query],
            )

        for name in ("UFR", "UBL", "UFL"):
            page.mouse.click(*point(page, name))
        page.locator("#answers[data-state=done]").wait_for(timeout=PATIENCE)
        shows("UFR,UBL,UFL", "?cycle=UFR,UBL,UFL")
        # A fourth click begins another question: the address no longer has the first.
        page.mouse.click(*point(page, "UBR"))
        shows("UBR", "")
        page.go_back()
        page.locator("#answers[data-state=done]").wait_for(timeout=PATIENCE)
        shows("UFR,UBL,UFL", "?cycle=UFR,UBL,UFL")
        page.get_by_text("what stays, what turns").click()
        page.get_by_label("for the left hand").check()
        shows("UFR,UBL,UFL", "?cycle=UFR,UBL,UFL&left_handed=1")
        page.go_back()
        shows("UFR,UBL,UFL", "?cycle=UFR,UBL,UFL")
        page.wait_for_function("() => !document.querySelector('[name=left_handed]').checked")
        page.go_back()
        shows("", "")
        page.locator("#said", has_text="Click or tap three stickers").wait_for()
        assert page.locator("#answers li").count() == 0


def test_other_effects_by_mouse(chrome: Any, warm: Served) -> None:
    """Cycles are clicked one after the other, closed, twisted, undone, and asked for."""
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/2x2x2/ask")
        page.locator("#others summary").click()
        page.get_by_role("button", name="Click them one after the other").click()
        page.locator("#said", has_text="Click the places of a cycle in order").wait_for()

        def click(name: str, text: str) -> None:
            page.mouse.click(*point(page, name))
            assert page.input_value("#cycle") == text

        click("UFR", "(UFR")
        click("UFL", "(UFR UFL")
        click("UFR", "(UFR UFL)")
        click("UBR", "(UFR UFL)(UBR")
        click("RUB", "(UFR UFL)(UBR RUB BUR)")
        page.get_by_role("button", name="Undo").click()
        page.get_by_role("button", name="Undo").click()
        assert page.input_value("#cycle") == "(UFR UFL)"
        click("UBR", "(UFR UFL)(UBR")
        click("UFL", "(UFR UFL)(UBR")
        page.locator("#said", has_text="UFL is in a cycle already").wait_for()
        click("UBL", "(UFR UFL)(UBR UBL")
        page.get_by_role("button", name="Close the cycle").click()
        assert page.input_value("#cycle") == SWAPS
        # A cycle that comes back to another sticker of its first piece is a twist as well.
        page.fill("#cycle", "(UFR UFL")
        click("RUF", "(UFR UFL RUF FUL FUR LUF)")
        assert len(read_effect(load("2x2x2"), page.input_value("#cycle"))) == 1
        page.fill("#cycle", SWAPS)
        page.get_by_role("button", name="Ask").click()
        page.locator("#answers[data-state=done]").wait_for(timeout=PATIENCE)
        assert parse_qs(urlsplit(page.url).query)["effect"] == [SWAPS]
        page.get_by_role("button", name="Step through it").first.click()
        page.locator("#stepping output").wait_for()
        assert visit.weight() < MOST_BYTES
        unfolded(page)
        for_everybody(page, "ask-effect")
        # Three clicks ask at once again.
        page.get_by_role("button", name="Click them one after the other").click()
        assert page.input_value("#cycle") == ""
        for name in ("UFR", "UBL", "UFL"):
            page.mouse.click(*point(page, name))
        page.locator("#answers li[data-a]").first.wait_for(timeout=PATIENCE)
        assert re.search(r"cycle=UFR,UBL,UFL", page.url)


def test_stepping_shows_what_the_sequence_does(chrome: Any, warm: Served) -> None:
    """Parts and turns against the compiled puzzle: after all of them the cycle is done."""
    puzzle = load("2x2x2")
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, ASKED)
        answer = page.locator("#answers li[data-a]").first
        told = {name: answer.get_attribute(f"data-{name}") or "" for name in ("setup", "a", "b")}
        setup, a, b = (parse(puzzle, told[name]).word for name in ("setup", "a", "b"))
        answer.get_by_role("button", name="Step through it").click()
        parts = answer.locator("button.part")
        labels = [" ".join(text.split()) for text in parts.all_inner_texts()]
        before = ["setup"] if setup else []
        after = ["undo the setup"] if setup else []
        names = [*before, "A", "insert", "undo A", "insert back", *after]
        assert [
            re.match(name, label) is not None for name, label in zip(names, labels, strict=True)
        ]
        total = 2 * (len(setup) + len(a) + len(b))
        output = page.locator("#stepping output")
        assert output.inner_text() == f"0 of {total} turns: not begun"
        parts.nth(len(before)).hover()
        assert output.inner_text().startswith(f"{len(setup) + len(a)} of {total}")
        assert parts.nth(len(before)).get_attribute("aria-pressed") == "true"
        page.get_by_role("button", name="Next turn").click()
        assert output.inner_text().startswith(f"{len(setup) + len(a) + 1} of {total}")
        page.get_by_role("button", name="Back", exact=True).click()
        page.get_by_role("slider").focus()
        page.keyboard.press("End")
        assert output.inner_text().startswith(f"{total} of {total}")
        assert page.get_by_role("button", name="Next turn").is_disabled()


def test_lost_in_the_middle(chrome: Any, warm: Served) -> None:
    """After some turns the pieces stand as the compiled puzzle says; from these it is found."""
    puzzle = load("2x2x2")
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, ASKED)
        answer = page.locator("#answers li[data-a]").first
        told = {name: answer.get_attribute(f"data-{name}") or "" for name in ("setup", "a", "b")}
        setup, a, b = (parse(puzzle, told[name]).word for name in ("setup", "a", "b"))
        undone = puzzle.inverse
        word = (*setup, *a, *b, *undone(a), *undone(b), *undone(setup))
        names = page.evaluate(
            "async (href) => { const d = await (await fetch(href)).json();"
            " return [d.slots, d.placements] }",
            "/api/puzzles/2x2x2/drawing",
        )
        answer.get_by_role("button", name="Step through it").click()
        lost = answer.locator(".lost")
        lost.locator("summary").click()
        lost.locator("select").wait_for()
        for at in (3, len(word) - 2):
            effect = puzzle.effect(word[:at]).tolist()
            for _ in range(10):
                select = lost.locator("select")
                if not select.count():
                    break
                slot = int(select.input_value())
                here = effect.index(int(puzzle.home[slot]))
                own = here == int(puzzle.home[slot])
                text = "its own, as it was" if own else names[1][here]
                lost.get_by_role("button", name=text, exact=True).click()
            assert lost.get_by_role("status").inner_text() == f"You are after turn {at}."
            assert page.locator("#stepping output").inner_text().startswith(f"{at} of {len(word)}")
            lost.get_by_role("button", name="Begin again").click()


def test_answers_come_in_while_the_search_goes_on(chrome: Any, warm: Served) -> None:
    """Nothing was searched before; what stands in the end is what the API says."""
    with visiting(chrome, warm, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/3x3x3/ask?cycle=UFR,UBL,DFL")
        page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=60_000)
        question = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"]}
        told = warm.post(question, prefer="wait=20").json()
        shown = page.locator("#answers li[data-a] h2").all_inner_texts()
        assert shown == [own["notation"] for own in told["answer"]["answers"]]
        folded = page.locator("#answers li[data-a]").first.inner_text()
        assert f"and {told['answer']['answers'][0]['folded']} more of its kind" in folded
        # Another weight is another order of the same; the address holds it.
        page.locator(".more:not(#others) summary").click()
        page.select_option("#matters", "hands")
        page.locator("#said", has_text="shown").wait_for()
        assert "matters=hands" in page.url
        with page.expect_request("**/ask?*free=edge*"):
            page.get_by_label("edges").check()


def test_impossible_is_said_while_clicking(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, "/puzzles/3x3x3/ask")
        page.mouse.click(*point(page, "UFR"))
        page.mouse.click(*point(page, "UF"))
        page.locator("#said", has_text="Impossible: UF is of type edge and UFR of type").wait_for()
        assert page.input_value("#cycle") == "UFR"


WHY = """async ([name, asked]) => {
  const own = document.querySelector('script[src*="/ask.js"]').src;
  const { whyNot } = await import(own.replace("ask.js", "possible.js"));
  const { Tables } = await import(own.replace("ask.js", "state.js"));
  const data = await (await fetch(`/api/puzzles/${name}/drawing`)).json();
  const tables = new Tables(data);
  return asked.map(([places, layers, anyTwist]) =>
    places.map((_, k) => whyNot(tables, places.slice(0, k + 1), { layers, free: [], anyTwist })));
}"""


@pytest.mark.parametrize(
    "name", ["3x3x3", "3x3x3-halves", "cube-corners", "cube-edges", "tetrahedron-corners"]
)
def test_what_is_said_while_clicking_is_what_the_search_says(
    chrome: Any, warm: Served, name: str
) -> None:
    """Whatever stops somebody is impossible; pieces that cannot get there stop them."""
    puzzle, draw = load(name), random.Random(name)
    slots = [slot for kind in puzzle.types for slot in kind.slots]
    asked = []
    for _ in range(60):
        kind = draw.choice([kind for kind in puzzle.types if kind.count >= 3])
        row = draw.sample(list(kind.slots) if draw.random() < 0.8 else slots, 3)
        places = [int(puzzle.home[s]) + draw.randrange(_twists(puzzle, s)) for s in row]
        count = len(puzzle.layers)
        layers = sorted(draw.sample(range(count), draw.choice([1, 2, count])))
        asked.append((places, layers, draw.random() < 0.3))
    with visiting(chrome, warm) as visit:
        page = opened(visit, f"/puzzles/{name}/ask")
        told = page.evaluate(WHY, [name, asked])
    seen: Counter[bool] = Counter()
    for (places, layers, any_twist), said in zip(asked, told, strict=True):
        why = reason(puzzle, places, layers, alike=False, any_twist=any_twist)
        stopped = next((text for text in said if text), None)
        seen[stopped is not None] += 1
        if stopped is not None:
            assert why is not None, (places, layers, stopped)
        elif why is not None:
            parts = ("cannot get to", "never leave", "no turn carries one into")
            assert not any(part in why for part in parts), (places, layers, why)
    assert seen[True] > 5
    assert seen[False] > 1


def _twists(puzzle: Puzzle, slot: int) -> int:
    return puzzle.types[int(puzzle.type_of[slot])].twists


def test_ticks_are_looked_at_while_clicking(chrome: Any, warm: Served) -> None:
    """Common practice: no sequence of U and D brings the corner UFR to DFR."""
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, "/puzzles/3x3x3/ask")
        said = page.locator("#said")
        page.mouse.click(*point(page, "F"))
        said.get_by_text("Impossible: no layer takes F anywhere").wait_for()
        page.locator(".more:not(#others) summary").click()
        for layer in "FBLR":
            page.locator(f'input[name="layers"][value="{layer}"]').uncheck()
        page.mouse.click(*point(page, "UFR"))
        page.mouse.click(*point(page, "RDF"))
        words = "Impossible: with only U and D turning, UFR cannot get to RDF."
        said.get_by_text(words).wait_for()
        assert page.input_value("#cycle") == "UFR"
        page.locator('input[name="free"][value="corner"]').check()
        said.get_by_text("UFR is of type corner, which may end up anywhere").wait_for()
        page.locator('input[name="free"][value="corner"]').uncheck()
        said.get_by_text("That is possible again.").wait_for()
        for layer in "UD":
            page.locator(f'input[name="layers"][value="{layer}"]').uncheck()
        said.get_by_text("Impossible: no layer may turn.").wait_for()


def test_a_result_that_is_sent_on_is_not_stored(chrome: Any, warm: Served) -> None:
    """Copying its link asks nothing of the service, and the browser keeps nothing."""
    with visiting(chrome, warm, permissions=["clipboard-read", "clipboard-write"]) as visit:
        methods: list[str] = []
        page = opened(visit, ASKED)
        link = page.get_by_role("link", name="This result by itself, which stays")
        page.on("request", lambda request: methods.append(request.method))
        page.get_by_role("button", name="Copy its link").click()
        page.get_by_text("Copied").first.wait_for()
        assert methods == []
        assert page.evaluate("navigator.clipboard.readText()").endswith(link.get_attribute("href"))
        link.click()
        page.locator("#link").wait_for()
        page.locator(".share button.copy").click()
        assert set(methods) == {"GET"}
        kept = page.context.storage_state()
        assert kept == {"cookies": [], "origins": []}


def test_by_keyboard_alone(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, reduced_motion="reduce") as visit:
        page, keys = visit.page, visit.page.keyboard
        opened(visit, "/puzzles/2x2x2/ask")
        for _ in range(40):
            keys.press("Tab")
            if page.evaluate("document.activeElement.tagName") == "CANVAS":
                break
        for _ in range(2):
            keys.press("n")
            keys.press("Enter")
        page.locator("#said", has_text="one more").wait_for()
        for _ in range(40):
            keys.press("Tab")
            if page.evaluate("document.activeElement.id") == "cycle":
                break
        keys.press("Control+A")
        keys.type("UFR UBL DFR")
        keys.press("Enter")
        page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=PATIENCE)
        for _ in range(40):
            keys.press("Tab")
            if page.evaluate("document.activeElement.classList.contains('step')"):
                break
        keys.press("Enter")
        assert page.evaluate("document.activeElement.classList.contains('part')")
        keys.press("Enter")
        assert not page.locator("#stepping output").inner_text().startswith("0 of")


def test_by_touch_on_a_phone(chrome: Any, warm: Served) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce"}
    with visiting(chrome, warm, **options) as visit:
        page = opened(visit, "/puzzles/2x2x2/ask")
        for name in ("UFR", "UBL", "UFL"):
            page.touchscreen.tap(*point(page, name))
        page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=PATIENCE)
        page.get_by_role("button", name="Step through it").first.tap()
        page.locator("button.part").first.tap()
        page.get_by_role("button", name="Next turn").tap()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        stage = page.locator("#ask > .picture").bounding_box()
        assert stage["height"] < PHONE["height"] * 0.6, "the answers are seen beside the drawing"


def test_a_search_is_shown_and_stopped(chrome: Any, tmp_path: Path) -> None:
    """There is no worker, so that all is as it is while one waits."""
    with serving(tmp_path) as idle, visiting(chrome, idle) as visit:
        idle.client.headers["Accept"] = "text/html"
        page = idle.client.get("/puzzles/3x3x3/ask?cycle=UFR,UBL,DFL").text
        assert "Look again" in page
        own = opened(visit, "/puzzles/3x3x3/ask?cycle=UFR,UBL,DFL")
        own.locator("#said", has_text="as soon as a worker is free").wait_for()
        own.get_by_role("button", name="Stop").click()
        own.locator("#answers[data-state=stopped]").wait_for()


def test_a_lost_connection_is_said_and_made_good(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        page = opened(visit, "/puzzles/2x2x2/ask")
        page.route("**/puzzles/2x2x2/ask?*", lambda route: route.abort())
        page.fill("#cycle", "UFR UBL DFR")
        page.keyboard.press("Enter")
        page.locator("#said", has_text="The connection is lost").wait_for()
        page.unroute("**/puzzles/2x2x2/ask?*")
        page.locator("#answers li[data-a]").first.wait_for(timeout=PATIENCE)
        visit.complaints.clear()


def test_asking_is_for_everybody(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, reduced_motion="reduce") as visit:
        page = opened(visit, ASKED)
        assert visit.weight() < MOST_BYTES
        page.get_by_role("button", name="Step through it").first.click()
        unfolded(page)
        for_everybody(page, "ask")


def test_the_largest_puzzle_is_light_enough(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        opened(visit, "/puzzles/ball-sixths-218/ask")
        assert visit.weight() < MOST_BYTES
        assert axe(visit.page) == []
