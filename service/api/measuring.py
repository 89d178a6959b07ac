"""What searches took, told to the measures once for each that was begun through this process."""

from __future__ import annotations

import json
import time
from collections import OrderedDict

from service.metrics import Metrics
from service.stores.base import Job

#: How many searches are remembered until they are over, and how many are looked at in one go.
MOST_AWAITED, MOST_LOOKED_AT = 10_000, 20
#: Seconds between two such goes, however often the measures are asked for.
LOOK_EVERY = 2.0


class Measuring:
    """Remembers the jobs that are not over yet."""

    def __init__(self, metrics: Metrics) -> None:
        self._metrics = metrics
        self._awaited: OrderedDict[tuple[str, int], None] = OrderedDict()
        self._looked = -LOOK_EVERY

    def begun(self, job: Job) -> None:
        """Remember a job."""
        if not job.state.over:
            self._awaited[job.key, job.run] = None
            while len(self._awaited) > MOST_AWAITED:
                self._awaited.popitem(last=False)

    def seen(self, job: Job) -> None:
        """Tell the measures what a job took, if it is over and was remembered."""
        if not job.state.over or (job.key, job.run) not in self._awaited:
            return
        del self._awaited[job.key, job.run]
        outcome = json.loads(job.outcome) if job.outcome else {}
        for depth, seconds in outcome.get("seconds", {}).items():
            self._metrics.depth_seconds.labels(str(int(depth))).observe(float(seconds))

    def awaited(self) -> list[str]:
        """Return the keys of jobs that it is time to look at, those that began first.

        They are to be looked at then: for a while there are none.
        """
        now = time.monotonic()
        if now - self._looked < LOOK_EVERY:
            return []
        self._looked = now
        keys = list(self._awaited)[:MOST_LOOKED_AT]
        for key in keys:
            self._awaited.move_to_end(key)
        return [key for key, _ in keys]
