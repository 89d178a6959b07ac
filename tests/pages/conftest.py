"""A service with a worker for each module of tests of pages, and one browser for all."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest

from service.works.kinds import work_for
from service.works.loop import run
from tests.pages.browser import browser
from tests.service.api.harness import Served, serving


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service that does what it is asked for."""
    with serving(tmp_path_factory.mktemp("site")) as served:
        leaving = threading.Event()
        worker = threading.Thread(
            target=run, args=(served.store, "tester", work_for, leaving.is_set)
        )
        worker.start()
        served.client.headers["Accept"] = "text/html,application/xhtml+xml,*/*;q=0.8"
        yield served
        leaving.set()
        worker.join(10)


@pytest.fixture(scope="module")
def found(site: Served) -> str:
    """Return the address of a result on the 2x2x2."""
    question = {"puzzle": "2x2x2", "cycle": ["UFR", "UBL", "DFR"], "half_length": 4}
    told = site.post(question, prefer="wait=10").json()
    while told["state"] in ("waiting", "running"):
        # Kernels may have to be compiled first.
        told = site.post(question, prefer="wait=10").json()
    assert told["state"] == "done"
    assert told["result"] == f"/api{told['page']}"
    return str(told["page"])


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    """Return a browser; tests are skipped where there is none."""
    with browser() as own:
        yield own
