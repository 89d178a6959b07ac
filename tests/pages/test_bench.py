"""The bench: the page without the script and with it, by mouse, keyboard and touch; its JSON."""

from __future__ import annotations

import json
import re
from typing import Any
from urllib.parse import quote

import pytest

from puzzles import load
from puzzles.notation import parse, write
from search import inserts
from service.bench_report import bench
from tests.pages.everybody import PHONE, WIDE, for_everybody, unfolded
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import MOST_BYTES, Visit, visiting
from tests.service.api.harness import Served

#: Words that disturb single slots, twist some, or are blocked somewhere, by puzzle.
WORDS = {
    "3x3x3": ["", "R U R' U'", "R' D' R D R' D' R D", "R U2 F' L D", "F F' R2"],
    "3x3x3-slices": ["R U R' U'", "M E M' E'", "M' U2 M U2"],
    "3x3x3-stops": ["U F2 U' F2", "R U R' U'"],
    "tetrahedron-corners": ["U R U'", "U L U' L'", "r u"],
    "ball-sixths-114": ["U F U' F'", "UFR U UFR' U'"],
    "three-wheels": ["L R L' R'", "T2 L T2' L'"],
}


def opened(visit: Visit, address: str) -> Any:
    """Open a bench, wait until the script has it, and return the page."""
    visit.open(address)
    visit.page.wait_for_selector("#bench[data-ready]")
    return visit.page


@pytest.mark.parametrize("name", WORDS)
def test_the_page_and_the_service_say_the_same(chrome: Any, site: Served, name: str) -> None:
    """Both multiply out, in two languages that share nothing but the tables."""
    puzzle = load(name)
    with visiting(chrome, site) as visit:
        page = opened(visit, f"/puzzles/{name}/bench")
        for text in WORDS[name]:
            word = parse(puzzle, text).word
            told = page.evaluate(
                """async (names) => {
                  const own = document.querySelector('script[src*="/bench.js"]').src;
                  const state = await import(own.replace("bench.js", "state.js"));
                  const stage = document.querySelector("#stage").dataset.drawing;
                  const t = new state.Tables(await (await fetch(stage)).json());
                  const word = state.parse(t, names);
                  const effect = state.effectOf(t, word);
                  return state.singles(t, effect).map(({ layer, slot, kind }) => [
                    t.layerNames[layer], t.slotNames[slot], kind === "twisted",
                    t.turnNames.map((_, k) => k).filter((k) => t.turnLayer[k] === layer)
                      .map((turn) => {
                        const { gives, cycles } = state.insert(t, effect, turn);
                        return [t.turnNames[turn], gives,
                          cycles.map((c) => c.map((p) => t.placementNames[p]))]; })]); }""",
                write(puzzle, word),
            )
            report = bench(puzzle, word, None, "")
            expected = [
                [
                    own["layer"],
                    own["slot"],
                    own["twisted"],
                    [
                        [one["turn"], one["gives"], one["cycles"]]
                        for one in own["inserts"]
                        if one["gives"] != "blocked"
                    ],
                ]
                for own in report["layers"]
            ]
            for mine, theirs in zip(told, report["layers"], strict=True):
                blocked = {i["turn"] for i in theirs["inserts"] if i["gives"] == "blocked"}
                mine[3] = [one for one in mine[3] if one[0] not in blocked]
            assert told == expected


def test_as_json(site: Served) -> None:
    """Common practice: [R U R' U', L'] is UFL to RBU to BLU (RUB and BUL: the order is free)."""
    query = {"turns": "R U R' U'", "insert": "L'"}
    told = site.client.get("/api/puzzles/3x3x3/bench", params=query).json()
    assert told["turns"] == ["R", "U", "R'", "U'"]
    assert [(own["layer"], own["slot"]) for own in told["layers"]] == [("D", "DFR"), ("L", "UBL")]
    assert told["completed"]["gives"] == "three-cycle"
    assert told["completed"]["cycles"] == [["UFL", "RUB", "BUL"]]
    assert told["completed"]["sequence"] == "R U R' U' L' U R U' L R'"
    pairs = site.client.get("/api/puzzles/3x3x3/bench/pairs").json()["pairs"]
    puzzle = load("3x3x3")
    own = [(p.word(puzzle), p.stands_for) for p in inserts.pairs(puzzle)]
    assert [(one["sequence"], one["stands_for"]) for one in pairs] == [
        (write(puzzle, word), count) for word, count in own
    ]


@pytest.mark.parametrize(
    ("query", "said", "parameter"),
    [
        ({"turns": "R Q"}, "'Q' is no turn", "turns"),
        ({"turns": "R", "insert": "R U"}, "more than the one turn", "insert"),
        ({"turns": "R", "insert": "("}, "character", "insert"),
        ({"turns": "(R U F)200"}, "600 turns were given; the bench takes up to 400", "turns"),
        ({"turns": MARKUP}, "character 1", "turns"),
    ],
)
def test_nonsense(site: Served, query: dict[str, str], said: str, parameter: str) -> None:
    answer = site.client.get("/api/puzzles/3x3x3/bench", params=query)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert said in error["detail"]
    assert error["parameter"] == parameter
    page = site.client.get("/puzzles/3x3x3/bench", params=query)
    assert page.status_code == 422
    assert "<b onclick" not in page.text
    assert "Pairs of turns" in page.text, "the rest of the page is there"


def test_blocked_turns_are_said(site: Served) -> None:
    """On 3x3x3-bandaged some turns cannot be done on the solved puzzle."""
    puzzle = load("3x3x3-bandaged")
    turn = next(t for t in range(len(puzzle.turns)) if puzzle.first_blocked((t,)) is not None)
    address = "/api/puzzles/3x3x3-bandaged/bench"
    answer = site.client.get(address, params={"turns": write(puzzle, (turn,))})
    assert answer.status_code == 422
    assert write(puzzle, (turn,)) in answer.json()["detail"]


def test_without_the_script(site: Served) -> None:
    page = site.client.get("/puzzles/3x3x3/bench", params={"turns": "R U R' U'", "insert": "L'"})
    text = page.text
    for said in ("[R U R&#39; U&#39;, L&#39;]", "UFL RUB BUL", "4 corners", "stands for"):
        assert said in text
    assert 'href="/puzzles/3x3x3/bench?turns=R+U+R%27+U%27&amp;insert=D2"' in text


def test_by_mouse(chrome: Any, site: Served) -> None:
    club = site.client.post("/api/clubs", json={"name": "Tuesday"}).json()
    add = str(club["links"][1]["href"])
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/3x3x3/bench")
        said = page.locator("#said")
        turns = page.locator("#layers")
        for name in ("R", "U", "R'", "U'"):
            turns.get_by_role("button", name=name, exact=True).click()
        page.get_by_role("button", name="Undo", exact=True).click()
        assert said.inner_text().startswith("U' undone: ")
        turns.get_by_role("button", name="U'", exact=True).click()
        # Common practice: L holds one displaced piece, UBL, and D one, DFR.
        assert "D and L hold exactly one of them" in said.inner_text()
        assert page.get_by_role("heading", name="L holds UBL alone, displaced").is_visible()
        rows = page.locator(".single").nth(1).get_by_role("listitem").all_inner_texts()
        assert [" ".join(row.split()) for row in rows] == [
            "L a three-cycle: UBL → BDL → UBR",
            "L2 a three-cycle: UBL → DFL → UBR",
            "L' a three-cycle: UFL → RUB → BUL",
        ]
        page.get_by_role("button", name="slip in L'").click()
        focus = "document.activeElement.textContent"
        assert page.evaluate(focus) == "Now undo"
        page.get_by_role("button", name="Now undo").click()
        page.get_by_text("R U R' U' L' U R U' L R'").wait_for()
        page.locator("#said", has_text="three-cycle").wait_for()
        assert said.inner_text() == "[R U R' U', L']: a three-cycle. UFL → RUB → BUL"
        assert "insert=L%27" in page.url
        beside = page.locator(".others figcaption").all_inner_texts()
        assert beside == ["L UBL → BDL → UBR", "L2 UBL → DFL → UBR", "L' UFL → RUB → BUL"]
        page.get_by_label("Its name").fill(MARKUP)
        page.get_by_role("button", name="Keep it in this browser").click()
        # What is said of it stands beside the button, not far above it.
        status = page.locator("#kept [role=status]")
        assert status.inner_text() == f"{MARKUP} is kept in this browser."
        page.reload()
        page.wait_for_selector("#bench[data-ready]")
        assert page.get_by_role("heading", name="[R U R' U', L']").is_visible()
        kept = page.locator(".keepings li")
        assert MARKUP in kept.inner_text()
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save all as a file").click()
        (own,) = json.loads(saved.value.path().read_text())
        assert own["notation"] == "[R U R' U', L']"
        assert own["cycles"] == [["UFL", "RUB", "BUL"]]
        page.get_by_label("Its name").fill("Ours")
        page.get_by_text("or put it on a club's shelf").click()
        page.get_by_label("The club's link").fill(add.replace("/api", ""))
        page.get_by_role("button", name="Put it on the shelf").click()
        page.get_by_text("Ours is on the shelf.").wait_for()
        (item,) = site.client.get(add).json()["items"]
        assert item["text"].startswith("Ours\n[R U R' U', L']\nUFL → RUB → BUL\nhttp")
        assert (item["puzzle"], item["type"]) == ("3x3x3", "corner")
        page.get_by_role("button", name=f"remove {MARKUP}").click()
        assert kept.count() == 0


def test_twists_are_told_from_what_is_displaced(chrome: Any, site: Served) -> None:
    """Common practice: [(R' D' R D)2, U] is a pair of twists."""
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/3x3x3/bench?turns=" + quote("(R' D' R D)2"))
        assert page.get_by_role("heading", name="U holds UFR alone, twisted where").is_visible()
        page.get_by_role("button", name="slip in U", exact=True).click()
        page.get_by_role("button", name="Now undo").click()
        page.locator("#said", has_text="a pair of twists").wait_for()


def test_by_keyboard_alone(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page, keys = visit.page, visit.page.keyboard
        opened(visit, "/puzzles/3x3x3/bench")
        for _ in range(40):
            keys.press("Tab")
            if page.evaluate("document.activeElement.closest('#layers') !== null"):
                break
        for key in ("r", "u", "Shift+R", "Shift+U", "f"):
            keys.press(key)
        keys.press("Backspace")
        assert page.input_value("#turns") == "R U R' U'"
        for _ in range(40):
            keys.press("Tab")
            if page.evaluate("document.activeElement.getAttribute('aria-label')") == "slip in L'":
                break
        keys.press("Enter")
        assert page.evaluate("document.activeElement.textContent") == "Now undo"
        keys.press("Enter")
        page.locator("#said", has_text="three-cycle").wait_for()
        # What is typed is read as anywhere: brackets and repeats; nonsense is said.
        page.focus("#turns")
        page.fill("#turns", "(R U R' U')3")
        keys.press("Enter")
        page.locator("#said", has_text="R U R' U' R U R' U' R U R' U'").wait_for()
        page.fill("#turns", MARKUP)
        keys.press("Enter")
        page.locator("#wrong").wait_for()
        assert page.inner_text("#wrong").startswith("Character 1: ")
        assert page.get_attribute("#turns", "aria-invalid") == "true"
        visit.complaints.clear()


def test_by_touch_on_a_phone(chrome: Any, site: Served) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce"}
    with visiting(chrome, site, **options) as visit:
        page = opened(visit, "/puzzles/tetrahedron-corners/bench")
        page.locator("a[data-turns]").first.tap()
        page.locator("#said", has_text="exactly one").wait_for()
        page.locator("button.insert").first.tap()
        now = page.get_by_role("button", name="Now undo")
        box, stage = now.bounding_box(), page.locator("#stage").bounding_box()
        assert box["y"] >= stage["y"] + stage["height"] - 1, "the drawing does not cover it"
        assert box["y"] + box["height"] <= PHONE["height"]
        now.tap()
        page.locator("#said", has_text=re.compile(r"^\[")).wait_for()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        small = page.eval_on_selector_all(
            "#layers button, button.insert",
            "all => all.map(one => Math.min(one.offsetWidth, one.offsetHeight))",
        )
        assert min(small) >= 24, "WCAG 2.2, 2.5.8"


@pytest.mark.parametrize("name", ["3x3x3", "ball-sixths-218", "three-wheels"])
def test_the_bench_is_for_everybody(chrome: Any, site: Served, name: str) -> None:
    sequence = site.client.get(f"/api/puzzles/{name}/bench/pairs").json()["pairs"][0]["sequence"]
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit, f"/puzzles/{name}/bench?turns={quote(sequence)}")
        assert visit.weight() < MOST_BYTES
        unfolded(page)
        for_everybody(page, f"bench-{name}")
