"""Questions and answers at the desk, beside what the engine finds without a service."""

from __future__ import annotations

import json
import random
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.errors import LimitError, NameNotFoundError, NotationError, RequestError, TrefoilError
from puzzles.names import placement_name
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from search.families import family_key
from search.impossible import reason
from search.ranking import Weights
from search.request import MOST_MEMBERS, Bounds, request
from search.traces import alphabet
from service import atlases, puzzle_shelf, reports, results
from service.asked import Asked
from service.desk import Desk
from service.engine import Engine
from service.questions import AtlasQuestion, FindQuestion, PartsQuestion
from service.results import BrokenResultError, OutdatedError
from service.stores.base import Levels, Store
from service.stores.sqlite import SqliteStore
from tests.plain import assert_three_cycle
from tests.service.working import answered, ended

Ask = Callable[..., tuple[int, Any]]

#: Puzzles with a half-length at which a search is a matter of moments.
SHALLOW = {
    "3x3x3": 5,
    "4x4x4": 4,
    "tetrahedron-corners": 5,
    "cube-edges": 4,
    "three-wheels": 5,
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return SqliteStore(tmp_path_factory.mktemp("store") / "store.sqlite")


@pytest.fixture(scope="module")
def levels(tmp_path_factory: pytest.TempPathFactory) -> Levels:
    """Levels of somebody who searches alone."""
    return SqliteStore(tmp_path_factory.mktemp("alone") / "store.sqlite").levels


def alone(levels: Levels, question: FindQuestion) -> Any:
    """Return the report of a find without a service."""
    wanted = request(
        load(question.puzzle),
        question.cycle,
        layers=question.layers,
        keep=question.keep,
        free=question.free,
        alike=not question.apart,
        any_twist=question.any_twist,
        bounds=Bounds(question.turns, question.half_length, question.setup, question.seconds),
    )
    weights = None if question.weights is None else Weights(**question.weights)
    found = Engine(levels).find(wanted, weights, question.most, question.left_handed)
    return json.loads(json.dumps(reports.find(found.found, found.outcome.stopped_by)))


def possible_cycle(puzzle: Puzzle, draw: random.Random) -> list[str]:
    """Return three names of a random cycle that nothing forbids."""
    kinds = [kind for kind in puzzle.types if kind.moves and kind.count >= 3]
    while True:
        kind = draw.choice(kinds)
        slots = draw.sample(list(kind.slots), 3)
        triple = [int(puzzle.home[s]) + draw.randrange(kind.twists) for s in slots]
        if reason(puzzle, triple) is None:
            return [placement_name(puzzle, p) for p in triple]


@pytest.mark.parametrize("name", SHALLOW)
def test_a_service_says_to_the_letter_what_a_find_alone_says(
    name: str, store: Store, levels: Levels
) -> None:
    puzzle, draw = load(name), random.Random(name)
    some = 0
    for k in range(5) if name == "3x3x3" else (0, 2, 3):
        question = FindQuestion(
            puzzle=name,
            cycle=possible_cycle(puzzle, draw),
            half_length=SHALLOW[name],
            setup=[None, 1, None, 0, None][k],
            any_twist=k == 2,
            apart=k == 3,
            left_handed=k == 4,
            most=[10, 3, 10, 10, 1][k],
            weights={"turns": 2, "hands": 0.5} if k == 1 else None,
        )
        report = answered(store, question)
        assert len(report.pop("result")) == 64
        assert report == alone(levels, question)
        for answer in report["answers"][:1]:
            triple = request(puzzle, answer["cycle"]).triples()[0]
            if puzzle.shape == "solid":
                assert_three_cycle(puzzle, parse(puzzle, answer["sequence"]).word, triple)
            some += 1
    assert some


def test_kept_types_and_layers_go_the_same_way(store: Store, levels: Levels) -> None:
    questions = [
        FindQuestion(puzzle="3x3x3", cycle=["DFR", "UFL", "DBL"], free=["edge"], half_length=4),
        FindQuestion(puzzle="3x3x3", cycle=["UR", "UB", "UL"], keep=["edge"], half_length=4),
        FindQuestion(puzzle="3x3x3", cycle=["RU", "FU", "UL"], layers=["U", "R", "F"], turns=8),
    ]
    for question in questions:
        report = answered(store, question)
        del report["result"]
        assert report == alone(levels, question)
        assert all(set(a["layers"]) <= set(question.layers or "UDLRFB") for a in report["answers"])
    assert report["searched"]["complete"] == 8


def test_images_share_one_job(store: Store) -> None:
    """Of the 48 images of a cycle, undone or not, read from any of the three, all are one job."""
    puzzle, desk = load("3x3x3"), Desk(store)
    triple = request(puzzle, ["UFR", "UBL", "DFL"]).triples()[0]
    found: set[Asked] = set()
    for symmetry in puzzle.symmetries:
        there = [int(symmetry.placements[p]) for p in triple]
        for image in (there, there[::-1], there[1:] + there[:1]):
            names = [placement_name(puzzle, p) for p in image]
            found.add(desk.ask(FindQuestion(puzzle="3x3x3", cycle=names, most=len(found) + 1)))
    assert len(found) == 1
    (asked,) = found
    assert asked.kind == "find"
    assert asked.body is None
    # What a job is about does not depend on how many answers somebody wants to see.
    assert "most" not in json.loads(asked.spec)
    other = desk.ask(FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], turns=8))
    assert other.key != asked.key


def test_only_symmetries_that_keep_the_layers_count(store: Store) -> None:
    desk = Desk(store)

    def key(*cycle: str, layers: list[str] | None) -> str:
        return desk.ask(FindQuestion(puzzle="3x3x3", cycle=list(cycle), layers=layers)).key

    whole = key("UF", "UR", "UB", layers=None)
    assert key("DF", "DR", "DB", layers=None) == key("RF", "RU", "RB", layers=None) == whole
    assert key("UF", "RU", "UB", layers=None) != whole
    few = ["U", "R", "F"]
    assert key("UF", "UR", "FR", layers=few) == key("RU", "RF", "UF", layers=few)
    assert key("UF", "UR", "UB", layers=few) != key("UF", "UL", "UB", layers=few)
    assert key("UF", "UR", "UB", layers=[*"UDLRFB"]) == whole


@pytest.mark.parametrize("kind", ["corner", "edge"])
def test_an_atlas_says_to_the_letter_what_one_alone_says(
    kind: str, store: Store, levels: Levels
) -> None:
    puzzle = load("3x3x3")
    question = AtlasQuestion(puzzle="3x3x3", type=kind, half_length=4)
    report = answered(store, question)
    assert len(report.pop("result")) == 64
    types = atlases.wanted_types(puzzle, kind, None, None, None)
    wanted = atlases.AtlasRequest(puzzle, types, bounds=Bounds(half_length=4))
    alone = reports.atlas(wanted, list(atlases.atlas(Engine(levels), wanted)))
    assert report == json.loads(json.dumps(alone))
    assert report["entries"]


def test_blocked_puzzles_go_the_same_way(store: Store, levels: Levels) -> None:
    for question in (
        FindQuestion(puzzle="3x3x3-bandaged", cycle=["UR", "DL", "FL"], half_length=5, most=3),
        FindQuestion(puzzle="3x3x3-stops", cycle=["UF", "UR", "DL"], half_length=4, most=3),
    ):
        report = answered(store, question)
        del report["result"]
        assert report == alone(levels, question)
        assert report["answers"]
    puzzle = load("3x3x3-stops")
    asked = AtlasQuestion(puzzle="3x3x3-stops", type="edge", layers=["U", "R"], half_length=4)
    report = answered(store, asked)
    del report["result"]
    layers = (puzzle.layer_numbers["R"], puzzle.layer_numbers["U"])
    bounds = Bounds(half_length=4)
    types = atlases.wanted_types(puzzle, "edge", layers, None, None)
    wanted = atlases.AtlasRequest(puzzle, types, tuple(sorted(layers)), bounds=bounds)
    own = reports.atlas(wanted, list(atlases.atlas(Engine(levels), wanted)))
    assert report == json.loads(json.dumps(own))


def test_what_is_impossible_needs_no_job(store: Store) -> None:
    report = answered(store, FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "UF"]))
    assert report["impossible"] is True
    assert report["answers"] == []
    assert report["reason"].startswith("UFR is a corner and UF is an edge")
    commuting = FindQuestion(puzzle="3x3x3", cycle=["UF", "UR", "UB"], layers=["U", "D"])
    report = answered(store, commuting)
    assert "turning" in report["reason"] or "commute" in report["reason"]
    centres = answered(store, AtlasQuestion(puzzle="3x3x3", type="centre"))
    assert centres["impossible"] is True
    assert centres["entries"] == []
    assert "never leave" in centres["reason"]
    few = answered(store, AtlasQuestion(puzzle="3x3x3", type="corner", layers=["U"]))
    assert few["entries"] == []
    assert few["reason"]


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd",
        "/etc/passwd",
        "puzzles/catalogue/3x3x3.toml",
        "./3x3x3",
        "3x3x3.toml",
        "p-0123456789abcdef",
        "p-xyz",
        "",
        "<script>",
        "3x3x3\0",
        "x" * 5000,
    ],
)
def test_names_are_never_paths(name: str, store: Store) -> None:
    with pytest.raises(NameNotFoundError, match="there is no puzzle") as caught:
        puzzle_shelf.load(store, name)
    assert len(str(caught.value)) < 200
    with pytest.raises(NameNotFoundError):
        Desk(store).puzzle(name)
    with pytest.raises(NameNotFoundError):
        Desk(store).effect(name, "R")


@pytest.mark.parametrize(
    ("fields", "error", "text"),
    [
        ({"cycle": ["UFR", "UBL", "XYZ"]}, NameNotFoundError, "XYZ"),
        ({"cycle": ["UFR", "UBL", "UFR"]}, RequestError, "named twice"),
        ({"layers": ["Q"]}, NameNotFoundError, "no layer"),
        ({"keep": ["wing"]}, NameNotFoundError, "wing"),
        ({"keep": ["corner"], "free": ["edge"]}, RequestError, "not both"),
        ({"free": ["corner"]}, RequestError, "is to be cycled"),
        ({"weights": {"speed": 1}}, RequestError, "no column 'speed'"),
    ],
)
def test_bad_questions_are_one_sentence(
    fields: dict[str, Any], error: type[TrefoilError], text: str, store: Store
) -> None:
    given = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"], **fields}
    with pytest.raises(error, match=text) as caught:
        Desk(store).ask(FindQuestion.model_validate(given))
    assert "\n" not in str(caught.value)


def test_a_time_limit_is_of_whole_seconds(store: Store) -> None:
    """Searches and results are kept by their limits: there are only so many of these."""
    given = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"]}
    asked = [
        Desk(store).ask(FindQuestion.model_validate({**given, "seconds": seconds}))
        for seconds in (4.000001, 4.7, 5, 5.0, 5.1)
    ]
    assert [json.loads(one.spec)["seconds"] for one in asked] == [5, 5, 5, 5, 6]
    assert len({one.key for one in asked}) == 2


def test_the_best_so_far_is_in_the_askers_letters(store: Store) -> None:
    desk, puzzle = Desk(store), load("3x3x3")
    question = FindQuestion(puzzle="3x3x3", cycle=["DBR", "DFL", "UBL"], half_length=6)
    asked = desk.ask(question)
    spec = json.loads(asked.spec)
    told: list[dict[str, Any]] = []
    end = ended(store, asked.kind, spec, told=told)
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    words = [[w["cycle"], w["turns"]] for w in json.loads(content)["words"][:5]]
    progress = {"words": words, "half_length": 5, "complete": 8}
    report = json.loads(desk.partial(question, progress))
    assert report["searched"]["half_length"] == 5
    assert report["stopped_by"] is None
    triple = request(puzzle, question.cycle).triples()[0]
    assert 1 <= len(report["answers"]) <= 5
    for answer in report["answers"]:
        assert_three_cycle(puzzle, parse(puzzle, answer["sequence"]).word, triple)
    nothing: list[dict[str, Any]] = [{}, {"words": []}, {"half_length": 3}]
    for none in nothing:
        assert desk.partial(question, none) == b"null"
    assert desk.partial(PartsQuestion(puzzle="3x3x3"), progress) == b"null"
    # What a word does is looked at again, whoever told it.
    with pytest.raises(RuntimeError, match="does not do the cycle"):
        desk.partial(question, {"words": [[0, [0, 1, 2]]]})
    with pytest.raises(BrokenResultError):
        desk.partial(question, {"words": [[7, words[0][1]]]})


def test_the_best_so_far_where_turns_can_be_blocked(store: Store) -> None:
    question = FindQuestion(puzzle="3x3x3-bandaged", cycle=["UR", "DL", "FL"], half_length=5)
    desk = Desk(store)
    content = store.things.get("result", answered(store, question)["result"])
    assert content is not None
    words = [[w["cycle"], w["turns"]] for w in json.loads(content)["words"][:3]]
    report = json.loads(desk.partial(question, {"words": words, "half_length": 4}))
    assert report["searched"]["half_length"] == 4
    assert 1 <= len(report["answers"]) <= 3
    puzzle = load("3x3x3-bandaged")
    for answer in report["answers"]:
        assert puzzle.first_blocked(parse(puzzle, answer["notation"]).word) is None
    with pytest.raises(BrokenResultError):
        desk.partial(question, {"words": [[0, [0]]]})


def test_a_result_by_its_digest(store: Store) -> None:
    desk = Desk(store)
    question = FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], half_length=5)
    report = answered(store, question)
    content = store.things.get("result", report["result"])
    assert content is not None
    assert results.digest(content) == report["result"]
    own = json.loads(desk.result(content, question.cycle, most=10))
    assert own == report
    # Without a cycle it is the representative's, whose names are accepted back.
    plain = json.loads(desk.result(content))
    assert len(plain["answers"]) == len(report["answers"])
    assert json.loads(desk.result(content, plain["cycle"])) == plain
    # Images give images: as many families, the best as short and as easy; hands choose the rest.
    sizes = set()
    for cycle in (["UFR", "UBL", "DFL"], ["DBR", "DFL", "UBL"], ["UFL", "DFR", "UBR"]):
        shown = json.loads(desk.result(content, cycle, most=1000))["answers"]
        best = min(a["turns"] for a in shown), min(a["things"] for a in shown)
        sizes.add((*best, len(shown), sum(a["folded"] for a in shown)))
    assert len(sizes) == 1
    image = json.loads(desk.result(content, ["DBR", "DFL", "UBL"], most=2, left_handed=True))
    assert image["cycle"] == ["DBR", "DFL", "UBL"]
    assert len(image["answers"]) == 2
    with pytest.raises(RequestError, match="cycles that are its images") as caught:
        desk.result(content, ["UFR", "UFL", "UBL"])
    assert getattr(caught.value, "field", None) == "cycle"
    with pytest.raises(BrokenResultError):
        desk.answer(AtlasQuestion(puzzle="3x3x3", type="corner"), content)
    with pytest.raises(BrokenResultError):
        desk.answer(
            FindQuestion(puzzle="3x3x3", cycle=["UFR", "UFL", "UBL"], half_length=5), content
        )
    with pytest.raises(BrokenResultError):
        desk.answer(question, content, {"result": "0" * 64})


def test_what_is_folded_is_of_one_family_and_does_its_cycle(store: Store) -> None:
    """Shown and folded together are all that was found; each is applied to sampled points."""
    question = FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], half_length=6)
    puzzle, report = load("3x3x3"), answered(store, question)
    seen: list[str] = []
    for answer in report["answers"]:
        members = answer["members"]
        assert len(members) == min(answer["folded"], MOST_MEMBERS)
        ring = family_key(puzzle, alphabet(puzzle).normal(parse(puzzle, answer["sequence"]).word))
        for own in members:
            word = parse(puzzle, own["sequence"]).word
            assert len(word) == own["turns"]
            assert family_key(puzzle, alphabet(puzzle).normal(word)) == ring
            written = parse(puzzle, own["notation"]).word
            assert (puzzle.effect(written) == puzzle.effect(word)).all()
            assert_three_cycle(puzzle, word, request(puzzle, own["cycle"]).triples()[0])
        seen += [answer["sequence"], *(own["sequence"] for own in members)]
    assert any(answer["folded"] for answer in report["answers"])
    assert any(answer["folded"] > MOST_MEMBERS for answer in report["answers"])
    assert len(seen) == len(set(seen))


def test_results_of_a_puzzle_that_changed_are_outdated(store: Store) -> None:
    question = FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], half_length=5)
    content = store.things.get("result", answered(store, question)["result"])
    assert content is not None
    told = json.loads(content)
    told["tables"] = load("4x4x4").digest
    with pytest.raises(OutdatedError, match="search again"):
        Desk(store).result(json.dumps(told).encode())


def test_an_effect_is_what_try_prints(store: Store, asked: Ask) -> None:
    desk = Desk(store)
    for puzzle, sequence in (("3x3x3", "[R U R', D]"), ("4x4x4", "Rw U2"), ("three-wheels", "L R")):
        assert json.loads(desk.effect(puzzle, sequence)) == asked("try", puzzle, sequence)[1]
    with pytest.raises(NotationError):
        desk.effect("3x3x3", "R Q")
    with pytest.raises(TrefoilError):
        desk.effect("3x3x3", "[" * 10_000)
    with pytest.raises((RequestError, LimitError, NotationError)):
        desk.effect("3x3x3", "(R)1000000")
    with pytest.raises(RequestError, match="UFR"):
        desk.effect("3x3x3-bandaged", "R U R")
    with pytest.raises(RequestError, match="UFR"):
        desk.picture("3x3x3-bandaged", sequence="R U R")


def test_a_puzzle_in_short_and_its_picture(store: Store) -> None:
    desk = Desk(store)
    told = json.loads(desk.puzzle("3x3x3"))
    assert told["puzzle"] == told["name"] == "3x3x3"
    assert [kind["name"] for kind in told["types"] if kind["moves"]] == ["corner", "edge"]
    assert sorted(told["faces"]) == sorted("UDLRFB")
    assert "R2" in told["turns"]
    for given in ({}, {"cycle": "UFR, UBL DFL"}, {"sequence": "R U R' U'"}, {"sequence": ""}):
        drawn = desk.picture("3x3x3", **given)
        assert ElementTree.fromstring(drawn).tag.endswith("svg")
    assert desk.picture("3x3x3", cycle="UFR UBL DFL") == desk.picture("3x3x3", "UFR→UBL→DFL")
    with pytest.raises(RequestError, match="not several"):
        desk.picture("3x3x3", "UFR UBL DFL", "R")
    with pytest.raises(RequestError, match="one type"):
        desk.picture("3x3x3", "UFR UBL UF")
    with pytest.raises(RequestError, match="three-cycle"):
        desk.picture("3x3x3", "UFR")


def test_posted_puzzles_are_known_by_their_address(store: Store, asked: Ask) -> None:
    text = Path("puzzles/catalogue/3x3x3.toml").read_text(encoding="utf-8")
    text = text.replace("description = ", 'note = "UFR is a corner"\ndescription = ')
    end = ended(store, "compile", {"file": text})
    name = end.outcome["puzzle"]
    assert name == puzzle_shelf.address(text)
    assert puzzle_shelf.load(store, name) is puzzle_shelf.load(store, name)
    report = answered(store, FindQuestion(puzzle=name, cycle=["UFR", "UBL", "DFL"], half_length=5))
    content = store.things.get("result", report["result"])
    assert content is not None
    # Nothing that somebody wrote stands in a result, which numbers alone make up.
    assert json.loads(content)["spec"]["puzzle"] == name
    for written in (b"UFR", b"corner", b"description", b"cube"):
        assert written not in content
    same = answered(store, FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], half_length=5))
    assert [a["sequence"] for a in report["answers"]] == [a["sequence"] for a in same["answers"]]
    parts = answered(store, PartsQuestion(puzzle=name))
    assert parts["note"] == "UFR is a corner"
    plain = answered(store, PartsQuestion(puzzle="3x3x3"))
    del plain["result"]
    assert plain == asked("parts", "3x3x3")[1]
