"""A worker process whose work is simple enough to know what must come out.

`python -m tests.service.summing`: a worker on the Redis store of its surroundings, whose jobs of
the kind "find" add up squares in two stages.
"""

from __future__ import annotations

import logging
import time
from typing import Any

from service.settings import service_settings
from service.stores.base import State, Store
from service.works import kinds, process
from service.works.base import Deal, End, Tick, Work


class SumWork(Work):
    """``numbers``: how many squares are added up; ``seconds``: how long each of them takes."""

    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        began: float,
        tick: Tick,
    ) -> Deal | End:
        going = tick({"stage": stage})
        if stage > 0 and len(parts) < spec["numbers"]:
            # Parts are dropped where nobody wants the job any more.
            going = False
        if stage < 2 and going:
            before = sum(int(part) for part in parts)
            return Deal([b"%d" % (before + k) for k in range(spec["numbers"])])
        total = sum(int(part) for part in parts)
        return End(State.DONE if going else State.STOPPED, {"result": total})

    def part(
        self, store: Store, spec: dict[str, Any], payload: bytes, began: float, tick: Tick
    ) -> bytes:
        until = time.monotonic() + spec["seconds"]
        while tick(None) and time.monotonic() < until:
            time.sleep(0.005)
        return b"%d" % int(payload) ** 2


def expected(numbers: int) -> int:
    """Return what a job comes to."""
    first = sum(k**2 for k in range(numbers))
    return sum((first + k) ** 2 for k in range(numbers))


if __name__ == "__main__":
    from service import logs, transport

    kinds.KINDS["find"] = ("tests.service.summing", "SumWork")
    # No kernels: these searches have none.
    process.warm = lambda: None
    logs.configure(level=logging.WARNING)
    transport.work(service_settings())
