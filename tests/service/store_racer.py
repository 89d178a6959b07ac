"""A process that does all it can lease from a store, and prints what it did.

``python -m tests.service.store_racer ADDRESS NAME``
"""

from __future__ import annotations

import sys
import time

from service.stores import open_store
from service.stores.base import Lease, State


def main(address: str, name: str) -> None:
    jobs = open_store(address).jobs
    lease: Lease | None = None
    while True:
        lease = lease or jobs.lease(name, 60)
        if lease is None:
            if not jobs.figures().jobs_open:
                return
            time.sleep(0.005)
            continue
        shard = lease.shard
        if shard.plans:
            results = jobs.results(lease)
            assert len(set(results)) == len(results)
            if jobs.end(lease, State.DONE, "{}", "", 0.0):
                print(f"plan {shard.job} {len(results)}")
            lease = None
        else:
            following = jobs.record(lease, lease.payload, 0.0, 60)
            # A second time nothing is taken.
            assert jobs.record(lease, b"again", 0.0, 60) is None
            print(f"part {shard.job} {shard.number}")
            lease = following


if __name__ == "__main__":
    main(*sys.argv[1:])
