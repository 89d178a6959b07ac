"""How the shards of a Redis store reach workers on many machines: as messages that ring a bell.

The store is the truth. A message names a shard and nothing else; whoever gets it leases that shard
in the store, or finds that somebody else did. Lost messages are sent again, and it does no harm if
one comes twice.
"""

from __future__ import annotations

from service.settings import ServiceSettings

__all__ = ["work"]


def work(settings: ServiceSettings) -> None:
    """Be a worker of a service on a Redis store until told to leave; raises StoreError.

    Raises RequestError for addresses that are none.
    """
    from service.transport.worker import work as run

    run(settings)
