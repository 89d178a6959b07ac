"""What every store promises (``service.stores.base``), held against each kind of store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.service.jobs_check import machine, walk
from tests.service.stores import STORES, Place


@pytest.fixture(params=sorted(STORES))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    with STORES[request.param](tmp_path) as place:
        yield place


def test_jobs_do_what_a_plain_model_of_them_does(place: Place) -> None:
    """Short runs that hypothesis makes shorter still where one fails."""
    run_state_machine_as_test(
        machine(place.empty),
        settings=settings(
            max_examples=20,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.parametrize("seed", range(3))
def test_jobs_do_what_the_model_does_for_a_long_while(place: Place, seed: int) -> None:
    walk(place.empty(), seed, steps=400)
