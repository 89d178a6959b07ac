"""The one decorator for compiled kernels, and the folder where the compiled code is kept.

The folder's name holds a digest of all kernel sources: Numba itself looks only at the file of the
function that is called, so that an edit in a module that it calls would go unseen.
"""

from __future__ import annotations

import atexit
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


def _base() -> Path:
    """Return where the folders of all versions belong; raises RuntimeError without a home."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "trefoil" / "kernels"


def _folder() -> tuple[Path, bool]:
    """Return a private folder for compiled kernels, and whether they stay there.

    It is in the user's cache, else a temporary one that is removed when the process ends.
    """
    try:
        folder = _base() / _sources()
        is_new = not folder.exists()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        # The time of the folder says when it was used last.
        os.utime(folder)
    except (OSError, RuntimeError):
        folder = Path(tempfile.mkdtemp(prefix="trefoil-kernels-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        return folder, False
    if is_new:
        _drop_unused(folder)
    return folder, True


def _drop_unused(folder: Path) -> None:
    """Drop the folders beside one that are named like it and were not used for DAYS_KEPT days."""
    oldest = time.time() - DAYS_KEPT * 86_400
    with contextlib.suppress(OSError):
        for other in list(folder.parent.iterdir()):
            if re.fullmatch("[0-9a-f]{16}", other.name) and other.lstat().st_mtime < oldest:
                shutil.rmtree(other, ignore_errors=True)


def _chosen() -> tuple[Path, bool]:
    given = os.environ.get("NUMBA_CACHE_DIR")
    return (Path(given), True) if given else _folder()


#: Where compiled kernels are, and whether they stay; set before Numba reads it, which is only once.
FOLDER, STAYS = _chosen()
os.environ["NUMBA_CACHE_DIR"] = str(FOLDER)


def why_not_kept() -> str:
    """Return why compiled kernels cannot be kept, empty if they can."""
    if STAYS:
        return ""
    try:
        return f"{_base()} is not writable"
    except RuntimeError:
        return "there is no home folder"


def warm() -> bool:
    """Return whether compiled kernels are there, so that there is no compiling to wait for."""
    return any(FOLDER.rglob("*.nbc"))


class _Repairing:
    """Numba's cache of one function, which takes damaged files for missing ones and replaces them.

    What Numba reads it unpickles unchecked, so that anything may be raised; it would be so in every
    later process as well. ``told`` is called once in a process, with a sentence.
    """

    told: Callable[[str], None] | None = None

    def __init__(self, cache: Any) -> None:
        self._cache = cache

    def load_overload(self, signature: Any, target: Any) -> Any:
        try:
            return self._cache.load_overload(signature, target)
        except Exception:
            told, _Repairing.told = _Repairing.told, None
            if told is not None:
                told("The compiled search kernels were damaged and are made anew.")
            try:
                # An empty index: the function is compiled, and its files are written again.
                self._cache.flush()
            except OSError:
                self._cache.disable()
            return None

    def save_overload(self, signature: Any, compiled: Any) -> None:
        # A full disk is no reason not to use what was compiled.
        with contextlib.suppress(OSError):
            self._cache.save_overload(signature, compiled)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cache, name)


def when_damaged(told: Callable[[str], None]) -> None:
    """Have ``told`` called, at most once, with a sentence if kept kernels turn out damaged."""
    _Repairing.told = staticmethod(told)


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function of plain arrays and numbers, without the interpreter lock, and keep it."""
    import numba

    compiled: Any = numba.njit(cache=True, nogil=True, boundscheck=None)(function)
    compiled._cache = _Repairing(compiled._cache)
    return cast(Callable[P, R], compiled)
