"""`trefoil finish` and the API's finishes: the same object, in a terminal, as JSON and as a job."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.states import from_cycles, from_sequence
from service.api.finish_models import FinishReport
from service.cli import run
from service.desk import Desk
from service.finish_report import entry
from service.questions import FinishQuestion
from service.requesting import FieldError
from service.stores.base import State
from service.stores.sqlite import SqliteStore
from service.works.kinds import work_for

Ask = Callable[..., tuple[int, Any]]

BOTH = "(UFR UBL DFL)(UF UB UR)"


def ended(store: SqliteStore, question: FinishQuestion, going: Callable[[], bool]) -> Any:
    asked = Desk(store).ask(question)
    assert asked.kind == "finish"
    spec = json.loads(asked.spec)
    return work_for("finish").plan(store, spec, 0, [], 0.0, lambda news: going())


def test_steps_as_json(asked: Ask) -> None:
    status, told = asked("finish", "3x3x3", "--cycles", BOTH)
    assert status == 0
    FinishReport.model_validate(told)
    assert told["unsolved"] == ["UFR", "UBL", "DFL", "UF", "UB", "UR"]
    assert told["cycles"] == ["(UFR UBL DFL)", "(UF UB UR)"]
    puzzle = load("3x3x3")
    state = from_cycles(puzzle, BOTH)
    for step in told["steps"]:
        state = state.after(puzzle.effect(parse(puzzle, step["notation"]).word))
        assert len(state.unsolved) == step["unsolved"]
    assert state.is_solved
    whole = parse(puzzle, told["sequence"]).word
    assert len(whole) == told["turns"]
    assert from_cycles(puzzle, BOTH).after(puzzle.effect(whole)).is_solved
    assert all(part["proven"] for part in told["types"])


def test_every_way_to_enter_is_one_state(asked: Ask) -> None:
    puzzle = load("3x3x3")
    text = from_sequence(puzzle, "[R U R' U', L']").text()
    ways = [
        ("--sequence", "[R U R' U', L']"),
        ("--cycles", "(UFL RBU BLU)"),
        ("--pieces", text),
    ]
    told = [asked("finish", "3x3x3", *way)[1] for way in ways]
    assert all(one == told[0] for one in told)
    own = ["--stickers", "UF=green,white UB=blue,white", "--colours", "U=white F=green B=blue"]
    assert asked("finish", "3x3x3", *own)[1]["cycles"] == ["(UF FU)", "(UB BU)"]


def test_what_is_printed(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "state.svg"
    assert run(["finish", "3x3x3", "--cycles", "(UFR UBL DFL)", "--picture", str(picture)]) == 0
    text = capsys.readouterr().out
    flat = " ".join(text.split())
    assert "hold       U up, F in front" in text
    assert "then solved  everything" in text
    # The table has the shortest commutator forms that were looked for: no claim about others.
    assert "proven best in the table: no product of at most four three-cycles of corners" in flat
    assert "done by the sequence that the table has" in flat
    assert picture.read_text().startswith("<svg")
    assert run(["finish", "3x3x3", "--sequence", "R R'"]) == 0
    assert "This is solved already" in capsys.readouterr().out


def test_impossible_states(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    status, told = asked("finish", "3x3x3", "--cycles", "(UFR RUF FRU)")
    assert status == 3
    FinishReport.model_validate(told)
    assert told["possible"] is False
    assert told["reason"].startswith("No sequence solves this: one corner alone can't be twisted")
    assert told["repair"]["pieces"] == ["UFR"]
    assert told["repair"]["least"] is True
    assert run(["finish", "3x3x3", "--cycles", "(UF UB)"]) == 3
    text = capsys.readouterr().out
    assert "Smallest repair, 2 pieces taken out" in text
    assert "Swap the edge at UF with that at UB." in text


BAD = [
    ([], "none was given"),
    (["--cycles", BOTH, "--sequence", "R"], "sequence and cycles were given"),
    (["--pieces", "UFR=UBL"], "UFR is missing"),
    (["--stickers", "UFR=RFU"], "mirror image"),
    (["--cycles", BOTH, "--colours", "U=white"], "colours are for stickers"),
    (["--cycles", BOTH, "--by", "beauty"], "turns, sequences, memory was expected"),
    (["--sequence", "R Q"], "Q"),
    (["--stickers", "UF=" + "F" * 30_000], "at most 20,000 characters"),
]


@pytest.mark.parametrize(("words", "says"), BAD)
def test_bad_input(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["finish", "3x3x3", *words]) == 2
    printed = capsys.readouterr()
    assert says in printed.err
    assert printed.err.count("\n") == 1
    assert not printed.out


def test_where_turns_can_be_blocked(
    store: SqliteStore, asked: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a terminal and as a job; what no turns lead to is told by the job, with its reason."""
    puzzle = load("3x3x3-bandaged")
    status, told = asked("finish", "3x3x3-bandaged", "--sequence", "B' L'")
    assert status == 0
    FinishReport.model_validate(told)
    assert [step["kind"] for step in told["steps"]] == ["way home"]
    before, whole = (parse(puzzle, told[key]).word for key in ("before", "sequence"))
    assert puzzle.first_blocked((*before, *whole)) is None
    question = FinishQuestion(puzzle="3x3x3-bandaged", sequence="B' L'")
    end = ended(store, question, lambda: True)
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    job = json.loads(Desk(store).answer(question, content, end.outcome))
    assert job.pop("result") == end.outcome["result"]
    assert job == told
    torn = FinishQuestion(puzzle="3x3x3-bandaged", cycles="(UFR UBR UFL)")
    assert Desk(store).ask(torn).body is None
    end = ended(store, torn, lambda: True)
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    job = json.loads(Desk(store).answer(torn, content, end.outcome))
    FinishReport.model_validate(job)
    assert "fastened together" in job["reason"]
    assert job["repair"]["least"] is False
    assert run(["finish", "3x3x3-bandaged", "--cycles", "(UFR UBR UFL)"]) == 3
    assert "fastened together" in capsys.readouterr().out


def test_a_state_where_turns_can_be_blocked_while_it_is_entered() -> None:
    """Only the steps tell whether it can be solved; what the laws forbid is said at once."""
    puzzle = load("3x3x3-bandaged")
    told = entry(puzzle, {"sequence": "B' L'"})
    assert (told["possible"], told["reason"], told["complaint"]) == (None, None, None)
    told = entry(puzzle, {"cycles": "(DFR RDF FRD)"})
    assert told["possible"] is False
    assert "repair" not in told["reason"]


@pytest.fixture
def store(tmp_path: Path) -> SqliteStore:
    return SqliteStore(tmp_path / "store.sqlite")


def test_a_job_gives_what_is_printed(store: SqliteStore, asked: Ask) -> None:
    question = FinishQuestion(puzzle="3x3x3", cycles=BOTH)
    end = ended(store, question, lambda: True)
    assert end.state is State.DONE
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    desk = Desk(store)
    told = json.loads(desk.answer(question, content, end.outcome))
    assert json.loads(desk.result(content)) == told
    assert told.pop("result") == end.outcome["result"]
    _, printed = asked("finish", "3x3x3", "--cycles", BOTH)
    assert told == printed
    again = Desk(store).ask(FinishQuestion(puzzle="3x3x3", cycles="(DFL UFR UBL)(UR UF UB)"))
    assert again.key == Desk(store).ask(question).key


def test_an_impossible_state_needs_no_job(store: SqliteStore) -> None:
    asked = Desk(store).ask(FinishQuestion(puzzle="3x3x3", cycles="(UFR RUF FRU)"))
    assert asked.body is not None
    told = json.loads(asked.body)
    assert told["impossible"] is True
    assert "twisted" in told["reason"]


def test_a_wrong_field_is_named(store: SqliteStore) -> None:
    with pytest.raises(FieldError) as caught:
        Desk(store).ask(FinishQuestion(puzzle="3x3x3", pieces="UFR=UBL"))
    assert caught.value.field == "pieces"
    question = FinishQuestion(puzzle="3x3x3", stickers="UF=FU", colours="U=red D=red")
    with pytest.raises(FieldError) as caught:
        Desk(store).ask(question)
    assert caught.value.field == "colours"


def test_a_job_can_be_stopped_and_knows_its_name(
    store: SqliteStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Longer than what is undone directly, which takes no time.
    turns = "U R F L P Q S E B W T D U2 R2 F2 L2 P2 Q2"
    question = FinishQuestion(puzzle="dodecahedron-faces", sequence=turns)
    began = time.monotonic()
    end = ended(store, question, lambda: time.monotonic() - began < 0.3)
    assert end.state is State.STOPPED
    asked = Desk(store).ask(question)
    work, spec = work_for("finish"), json.loads(asked.spec)
    assert work.key(store, spec, lambda news: True) == asked.key
    monkeypatch.setattr("service.finishing.version", lambda: "another")
    assert work.key(store, spec, lambda news: True) != asked.key
