"""What every store promises (``service.stores.base``), held against each kind of store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.service.jobs_model import machine
from tests.service.stores import STORES, Place


@pytest.fixture(params=sorted(STORES))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    with STORES[request.param](tmp_path) as place:
        yield place


def test_jobs_do_what_a_plain_model_of_them_does(place: Place) -> None:
    run_state_machine_as_test(
        machine(place.empty),
        settings=settings(
            max_examples=60,
            stateful_step_count=40,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
