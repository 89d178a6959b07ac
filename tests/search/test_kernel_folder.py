"""Where compiled kernels are kept: folders of other versions do not pile up."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

DAY = 86_400


def _used(cache: Path) -> Path:
    """Import the kernels' decorator in a new process; return the folder that it names."""
    surroundings = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    code = "from search.kernels import jit; print(jit.FOLDER)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**surroundings, "XDG_CACHE_HOME": str(cache)},
        capture_output=True,
        text=True,
        check=True,
    )
    return Path(done.stdout.strip())


def _days_ago(folder: Path, days: int) -> None:
    then = time.time() - days * DAY
    os.utime(folder, (then, then))


def test_folders_that_were_not_used_for_a_month_are_dropped(tmp_path: Path) -> None:
    kernels = tmp_path / "trefoil" / "kernels"
    for name, days in (("0" * 16, 31), ("1" * 16, 29), ("something else", 400)):
        (kernels / name / "inside").mkdir(parents=True)
        (kernels / name / "inside" / "file").write_text("")
        _days_ago(kernels / name, days)
    (kernels / ("2" * 16)).write_text("no folder")
    _days_ago(kernels / ("2" * 16), 400)
    own = _used(tmp_path)
    assert own.parent == kernels
    left = {path.name for path in kernels.iterdir()}
    assert left == {own.name, "1" * 16, "2" * 16, "something else"}
    # Only a new folder is a reason to look for old ones; to use it again says that it is in use.
    _days_ago(own, 31)
    _days_ago(kernels / ("1" * 16), 31)
    assert _used(tmp_path) == own
    assert own.stat().st_mtime > time.time() - DAY
    assert (kernels / ("1" * 16)).exists()


#: A kernel of next to nothing, on the decorator; it prints what was said and what came out.
SMALL = """
from search.kernels import jit
jit.when_damaged(print)

@jit.kernel
def doubled(x):
    return 2 * x

print(doubled(21))
"""


@pytest.mark.parametrize("junk", [b"", b"junk" * 20])
@pytest.mark.parametrize("ending", ["nbi", "nbc"])
def test_damaged_kernels_are_made_anew(tmp_path: Path, ending: str, junk: bytes) -> None:
    code = tmp_path / "small.py"
    code.write_text(SMALL)
    surroundings = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "kernels")}

    def said() -> list[str]:
        done = subprocess.run(
            [sys.executable, str(code)], env=surroundings, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.splitlines()

    assert said() == ["42"]
    kept = list((tmp_path / "kernels").rglob(f"*.{ending}"))
    assert kept
    for path in kept:
        path.write_bytes(junk)
    assert said() == ["The compiled search kernels were damaged and are made anew.", "42"]
    # They were repaired, and not only passed over.
    assert said() == ["42"]
    assert all(path.read_bytes() != junk for path in kept)


def test_kernels_that_cannot_be_kept_leave_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    surroundings = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    code = "from search.kernels import jit; print(jit.FOLDER); print(jit.why_not_kept())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**surroundings, "XDG_CACHE_HOME": str(tmp_path / "file")},
        capture_output=True,
        text=True,
        check=True,
    )
    folder, why = done.stdout.splitlines()
    assert not Path(folder).exists()
    assert why == f"{tmp_path / 'file' / 'trefoil' / 'kernels'} is not writable"
