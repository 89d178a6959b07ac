"""Where finished searches are kept: the promises, and one file for each way to keep them."""

from __future__ import annotations

from collections.abc import Callable

from service.settings import Settings
from service.stores.base import NoStore, Store

__all__ = ["NoStore", "Store", "opened"]


def opened(settings: Settings, warn: Callable[[str], None]) -> Store:
    """Return the store that settings ask for; ``warn`` is told if it cannot be used."""
    if settings.cache is None:
        return NoStore()
    from service.stores.sqlite import SqliteStore

    return SqliteStore(settings.cache, warn)
