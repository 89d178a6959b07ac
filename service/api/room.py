"""How many searches are kept: those that are over make room for others, the oldest first."""

from __future__ import annotations

import json
import threading
import time

from service.stores.base import Store

#: The kind of things under which searches are kept: what was asked, and the key of the job.
SEARCH = "search"
#: The most searches that go at once, and the share of all that does, so that room is made seldom.
MOST_GONE, SHARE = 1_000, 0.02
#: Seconds until room is looked for again after none was found.
AGAIN = 5.0


class Room:
    """Lets no more than ``most`` searches be kept; may be asked from any thread."""

    def __init__(self, store: Store, most: int) -> None:
        self._store, self._most = store, most
        self._lock = threading.Lock()
        self._failed = -AGAIN

    def made(self, number: str) -> bool:
        """Return whether a search may be kept, for which others may have gone; raises StoreError.

        What is kept already needs no room.
        """
        things = self._store.things
        if things.count(SEARCH) < self._most or things.get(SEARCH, number) is not None:
            return True
        with self._lock:
            many = things.count(SEARCH)
            if many >= self._most and time.monotonic() - self._failed >= AGAIN:
                gone = self._sweep(many)
                self._failed = -AGAIN if gone else time.monotonic()
                many -= gone
            return many < self._most

    def _sweep(self, many: int) -> int:
        """Remove the oldest searches that are over; return how many have gone."""
        things, jobs = self._store.things, self._store.jobs
        wanted = min(MOST_GONE, many - self._most + max(1, int(SHARE * self._most)))
        #: Many searches may have one job.
        over: dict[str, bool] = {"": True}
        gone = 0
        for name in reversed(things.names(SEARCH, many)):
            data = things.get(SEARCH, name)
            if data is None:
                continue
            key = str(json.loads(data)["key"])
            if key not in over:
                job = jobs.job(key)
                over[key] = job is None or job.state.over
            if over[key]:
                things.remove(SEARCH, name)
                gone += 1
                if gone >= wanted:
                    break
        return gone
