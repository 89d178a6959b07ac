"""What a service keeps: the promises, and one family of files for each way to keep it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from service.settings import Settings, is_redis
from service.stores.base import Levels, NoLevels, Store

__all__ = ["Levels", "NoLevels", "Store", "open_store", "opened"]


def opened(settings: Settings, warn: Callable[[str], None]) -> Levels:
    """Return the levels that settings ask for; ``warn`` is told if they cannot be used."""
    if settings.cache is None:
        return NoLevels()
    from service.stores.forgiving import Forgiving
    from service.stores.sqlite import SqliteStore

    return Forgiving(SqliteStore(settings.cache).levels, warn)


def open_store(address: str) -> Store:
    """Return the store at an address, a Redis server's or the path of a SQLite file.

    Nothing is opened before it is used; ``missing`` says what is wrong with it.
    """
    if is_redis(address):
        from service.stores.redis import RedisStore

        return RedisStore(address)
    from service.stores.sqlite import SqliteStore

    return SqliteStore(Path(address).expanduser())
