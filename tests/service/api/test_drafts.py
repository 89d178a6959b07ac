"""Drafts over HTTP: what comes of a choice or a file, sizes for counts, and what is refused."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import httpx
import pytest

from puzzles import file, load
from service.api.drafting import Drafts
from service.api.problems import ProblemError
from service.choice import FIRST, text_of
from service.readers import BusyError, GoneError, Readers, TooLongError
from service.reading import Message, Reply
from tests.service.api.harness import Inline, Served

MARKUP = '<b onclick=alert(1)>"bold"</b>'


def draft(served: Served, status: int = 200, **body: Any) -> Any:
    answer = served.client.post("/api/puzzles/drafts", json={"drawn": False, **body})
    assert answer.status_code == status, answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    return answer.json()


def refused(answer: httpx.Response, status: int = 422) -> tuple[str, str | None]:
    """Return the sentence of a problem, and what it points at."""
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    told = answer.json()
    (error,) = told.get("errors", [{}])
    return told["detail"], error.get("pointer") or error.get("parameter")


@pytest.mark.parametrize(
    ("choice", "counts"),
    [
        # Counted by hand on the 3x3x3 and the 2x2x2, whose corners alone are left.
        ({"faces": "1/3"}, {"corner": 8, "edge": 12, "centre": 6}),
        ({"faces": "0"}, {"corner": 8}),
        # A dodecahedron has 20 corners, 30 edges and 12 faces (Euclid, Elements, XIII, 17).
        ({"body": "dodecahedron", "faces": "3/4"}, {"corner": 20, "edge": 30, "centre": 12}),
        # An icosahedron has 12 corners, 30 edges and 20 faces (XIII, 16).
        (
            {"body": "icosahedron", "shape": "ball", "corners": "36"},
            {"corner": 12, "edge": 30, "centre": 20},
        ),
        # Corners, edges and the pieces inside an octahedron's faces, cut at a third (facts of the
        # trade, and the order of its group: 6, 12 and 24 of two kinds).
        ({"body": "octahedron", "faces": "1/3"}, {"corner": 6, "edge": 12, "centre": 24}),
    ],
)
def test_what_comes_of_a_choice(
    shared: Served, choice: dict[str, str], counts: dict[str, int]
) -> None:
    told = draft(shared, choice=choice)
    found: dict[str, int] = {}
    for kind in told["puzzle"]["types"]:
        name = kind["name"].rstrip("0123456789")
        found[name] = found.get(name, 0) + kind["count"]
    assert found == counts
    assert told["puzzle"]["pieces"] == sum(counts.values())
    assert told["problem"] is None
    assert told["choice"]["body"] == choice.get("body", "cube")
    again = draft(shared, file=told["file"])
    assert again["puzzle"] == told["puzzle"], "the file says the same"
    assert again["sizes"] == told["sizes"]


@pytest.mark.parametrize("name", ["5x5x5", "ball-sixths-218", "three-wheels", "cube-corners"])
def test_files_of_the_catalogue_are_drafts_as_well(shared: Served, name: str) -> None:
    _, text = file.found(name)
    told = draft(shared, file=text, drawn=True)
    puzzle = load(name)
    assert told["puzzle"]["pieces"] == puzzle.slot_count
    assert [own["count"] for own in told["puzzle"]["types"]] == [own.count for own in puzzle.types]
    assert told["choice"] is None
    assert len(told["drawing"]["slots"]) == puzzle.slot_count


@pytest.mark.parametrize(
    ("faces", "pieces"),
    # The design's figures for the three balls of sixths, from an independent program.
    [("to(UFR)", 114), ("to(UFR) + 9deg", 170), ("to(UFR) + 2deg", 218)],
)
def test_balls(shared: Served, faces: str, pieces: int) -> None:
    corners = "34" if pieces == 170 else "30"
    choice = {"shape": "ball", "faces": faces, "corners": corners, "corners_steps": 6}
    assert draft(shared, choice=choice)["puzzle"]["pieces"] == pieces


@pytest.mark.parametrize(
    ("text", "line", "column", "said"),
    [
        (text_of(FIRST).replace('"1/3"', '"1/3'), 9, 13, "not well-formed TOML"),
        (text_of(FIRST).replace('"1/3"', '"1/"'), 9, 1, "expected"),
        (text_of(FIRST).replace("faces", "hats"), 7, 1, "axes"),
        (text_of(FIRST).replace("[[layers]]", "[[layer]]"), 6, 1, "'layer' is not known"),
        (text_of(FIRST).replace("steps = 4", "steps = 5"), None, None, ""),
        (text_of(FIRST).replace('up = "U"', 'up = "X"'), 3, 1, "names no direction"),
        (text_of(FIRST).replace('"1/3"', "1.5"), 9, 1, "layer U holds no piece"),
        (text_of(FIRST).replace('"1/3"', '"?"'), 9, 1, "leaves a size open"),
        (text_of(FIRST) + "steps = 4\n", 10, 10, "twice"),
        ("[" * 2_000, None, None, ""),
        ("", None, None, "missing"),
        (MARKUP, 1, None, "not well-formed TOML"),
        ("\x00", 1, None, "not well-formed TOML"),
    ],
)
def test_what_is_wrong_is_said_at_its_line(
    shared: Served, text: str, line: int | None, column: int | None, said: str
) -> None:
    told = draft(shared, file=text)
    problem = told["problem"]
    assert told["puzzle"] is None
    assert told["file"] == text
    assert said in problem["detail"]
    if line is not None:
        assert problem["line"] == line
    if column is not None:
        assert problem["column"] == column


def test_the_size_that_is_wrong_is_named(shared: Served) -> None:
    choice = {"faces": "0.5", "faces_inner": "0.8", "corners": "1"}
    problem = draft(shared, choice=choice)["problem"]
    assert problem["size"] == "faces_inner"
    assert problem["line"] == 15
    beyond = draft(shared, choice={"faces": "0.5", "corners": "1.8"})["problem"]
    assert (beyond["size"], beyond["line"]) == ("corners", 14)
    # Nothing is named, and there is but one size that can be meant.
    sliver = draft(shared, choice={"faces": "0.00001"})["problem"]
    assert "leave a sliver" in sliver["detail"]
    assert (sliver["size"], sliver["line"]) == ("faces", 9)


def test_too_many_pieces_are_refused(shared: Served) -> None:
    """Thirty edges of a dodecahedron near the middle cut it into 842 pieces, beyond the 800."""
    problem = draft(shared, choice={"body": "dodecahedron", "edges": "0.1"})["problem"]
    assert problem["detail"] == "the cuts make 842 pieces; at most 800 are allowed"


@pytest.mark.parametrize(
    ("body", "said", "pointer"),
    [
        ({}, "give either a choice or a file", "#/file"),
        ({"choice": {"faces": "1/3"}, "file": "x"}, "and not both", "#/file"),
        ({"choice": {}}, "nothing turns", "#/choice/faces"),
        ({"choice": {"body": "egg"}}, "choice.body: ", "#/choice/body"),
        ({"choice": {"body": MARKUP}}, "choice.body: ", "#/choice/body"),
        ({"choice": {"faces": 0.5}}, "a text was expected", "#/choice/faces"),
        ({"choice": {"faces": "1" * 201}}, "at most 200 characters", "#/choice/faces"),
        ({"choice": {"faces": "1", "faces_steps": 25}}, "at most 24", "#/choice/faces_steps"),
        ({"choice": {"faces": "1", "others": "1"}}, "no such kind", "#/choice/others"),
        ({"choice": {"faces": "1", "hats": "1"}}, "not known", "#/choice/hats"),
        ({"choice": [1]}, "an object was expected", "#/choice"),
        ({"file": 7}, "a text was expected", "#/file"),
        ({"file": "x", "drawn": "yes please"}, "drawn", "#/drawn"),
    ],
)
def test_nonsense_is_refused(shared: Served, body: Any, said: str, pointer: str) -> None:
    answer = shared.client.post("/api/puzzles/drafts", json=body)
    detail, place = refused(answer)
    assert said in detail
    assert place == pointer


def test_a_file_that_is_too_large_is_refused(shared: Served) -> None:
    answer = shared.client.post("/api/puzzles/drafts", json={"file": "#" * 100_001})
    assert refused(answer, 413)[1] == "#/file"
    deep = '{"choice": ' + "[" * 50_000 + "]" * 50_000 + "}"
    headers = {"Content-Type": "application/json"}
    answer = shared.client.post("/api/puzzles/drafts", content=deep, headers=headers)
    assert answer.status_code in (400, 422)


# --- What may be chosen ---------------------------------------------------------------------


def test_what_may_be_chosen(shared: Served) -> None:
    told = shared.client.get("/api/puzzles/new").json()
    axes = {
        own["name"]: {kind["name"]: (len(kind["axes"]), kind["steps"]) for kind in own["kinds"]}
        for own in told["bodies"]
    }
    # Rotation axes of the groups of rotations of the bodies (H. S. M. Coxeter, Regular Polytopes,
    # 1973, 3.4 and 3.5): those of the cube are of order 4, 3 and 2, at both ends each.
    assert axes["cube"] == {"faces": (6, 4), "corners": (8, 3), "edges": (12, 2)}
    assert axes["octahedron"] == {"faces": (8, 3), "corners": (6, 4), "edges": (12, 2)}
    assert axes["tetrahedron"] == {"faces": (4, 3), "corners": (4, 3), "edges": (6, 2)}
    assert axes["dodecahedron"] == {"faces": (12, 5), "corners": (20, 3), "edges": (30, 2)}
    assert axes["icosahedron"] == {"faces": (20, 3), "corners": (12, 5), "edges": (30, 2)}
    assert axes["rhombic-dodecahedron"] == {
        "faces": (12, 2),
        "corners": (6, 4),
        "others": (8, 3),
    }
    assert told["draft"]["puzzle"]["pieces"] == 26
    assert told["depths"] is None
    assert told["limits"]["pieces"] == 800
    # The way from the middle to a face is 1, and to a cube's corner the root of three.
    cube = next(own for own in told["bodies"] if own["name"] == "cube")
    assert [kind["solid"]["to"] for kind in cube["kinds"]] == [1.0, 1.732051, 1.414214]


def test_every_usual_size_gives_a_puzzle(shared: Served) -> None:
    for body in shared.client.get("/api/puzzles/new").json()["bodies"]:
        for kind in body["kinds"]:
            for shape in ("solid", "ball"):
                choice = {"body": body["name"], "shape": shape, kind["name"]: kind[shape]["usual"]}
                told = draft(shared, choice=choice)
                assert told["problem"] is None, choice
                assert any(own["moves"] for own in told["puzzle"]["types"])


def test_the_picture_of_a_draft(shared: Served) -> None:
    answer = shared.client.get("/api/puzzles/new/picture.svg", params={"faces": "0.5"})
    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    answer = shared.client.get("/api/puzzles/new/picture.svg", params={"faces": "7"})
    assert "holds no piece" in refused(answer)[0]


# --- Sizes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("choice", "size"),
    [
        ({"body": "cube", "edges": "1"}, "edges"),
        ({"body": "octahedron", "shape": "ball", "faces": "39"}, "faces"),
        ({"faces": "0.5", "faces_inner": "0.2"}, "faces_inner"),
    ],
)
def test_the_sizes_of_a_slider(shared: Served, choice: dict[str, str], size: str) -> None:
    body = {"choice": choice, "size": size}
    told = shared.client.post("/api/puzzles/drafts/ranges", json=body).json()
    assert told["complete"] is True
    assert told["ranges"]
    right = 0
    for own in [*told["ranges"], *told["exact"]]:
        again = draft(shared, choice={**choice, size: own["entry"]})
        # Some can be counted and not compiled, such as two layers that turn the same pieces.
        if again["problem"] is None:
            assert again["puzzle"]["pieces"] == own["pieces"]
            right += 1
    assert right >= len(told["ranges"])


def test_the_known_sizes_of_a_cube_cut_at_its_edges(shared: Served) -> None:
    """Cuts through the middles of neighbouring edges are those of the catalogue's cube-edges."""
    body = {"choice": {"edges": "1"}, "size": "edges"}
    told = shared.client.post("/api/puzzles/drafts/ranges", json=body).json()
    exact = {own["entry"]: own["pieces"] for own in told["exact"]}
    assert exact["sqrt(2)/2"] == load("cube-edges").slot_count == 32


@pytest.mark.parametrize(
    ("body", "said", "pointer"),
    [
        ({"choice": {"faces": "1/3"}, "size": "hats"}, "size: ", "#/size"),
        ({"choice": {}, "size": "faces"}, "nothing turns", "#/choice/faces"),
        ({"size": "faces"}, "choice is missing", "#/choice"),
    ],
)
def test_nonsense_about_a_slider(shared: Served, body: Any, said: str, pointer: str) -> None:
    detail, place = refused(shared.client.post("/api/puzzles/drafts/ranges", json=body))
    assert said in detail
    assert place == pointer


def test_a_slider_that_has_no_sizes_says_why(shared: Served) -> None:
    for choice in ({"faces": "1/3"}, {"faces": "1/3", "corners": "1/0"}):
        body = {"choice": choice, "size": "corners" if "corners" not in choice else "faces"}
        told = shared.client.post("/api/puzzles/drafts/ranges", json=body).json()
        assert told["ranges"] == []
        assert told["reason"]


def test_sizes_from_counts(shared: Served) -> None:
    body = {"choice": {"corners": "1"}, "open": ["corners"], "counts": [4, 4, 6]}
    told = shared.client.post("/api/puzzles/depths", json=body).json()
    first = told["proposals"][0]
    # Cut through the middle; DESIGN's cube-corners has the same 14 pieces.
    assert first["pieces"] == load("cube-corners").slot_count == 14
    assert first["choice"] == {"body": "cube", "corners": "0"}
    assert draft(shared, file=first["toml"])["puzzle"]["pieces"] == 14
    text = text_of(FIRST).replace('"1/3"', '"?"')
    told = shared.client.post("/api/puzzles/depths", json={"file": text, "counts": [12]}).json()
    assert [own["pieces"] for own in told["proposals"]] == [26]
    none = shared.client.post("/api/puzzles/depths", json={"file": text, "counts": [13]}).json()
    assert none["proposals"] == []
    assert none["reason"].startswith("no size was found that gives 13 pieces")
    assert none["nearest"]


@pytest.mark.parametrize(
    ("body", "said", "pointer"),
    [
        ({"counts": [8]}, "give either a choice or a file", "#/file"),
        ({"choice": {"faces": "1"}, "counts": [], "open": ["faces"]}, "at least 1", "#/counts"),
        ({"choice": {"faces": "1"}, "counts": [0], "open": ["faces"]}, "at least 1", "#/counts/0"),
        ({"choice": {"faces": "1"}, "counts": [8], "open": []}, "no size is left open", "#/open"),
        ({"choice": {"faces": "1"}, "counts": [8], "open": ["edges"]}, "does not turn", "#/open"),
        (
            {"choice": {"faces": "1", "faces_inner": "0"}, "counts": [8], "open": ["faces"]},
            "have inner layers",
            "#/open",
        ),
        ({"file": text_of(FIRST), "counts": [8]}, "no size is left open", "#/file"),
        ({"file": "[", "counts": [8]}, "not well-formed TOML", "#/file"),
        ({"file": file.found("three-wheels")[1], "counts": [8]}, "no depths", "#/file"),
    ],
)
def test_nonsense_about_counts(shared: Served, body: Any, said: str, pointer: str) -> None:
    detail, place = refused(shared.client.post("/api/puzzles/depths", json=body))
    assert said in detail
    assert place == pointer


# --- Who does it --------------------------------------------------------------------------------


def test_nothing_is_kept_and_nothing_is_compiled_here(served: Served) -> None:
    """A reader does it all, and the store has as much afterwards as before."""
    things = served.store.things
    kinds = ("puzzle", "search", "answer", "posted", "result")
    before = {kind: things.count(kind) for kind in kinds}
    draft(served, choice={"faces": "0.4"}, drawn=True)
    draft(served, file=text_of(FIRST))
    body = {"choice": {"faces": "0.4"}, "size": "faces"}
    served.client.post("/api/puzzles/drafts/ranges", json=body)
    assert {kind: things.count(kind) for kind in kinds} == before
    assert isinstance(served.readers, Inline)
    assert [message["do"] for message in served.readers.asked] == ["draft", "draft", "ranges"]
    assert set(served.readers.askers) == {"127.0.0.1"}


class Slow:
    """A pool that is told what becomes of a message, and counts how many it has at once."""

    def __init__(self, error: Exception | None = None) -> None:
        self.error, self.ready = error, 0
        self.now = self.most = 0
        self.started = self.closed = 0

    async def start(self) -> None:
        self.started += 1

    async def reply(self, message: Message, asker: str = "") -> Reply:
        self.now += 1
        self.most = max(self.most, self.now)
        await asyncio.sleep(0.01)
        self.now -= 1
        if self.error is not None:
            raise self.error
        return Reply({}, json.dumps(asker).encode())

    async def close(self) -> None:
        self.closed += 1


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (TooLongError(), 422, "this takes more than 8 s"),
        (BusyError(), 503, "looking at the draft takes longer"),
        (GoneError(), 503, "ended twice"),
    ],
)
def test_what_takes_too_long_or_dies_is_said(error: Exception, status: int, said: str) -> None:
    async def tried() -> ProblemError:
        drafts = Drafts(Slow(error), 8)
        with pytest.raises(ProblemError) as caught:
            await drafts.reply({"do": "draft"}, "somebody")
        return caught.value

    problem = asyncio.run(tried())
    assert problem.status == status
    assert said in problem.detail


def test_looking_for_sizes_leaves_a_process_for_drafts_and_is_taken_in_turns() -> None:
    async def tried() -> tuple[Slow, list[str]]:
        pool, order = Slow(), list[str]()
        drafts = Drafts(pool, 8)

        async def look(asker: str) -> None:
            await drafts.look({"do": "ranges"}, asker)
            order.append(asker)

        await asyncio.gather(*(look(asker) for asker in ("a", "a", "a", "b")))
        await drafts.close()
        return pool, order

    pool, order = asyncio.run(tried())
    assert pool.most == 1
    assert (pool.started, pool.closed) == (1, 1)
    assert order.index("b") < 3, "b does not wait for all of a"


def test_processes_begin_with_the_first_draft_alone() -> None:
    async def tried() -> Slow:
        pool = Slow()
        await Drafts(pool, 8).close()
        return pool

    pool = asyncio.run(tried())
    assert (pool.started, pool.closed) == (0, 0)


def test_a_real_process_ends_what_takes_too_long(tmp_path: Path) -> None:
    """All sizes of thirty edges take longer than a second; whoever comes next has a new process."""

    async def until(status: int, drafts: Drafts, message: Message) -> Reply | ProblemError:
        for _ in range(60):
            try:
                return await drafts.reply(message, "a")
            except ProblemError as problem:
                if problem.status == status:
                    return problem
        raise AssertionError("the process did not begin")

    async def tried() -> tuple[Reply | ProblemError, Reply | ProblemError]:
        drafts = Drafts(Readers(str(tmp_path / "store.sqlite"), 1, 1.0, 2_000, 10), 1.0)
        large = {"body": "dodecahedron", "edges": "1"}
        try:
            ended = await until(422, drafts, {"do": "ranges", "choice": large, "size": "edges"})
            small = {"do": "draft", "choice": {"faces": "1/3"}, "drawn": False}
            return ended, await until(0, drafts, small)
        finally:
            await drafts.close()

    ended, reply = asyncio.run(tried())
    assert isinstance(ended, ProblemError)
    assert ended.detail.startswith("this takes more than 1 s")
    assert isinstance(reply, Reply)
    assert json.loads(reply.body)["puzzle"]["pieces"] == 26
