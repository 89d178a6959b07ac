"""A service for each module of tests, and problems that are looked at the same way everywhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.service.api.harness import Served, serving


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service that the tests of a module share."""
    with serving(tmp_path_factory.mktemp("service")) as served:
        yield served


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """Return a service of its own."""
    with serving(tmp_path) as served:
        yield served
