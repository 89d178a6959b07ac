"""What a process that goes on for long remembers of puzzles, given up before it is too much.

Tables, scopes and names are kept by caches that each hold so many puzzles. Puzzles that people post
come without end and may be large, so that all caches are emptied from time to time: what is
needed again is made again.
"""

from __future__ import annotations

import functools
import gc
import resource
import threading
from pathlib import Path

#: Posted puzzles that are remembered together.
MOST_POSTED = 8
#: The share of the memory that a process may have from which on it forgets, and by how much more
#: it must have grown to do so again.
SHARE, GROWTH = 0.6, 0.1
#: The packages whose caches hold puzzles.
PACKAGES = ("puzzles", "search")

_lock = threading.Lock()
_posted: set[str] = set()
_left = 0.0


def make_room(posted: str = "") -> None:
    """Empty all caches if there are too many puzzles, or too little memory is left.

    ``posted`` is the address of a posted puzzle that is to be loaded.
    """
    global _left
    with _lock:
        many = bool(posted) and posted not in _posted and len(_posted) >= MOST_POSTED
        used = _used()
        if many or used > max(SHARE, _left + GROWTH):
            forget()
            _posted.clear()
            _left = _used() if used > SHARE else 0.0
        if posted:
            _posted.add(posted)


def forget() -> None:
    """Empty all caches that hold puzzles."""
    for found in gc.get_objects():
        if isinstance(found, functools._lru_cache_wrapper):
            module = str(getattr(found, "__module__", ""))
            if module.partition(".")[0] in PACKAGES:
                found.cache_clear()
    gc.collect()


def _used() -> float:
    """Return the share of the memory this process may have that it uses, 0 where all is allowed."""
    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    if limit == resource.RLIM_INFINITY or limit <= 0:
        return 0.0
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (OSError, ValueError, IndexError):
        return 0.0
    return pages * resource.getpagesize() / limit
