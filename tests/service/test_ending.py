"""How the program ends when its output is closed, full or left, and when it is interrupted."""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

COMMAND = [sys.executable, "-m", "service.cli"]


def _no_room() -> None:
    # Any file that is written to is "too large", as if the disk were full.
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))


@pytest.mark.parametrize(
    "words",
    [
        ["try", "3x3x3", "R"],
        ["try", "3x3x3", "R", "--json"],
        ["try", "3x3x3", "Q", "--json"],
        ["scramble", "3x3x3"],
        ["--help"],
        ["puzzles"],
    ],
    ids=" ".join,
)
def test_output_that_takes_nothing_is_said(tmp_path: Path, words: list[str]) -> None:
    with (tmp_path / "output").open("w") as output:
        done = subprocess.run(
            [*COMMAND, *words], stdout=output, stderr=subprocess.PIPE, preexec_fn=_no_room
        )
    assert done.returncode == 2
    [line] = done.stderr.decode().splitlines()
    assert line.startswith("trefoil: the output could not be written (")


def test_a_picture_that_does_not_fit_is_said(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "try", "3x3x3", "R", "--picture", str(tmp_path / "picture.svg")],
        capture_output=True,
        preexec_fn=_no_room,
    )
    assert done.returncode == 2
    assert b"picture.svg: cannot be written (" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("closed", ["1>&-", "1>&- 2>&-"])
def test_output_that_is_closed(closed: str) -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", f'"$0" -m service.cli try 3x3x3 R {closed}', sys.executable],
        capture_output=True,
    )
    assert done.returncode == 2
    lines = done.stderr.decode().splitlines()
    assert len(lines) == (1 if closed == "1>&-" else 0)
    assert all("standard output is closed" in line for line in lines)


@pytest.mark.parametrize(
    "words",
    [["scramble", "3x3x3", "--count", "1000"], ["puzzles"], ["puzzles", "--json"], ["--help"]],
    ids=" ".join,
)
def test_a_reader_that_leaves_is_141(words: list[str]) -> None:
    work = subprocess.Popen([*COMMAND, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert work.stdout is not None
    work.stdout.close()
    assert work.stderr is not None
    err = work.stderr.read()
    assert work.wait(timeout=60) == 141
    assert err == b""


#: Runs the command, but waits, after saying so, where a module is imported for the first time.
WAITING = """
import sys, time

class Wait:
    def find_spec(self, name, path=None, target=None):
        if name == sys.argv[1]:
            print("here", flush=True)
            time.sleep(60)

sys.meta_path.insert(0, Wait())
from service.cli import main
main(sys.argv[2:])
"""


@pytest.mark.parametrize("module", ["service.output", "typer", "puzzles.file", "service.tables"])
def test_an_interrupt_while_modules_are_imported_is_silent(module: str) -> None:
    work = subprocess.Popen(
        [sys.executable, "-c", WAITING, module, "puzzles"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert work.stdout is not None
    assert work.stdout.readline() == b"here\n"
    work.send_signal(signal.SIGINT)
    out, err = work.communicate(timeout=60)
    assert (work.returncode, out, err) == (130, b"", b"")


def test_the_program_begins_with_next_to_nothing() -> None:
    code = "import sys; old = {*sys.modules}; import service.cli; print(*{*sys.modules} - old)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(done.stdout.split()) - sys.stdlib_module_names == {"service", "service.cli"}
