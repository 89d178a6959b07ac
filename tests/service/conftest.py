"""Commands run in this process, on a cache that all tests of a run share."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from service.cli import run


@pytest.fixture(scope="session")
def shared_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache") / "searches.sqlite"


@pytest.fixture(autouse=True)
def _cache(monkeypatch: pytest.MonkeyPatch, shared_cache: Path) -> None:
    monkeypatch.setenv("TREFOIL_CACHE", str(shared_cache))
    monkeypatch.setenv("TREFOIL_THREADS", "1")


@pytest.fixture
def asked(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, Any]]:
    """Run a command with ``--json``; return its exit status and what it printed."""

    def ask(*arguments: str) -> tuple[int, Any]:
        status = run([*arguments, "--json"])
        return status, json.loads(capsys.readouterr().out)

    return ask
