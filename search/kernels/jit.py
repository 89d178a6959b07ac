"""The one decorator for compiled kernels, and the folder where the compiled code is kept.

The folder's name holds a digest of all kernel sources: Numba itself looks only at the file of the
function that is called, so that an edit in a module that it calls would go unseen.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

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
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        folder = Path(tempfile.mkdtemp(prefix="trefoil-kernels-"))
    return folder


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
