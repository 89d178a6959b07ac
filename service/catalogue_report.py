"""The catalogue as the service lists it: names, what the puzzles are, and their pieces counted."""

from __future__ import annotations

from typing import Any

from puzzles import file
from puzzles.known import known
from service.puzzle_shelf import load
from service.stores.base import Store


def catalogue(store: Store) -> dict[str, Any]:
    """Return the puzzles of the catalogue; most are counted without being compiled."""
    counted = {own.name: own.types for own in known()}
    rows = [
        {
            "name": name,
            "description": file.read(name)[1].description,
            "href": f"/api/puzzles/{name}",
            "types": [
                {"name": kind.name, "count": kind.count}
                for kind in counted.get(name) or load(store, name).types
            ],
        }
        for name in file.catalogue()
    ]
    return {"puzzles": rows}
