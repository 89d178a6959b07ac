"""The OpenAPI document against the service: everything in it is tried, and kept to.

The cases are derived from the document itself by schemathesis; a worker does what is asked for.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from service.api.app import create
from service.limits import Limits
from service.settings import ServiceSettings
from service.works.kinds import work_for
from service.works.loop import run
from tests.service.api.harness import Served, serving

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
    unsupported_method,
]
#: Cases of each operation.
EXAMPLES = 12


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service with a worker, in which nobody asks too much."""
    plenty = replace(
        Limits(), searches_each=100_000, searches_open=100_000, clubs_each=100_000, seconds=1
    )
    with serving(tmp_path_factory.mktemp("schema"), limits=plenty) as served:
        leaving = threading.Event()
        worker = threading.Thread(
            target=run, args=(served.store, "tester", work_for, leaving.is_set)
        )
        worker.start()
        yield served
        leaving.set()
        worker.join(10)


schema = schemathesis.openapi.from_dict(
    create("unused", ServiceSettings(store="unused"), bounds=Limits()).openapi()
)


@schema.parametrize()
@settings(
    max_examples=EXAMPLES,
    derandomize=True,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_the_document_is_kept_to(case: schemathesis.Case, tried: Served) -> None:
    case.call_and_validate(base_url=str(tried.client.base_url), checks=CHECKS, timeout=30)
