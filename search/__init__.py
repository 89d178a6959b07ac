"""Finding sequences: what is wanted, what is impossible, the search, and the ranked answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from search.finding import find as find

__all__ = ["find"]


def __getattr__(name: str) -> Any:
    """Import ``find`` when it is first asked for: compiled kernels are slow to load."""
    if name == "find":
        from search.finding import find

        return find
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
