"""Long-running processes: many posted puzzles, and little memory."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from service import forgetting, puzzle_shelf
from service.stores.sqlite import SqliteStore


def alone(code: str) -> str:
    """Return what code prints in a process of its own: other tests want what they remember."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_posted_puzzles_make_room_for_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    forgot: list[int] = []
    monkeypatch.setattr(forgetting, "_posted", set())
    monkeypatch.setattr(forgetting, "forget", lambda: forgot.append(1))
    store = SqliteStore(tmp_path / "store.sqlite")
    text = Path("puzzles/catalogue/2x2x2.toml").read_text(encoding="utf-8")
    names = [
        puzzle_shelf.keep(store, f"{text}\n# {k}\n") for k in range(3 * forgetting.MOST_POSTED)
    ]
    for name in names:
        first = puzzle_shelf.load(store, name)
        # What is asked for again is not made again.
        assert puzzle_shelf.load(store, name) is first
        assert len(forgetting._posted) <= forgetting.MOST_POSTED
    assert len(forgot) == 2
    assert puzzle_shelf.load(store, "3x3x3") is puzzle_shelf.load(store, "3x3x3")
    assert len(forgot) == 2


def test_all_that_is_remembered_of_puzzles_is_given_up() -> None:
    code = """
import gc, weakref
from pathlib import Path
from puzzles.compile import from_text
from search.request import request
from search import find
from service import forgetting
text = Path("puzzles/catalogue/2x2x2.toml").read_text(encoding="utf-8")
puzzle = from_text("own", text, "own")
assert find(puzzle, "UFR UFL UBR", half_length=4).answers
puzzle = weakref.ref(puzzle)
gc.collect()
assert puzzle() is not None
forgetting.forget()
assert puzzle() is None, gc.get_referrers(puzzle())
again = from_text("own", text, "own")
assert find(again, "UFR UFL UBR", half_length=4).answers
"""
    alone(code)


def test_little_memory_makes_a_process_forget_and_go_on() -> None:
    """A process with little more memory than its modules take answers for all large puzzles."""
    code = """
import json, resource, sys
from service import forgetting, puzzle_shelf
from search import answers
from search.encoding import scope
from search.frames import frames, bases
from service.stores.base import Store
pages = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (pages + 400_000_000,) * 2)
forgot = []
real = forgetting.forget
forgetting.SHARE = (pages + 40_000_000) / (pages + 400_000_000)
forgetting.forget = lambda: (forgot.append(1), real())
for name in ("ball-sixths", "5x5x5", "dodecahedron-faces", "ball-sixths-114", "4x4x4") * 2:
    puzzle = puzzle_shelf.load(None, name)
    for kind in scope(puzzle).wanted:
        own = scope(puzzle, None, None, (kind,))
        if int(bases(own)[-1]) < 2_500_000:
            frames(own, (0,))
print(json.dumps(len(forgot)))
"""
    assert json.loads(alone(code)) >= 1
