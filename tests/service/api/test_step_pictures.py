"""Pictures of steps: each shows the state before the step, and where its three-cycle leads."""

from __future__ import annotations

import numpy as np
import pytest

from puzzles import load
from puzzles.names import placement_names, sticker_name
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from service.pages.frame import rendered
from service.reports import Report
from service.step_pictures import drawn
from tests.puzzles.test_state_picture import assert_shown, discs, middles, some_word
from tests.service.api.harness import Served
from tests.service.api.test_limits import refused
from tests.service.api.test_puzzles import work

#: A three-cycle of edges that is common practice, and what it carries.
CYCLE = "R2 U R U R' U' R' U' R' U R'"


def step(sequence: str, *cycle: str) -> Report:
    return {"sequence": sequence, "cycle": list(cycle)}


def word(puzzle: Puzzle, steps: list[Report]) -> Word:
    return tuple(t for one in steps for t in parse(puzzle, one["sequence"]).word)


@pytest.mark.parametrize("name", ["3x3x3", "3x3x3-bandaged", "3x3x3-stops"])
def test_each_shows_what_the_steps_before_have_left(name: str) -> None:
    """Points that are turned by the plain simulator say so, also where pieces straddle others."""
    puzzle = load(name)
    away = some_word(puzzle, 9, 3)
    home = puzzle.inverse(away)
    texts = [write(puzzle, home[k : k + 3]) for k in (0, 3, 6)]
    steps = [step(text) for text in texts]
    for number in (1, 2, 3):
        assert_shown(puzzle, away[: 12 - 3 * number], text=drawn(puzzle, steps, number))


def test_numbers_lie_where_the_cycle_is_in_the_state() -> None:
    puzzle = load("3x3x3")
    effect = puzzle.effect(parse(puzzle, CYCLE).word)
    first = int(next(p for p in range(len(effect)) if effect[p] != p))
    cycle = [first, int(effect[first]), int(effect[effect[first]])]
    names = [placement_names(puzzle)[place] for place in cycle]
    steps = [step("F R D2"), step(CYCLE, *names), step("B' L")]
    at = discs(drawn(puzzle, steps, 2))
    assert sorted(at) == ["1", "2", "3"]
    homes = middles(puzzle)
    for k, name in enumerate(names):
        own = next(n for n in range(len(puzzle.stickers)) if sticker_name(puzzle, n) == name)
        assert np.allclose(at[str(k + 1)], homes[own], atol=4), name
    assert not discs(drawn(puzzle, steps, 1))
    assert_shown(puzzle, puzzle.inverse(word(puzzle, steps[2:])), text=drawn(puzzle, steps, 3))


def test_they_are_at_the_address_of_the_result(served: Served) -> None:
    asked = served.client.post("/api/puzzles/2x2x2/solve", json={"scramble": "R U F2 R' U2 F R"})
    work(served)
    search = served.client.get(asked.headers["Location"]).json()
    base = search["result"]
    count = len(search["answer"]["steps"])
    first = served.client.get(f"{base}/steps/1.svg")
    assert first.status_code == 200
    assert first.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in first.headers["Content-Security-Policy"]
    assert "before step 1</title>" in first.text
    tag = {"If-None-Match": first.headers["ETag"]}
    assert served.client.get(f"{base}/steps/1.svg", headers=tag).status_code == 304
    assert served.client.get(f"{base}/steps/{count}.svg").status_code == 200
    refused(served.client.get(f"{base}/steps/{count + 1}.svg"), 404, f"the result has {count} step")
    refused(served.client.get(f"{base}/steps/0.svg"), 404)
    refused(served.client.get(f"/api/results/{'0' * 64}/steps/1.svg"), 404, "this digest")


@pytest.mark.parametrize("template", ["solve_steps.html", "last_steps.html"])
@pytest.mark.parametrize("can_block", [True, False])
def test_steps_on_pages_have_them_where_turns_can_be_blocked(
    template: str, can_block: bool
) -> None:
    digest = "0" * 64
    common = {"kind": "three-cycle", "type": "edge", "notation": "R", "turns": 1, "things": 1}
    said = {"reason": "", "text": "", "kept": 1, "solves": [], "unsolved": 1, "motions": []}
    steps = [{**common, **said, **step("R", *cycle)} for cycle in ((), ("UF", "UB", "UL"))]
    rest = {"reason": None, "repair": None, "solved": True, "before": "R", "turns": 2}
    counts = {"executed": 2, "different": 1, "sequences": 1, "types": [], "note": None}
    report = {**rest, **counts, "steps": steps, "hold": "", "result": digest}
    told = {"name": "3x3x3", "description": "", "can_block": can_block}
    text = rendered(template, {"puzzle": "3x3x3", "told": told, "report": report})
    hrefs = [f"/api/results/{digest}/steps/{number}.svg" for number in (1, 2)]
    # A step that is no three-cycle moves nearly all: on the solved puzzle it would mark nothing.
    assert [f'src="{href}"' in text for href in hrefs] == [True, can_block]
    assert ("picture.svg" in text) is not can_block
    assert text.count("<img") == 2


def test_steps_that_do_not_solve_have_no_pictures_of_states() -> None:
    """The state before them is not what undoing them leads to."""
    one = {"kind": "free", "type": None, "notation": "R", "turns": 1, "reason": "", "kept": 1}
    report = {"reason": "x", "repair": None, "solved": False, "before": None, "turns": 1}
    own = {"executed": 1, "different": 0, "steps": [{**one, **step("R")}], "result": "0" * 64}
    told = {"name": "3x3x3", "description": "", "can_block": False}
    text = rendered("solve_steps.html", {"puzzle": "3x3x3", "told": told, "report": report | own})
    assert "<img" not in text
    assert "data-before" not in text
    assert "data-sequence" in text
