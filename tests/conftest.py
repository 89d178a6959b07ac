"""What all tests share: hypothesis without time limits, so that a slow machine fails nothing, and
the order of files where several are run beside each other."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("trefoil", deadline=None, max_examples=60, derandomize=True)
settings.load_profile("trefoil")

ROOT = Path(__file__).parent
#: What comes first. Puzzles need no kernels, which can be compiled meanwhile; files that take long
#: come before the others, since all would wait for one that begins last.
FIRST = (
    "puzzles",
    "service/test_killed.py",
    "test_benchmarks.py",
    "service/test_faults.py",
    "test_readme.py",
    "service/test_redis_faults.py",
    "service/test_serving.py",
    "search/test_solving.py",
    "search/test_solving_blocked.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: _place(item.path.relative_to(ROOT)))


def _place(path: Path) -> int:
    found = (k for k, one in enumerate(FIRST) if path.is_relative_to(one))
    return next(found, len(FIRST))
