"""The one decorator for compiled kernels, and the folder where the compiled code is kept.

The folder's name holds a digest of all kernel sources: Numba itself looks only at the file of the
function that is called, so that an edit in a module that it calls would go unseen.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

#: Compiled kernels of other versions are dropped when they were not used for so many days.
DAYS_KEPT = 30

P = ParamSpec("P")
R = TypeVar("R")


def _sources() -> str:
    state = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        state.update(path.read_bytes())
    return state.hexdigest()[:16]


def _folder() -> Path:
    """Return a private folder for compiled kernels: the user's cache, else a temporary one."""
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = base / "trefoil" / "kernels" / _sources()
    try:
        is_new = not folder.exists()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        # The time of the folder says when it was used last.
        os.utime(folder)
    except OSError:
        return Path(tempfile.mkdtemp(prefix="trefoil-kernels-"))
    if is_new:
        _drop_unused(folder)
    return folder


def _drop_unused(folder: Path) -> None:
    """Drop the folders beside one that are named like it and were not used for DAYS_KEPT days."""
    oldest = time.time() - DAYS_KEPT * 86_400
    with contextlib.suppress(OSError):
        for other in list(folder.parent.iterdir()):
            if re.fullmatch("[0-9a-f]{16}", other.name) and other.lstat().st_mtime < oldest:
                shutil.rmtree(other, ignore_errors=True)


#: Where compiled kernels are kept; set before Numba is imported, which reads it only then.
FOLDER = Path(os.environ.setdefault("NUMBA_CACHE_DIR", str(_folder())))


def warm() -> bool:
    """Return whether compiled kernels are there, so that there is no compiling to wait for."""
    return any(FOLDER.rglob("*.nbc"))


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function of plain arrays and numbers, without the interpreter lock, and keep it."""
    import numba

    compiled: Any = numba.njit(cache=True, nogil=True, boundscheck=None)(function)
    return cast(Callable[P, R], compiled)
