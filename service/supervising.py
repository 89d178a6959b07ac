"""Worker processes under the eye of the service: begun, replaced when they die, told to leave."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from service.works.process import READY

#: How often it is looked whether workers are alive, in seconds.
LOOK_SECONDS = 0.1
#: A worker that was not ready and ended earlier than this ended at once, in seconds.
AT_ONCE = 10.0
#: The first and the longest pause before a worker that ended at once is begun again, in seconds.
FIRST_PAUSE, LONGEST_PAUSE = 0.5, 30.0
#: After so many workers in a row that ended at once it is told for the last time.
TOLD_AFTER = 3


@dataclass
class _Place:
    """Where one worker belongs, and the process that is there now."""

    process: subprocess.Popen[bytes] | None = None
    began: float = 0.0
    due: float = 0.0
    in_a_row: int = 0
    ready: bool = False


class Workers:
    """So many worker processes, looked after by a thread of its own.

    The first one is begun alone, since kernels that have to be compiled are compiled once then.
    ``command`` is what is run, ``told`` is called with a sentence about what a person should know.
    """

    def __init__(
        self,
        count: int,
        environment: Mapping[str, str],
        told: Callable[[str], None],
        command: Sequence[str] | None = None,
    ) -> None:
        # -P: a folder that somebody happens to be in names no modules.
        own = [sys.executable, "-P", "-m", "service.works", str(os.getpid())]
        self._command = list(own if command is None else command)
        self._environment = {**os.environ, **environment}
        self._told = told
        self._places = [_Place() for _ in range(count)]
        self._warm = False
        self._leaving = threading.Event()
        self._thread = threading.Thread(target=self._look_after, name="workers", daemon=True)

    def start(self) -> None:
        """Begin the workers; returns at once."""
        self._thread.start()

    @property
    def processes(self) -> list[int]:
        """The process numbers of the workers that are there now."""
        return [place.process.pid for place in self._places if place.process is not None]

    @property
    def ready(self) -> int:
        """How many workers are ready."""
        return sum(place.ready for place in self._places)

    def tell(self, number: int = signal.SIGTERM) -> None:
        """Send all workers a signal, and begin no more; returns at once."""
        self._leaving.set()
        for place in self._places:
            # A worker that nobody has waited for keeps its number, so that no other is hit.
            if place.process is not None and place.process.returncode is None:
                with contextlib.suppress(OSError):
                    os.kill(place.process.pid, number)

    def stop(self, seconds: float) -> None:
        """Tell all workers to leave, wait so long at most, and end those that are still there."""
        self.tell()
        if self._thread.ident is not None:
            self._thread.join()
        # One that was begun while the others were told.
        self.tell()
        until = time.monotonic() + seconds
        for place in self._places:
            if place.process is None:
                continue
            try:
                place.process.wait(max(0.0, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                place.process.kill()
                place.process.wait()
            _close(place.process)
            place.process, place.ready = None, False

    def _look_after(self) -> None:
        while not self._leaving.wait(LOOK_SECONDS):
            now = time.monotonic()
            for number, place in enumerate(self._places):
                if place.process is None:
                    if now >= place.due and (number == 0 or self._warm):
                        self._begin(place, now)
                    continue
                place.ready = place.ready or _says_ready(place.process)
                self._warm = self._warm or place.ready
                if place.process.poll() is not None:
                    self._ended(place, now)

    def _begin(self, place: _Place, now: float) -> None:
        place.began, place.ready = now, False
        try:
            place.process = subprocess.Popen(
                self._command,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
            )
        except OSError as error:
            self._again(place, now, f"it cannot be begun: {error.strerror}")
            return
        assert place.process.stdout is not None
        os.set_blocking(place.process.stdout.fileno(), False)

    def _ended(self, place: _Place, now: float) -> None:
        assert place.process is not None
        how = _how_ended(place.process.returncode)
        _close(place.process)
        place.process = None
        self._again(place, now, how)
        place.ready = False

    def _again(self, place: _Place, now: float, how: str) -> None:
        """Have a place filled again: at once, or after a pause where none gets as far as work."""
        if place.ready or now - place.began >= AT_ONCE:
            place.in_a_row = 0
            place.due = now
            self._told(f"a worker ended ({how}); another one takes its place")
            return
        place.in_a_row += 1
        wait = min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** (place.in_a_row - 1))
        place.due = now + wait
        if place.in_a_row < TOLD_AFTER:
            self._told(f"a worker ended before it was ready ({how}); another one takes its place")
        elif place.in_a_row == TOLD_AFTER:
            self._told(
                f"{TOLD_AFTER} workers in a row ended at once ({how}); without one, nothing is "
                f"searched. It is tried again, at last every {LONGEST_PAUSE:g} s"
            )


def _says_ready(process: subprocess.Popen[bytes]) -> bool:
    """Return whether a worker has printed that it is ready; what else it prints is dropped."""
    assert process.stdout is not None
    try:
        text = process.stdout.read() or b""
    except OSError:
        return False
    return READY.encode() in text.split()


def _how_ended(status: int) -> str:
    if status >= 0:
        return f"exit status {status}"
    with contextlib.suppress(ValueError):
        return f"by {signal.Signals(-status).name}"
    return f"by signal {-status}"


def _close(process: subprocess.Popen[bytes]) -> None:
    if process.stdout is not None:
        process.stdout.close()
