"""Jobs of other sources than this worker's: what it gives back, and does not take for a while."""

from __future__ import annotations

import time
from dataclasses import dataclass

from service.stores.base import Jobs, Lease

#: For so many seconds a job that was given back is left to other workers.
LEFT_SECONDS = 60.0
#: A job on which nobody computed for so long has no worker of its sources any more.
FORSAKEN_SECONDS = 600.0
#: Of so many open shards the first is taken that is not left to others.
LOOKED_AT = 200
#: To see that a job is of other sources takes less computing than this.
LOOKING_SECONDS = 5.0
FORSAKEN = "the service was renewed before this was done; ask again"


class OtherSourcesError(Exception):
    """A job was asked of other sources than this worker's, which might find other things."""


@dataclass
class _Left:
    """A job that is left to others: its computing when that last changed, and when it was met."""

    run: int
    spent: float
    since: float
    met: float


class Others:
    """The jobs that one worker leaves to others."""

    def __init__(self) -> None:
        self._left: dict[str, _Left] = {}

    def leaves(self, job: str) -> bool:
        """Return whether a job is left to others for now."""
        left = self._left.get(job)
        return left is not None and time.monotonic() - left.met < LEFT_SECONDS

    def forsaken(self, lease: Lease) -> bool:
        """Note that a job is left to others; return whether there are none that do it."""
        now, shard = time.monotonic(), lease.shard
        for job, old in list(self._left.items()):
            if now - old.met > FORSAKEN_SECONDS:
                del self._left[job]
        left = self._left.get(shard.job)
        worked_on = left is None or lease.spent - left.spent > LOOKING_SECONDS
        if left is None or worked_on or left.run != shard.run:
            self._left[shard.job] = _Left(shard.run, lease.spent, now, now)
            return False
        left.met, left.spent = now, lease.spent
        return now - left.since >= FORSAKEN_SECONDS

    def lease(self, jobs: Jobs, worker: str, seconds: float) -> Lease | None:
        """Return a lease on the shard that is next of those that are not left to others."""
        if not any(map(self.leaves, self._left)):
            return jobs.lease(worker, seconds)
        for shard in jobs.waiting(LOOKED_AT):
            if not self.leaves(shard.job):
                lease = jobs.lease(worker, seconds, shard)
                if lease is not None:
                    return lease
        return None
