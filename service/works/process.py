"""One worker process: how it gives way to others, gets ready, works, and leaves."""

from __future__ import annotations

import contextlib
import os
import secrets
import signal
import socket
from collections.abc import Callable
from types import FrameType
from typing import TYPE_CHECKING

from service.parents import leave_with
from service.settings import WORKER_NICENESS, ServiceSettings

if TYPE_CHECKING:
    from service.works.holding import Stop

#: What a worker prints on a line of its own when it is ready.
READY = "ready"
#: How long a worker whose parent is gone may take to give back what it has, in seconds.
PARENT_GRACE = 0.3
#: Variables that say how many threads libraries begin; a worker computes in one.
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


class Leaving:
    """Whether a process is to leave: it was told so, or the process that began it is gone."""

    def __init__(self, parent: int | None = None) -> None:
        self.told = False
        self._parent = parent

    def __call__(self) -> bool:
        return self.told or (self._parent is not None and os.getppid() != self._parent)

    def listen(self) -> None:
        """Leave at SIGTERM and SIGINT, at once when one comes again.

        A worker with a parent does not listen to SIGINT: Ctrl-C reaches the parent as well, which
        says to its workers what they are to do, more than once, and ends those that do not leave.
        """
        signal.signal(signal.SIGTERM, self._tell)
        signal.signal(signal.SIGINT, self._tell if self._parent is None else signal.SIG_IGN)

    def _tell(self, number: int, frame: FrameType | None) -> None:
        if self.told and self._parent is None:
            # What this process had is taken by others when its lease has run out.
            os._exit(128 + number)
        self.told = True


def restrain(settings: ServiceSettings) -> None:
    """Give way to all else on this machine, in one thread, with no more memory than allowed.

    Called before NumPy and Numba are imported, which begin their threads then.
    """
    for variable in _THREADS:
        os.environ[variable] = "1"
    with contextlib.suppress(OSError):
        os.nice(max(0, WORKER_NICENESS - os.nice(0)))
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        most = settings.worker_memory * 10**6
        if hard != resource.RLIM_INFINITY:
            most = min(most, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def warm() -> None:
    """Load the kernels, or compile them where that was not done yet."""
    # Only here: the supervisor imports this module, and never searches.
    from search import warming

    warming.warm()


def name() -> str:
    """Return a name that no other worker has."""
    return f"{socket.gethostname()[:40]}-{os.getpid()}-{secrets.token_hex(4)}"


def work(
    settings: ServiceSettings,
    parent: int | None = None,
    ready: Callable[[], None] = lambda: None,
    stop: Stop | None = None,
) -> None:
    """Be a worker until told to leave; ``ready()`` is called when the kernels are there.

    ``parent`` is the process that began this one, whose end ends it; None where a person did.
    Raises StoreError if the store cannot be opened.
    """
    restrain(settings)
    if parent is not None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        leave_with(parent, PARENT_GRACE)
    from service.stores import open_store
    from service.works.kinds import work_for
    from service.works.loop import run

    warm()
    leaving = Leaving(parent)
    leaving.listen()
    store = open_store(settings.store)
    try:
        ready()
        run(store, name(), work_for, stop or leaving, settings.lease_seconds)
    finally:
        store.close()


def tell_ready() -> None:
    """Say on standard output that this process is ready."""
    with contextlib.suppress(OSError, ValueError):
        print(READY, flush=True)
