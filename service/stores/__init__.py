"""Where finished searches are kept: the promises, and one file for each way to keep them."""

from __future__ import annotations

from collections.abc import Callable

from service.settings import Settings
from service.stores.base import Levels, NoLevels

__all__ = ["Levels", "NoLevels", "opened"]


def opened(settings: Settings, warn: Callable[[str], None]) -> Levels:
    """Return the store that settings ask for; ``warn`` is told if it cannot be used."""
    if settings.cache is None:
        return NoLevels()
    from service.stores.sqlite import SqliteLevels

    return SqliteLevels(settings.cache, warn)
