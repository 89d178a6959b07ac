"""Posted puzzle files, compiled in a process of their own with limits on time and memory.

``python -m service.works.compiling`` reads a puzzle file from its standard input and says in JSON
on its standard output what is wrong with it, if anything is.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from typing import Any

from puzzles.errors import LimitError, PuzzleFileError, TrefoilError
from service import puzzle_shelf
from service.specs import CompileSpec
from service.stores.base import State, Store
from service.works.base import Deal, End, Tick, Work

#: Seconds of computing and megabytes that one file may take; the catalogue's take less than 1 s.
#: Less than a reader has for one message (``limits.Limits``), which loads the puzzle again.
COMPILED_SECONDS, COMPILED_MEMORY = 10, 1_500
#: The most seconds by the clock, on a machine that has much else to do.
LONGEST_SECONDS = 12.0 * COMPILED_SECONDS
#: The command that compiles; it takes no module from the folder in which it is begun.
COMMAND = [sys.executable, "-P", "-m", "service.works.compiling"]
#: How the file is called in sentences about it.
WHERE = "the puzzle file"
#: Seconds between two ticks.
BETWEEN = 0.1
TOO_LONG = f"{WHERE}: compiling it takes more than {COMPILED_SECONDS} s; fewer layers would do"
TOO_LARGE = f"{WHERE}: compiling it takes more than {COMPILED_MEMORY} MB; fewer layers would do"


class CompileWork(Work):
    """A puzzle file is kept under its address if it can be compiled, and nothing is if not."""

    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        spent: float,
        tick: Tick,
    ) -> Deal | End:
        own = CompileSpec.model_validate(spec)
        if not tick({"step": "compiling the puzzle"}) or not compiles(own.file, tick):
            return End(State.STOPPED)
        return End(State.DONE, {"puzzle": puzzle_shelf.keep(store, own.file)})


def compiles(text: str, tick: Tick) -> bool:
    """Return whether a file was compiled; false if a tick said to stop before that.

    Raises PuzzleFileError or LimitError with what is wrong with it.
    """
    # More threads of arrays would only take memory.
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    # Files on both ends: a pipe would have to be filled and emptied while it goes on.
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as said:
        given.write(text.encode())
        given.seek(0)
        until = time.monotonic() + LONGEST_SECONDS
        with subprocess.Popen(
            COMMAND, stdin=given, stdout=said, stderr=subprocess.DEVNULL, env=environment
        ) as doing:
            try:
                while not _ended(doing):
                    if not tick(None):
                        return False
                    if time.monotonic() > until:
                        raise LimitError(TOO_LONG)
            finally:
                doing.kill()
        said.seek(0)
        answer = said.read()
    if doing.returncode != 0:
        # The system ends it when its seconds are over; it says itself when memory is.
        raise LimitError(TOO_LONG if doing.returncode < 0 else TOO_LARGE)
    told = json.loads(answer)
    if told is not None:
        raise PuzzleFileError(str(told))
    return True


def _ended(doing: subprocess.Popen[bytes]) -> bool:
    """Wait until the next tick is due; return whether a process ended before that."""
    try:
        doing.wait(BETWEEN)
    except subprocess.TimeoutExpired:
        return False
    return True


def main() -> None:
    """Compile the file on standard input."""
    resource.setrlimit(resource.RLIMIT_CPU, (COMPILED_SECONDS, COMPILED_SECONDS + 1))
    memory = COMPILED_MEMORY * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    from puzzles.compile import from_text

    text = sys.stdin.buffer.read().decode()
    try:
        puzzle = from_text(puzzle_shelf.address(text), text, WHERE)
    except MemoryError:
        sys.exit(1)
    except TrefoilError as error:
        print(json.dumps(str(error)))
        return
    # What every question about it needs, so that it is known to be within the limits.
    assert puzzle.digest
    print("null")


if __name__ == "__main__":
    main()
