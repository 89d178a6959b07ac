"""What whoever comes first looks at is made before: the catalogue and its first pictures."""

from __future__ import annotations

import json
import logging

from service.api.context import Service
from service.api.problems import ProblemError
from service.reading import Message
from service.stores.base import StoreError

#: How many pictures are seen before anybody scrolls; the others are made when they are.
FIRST = 6

log = logging.getLogger("trefoil.api")


def front(puzzle: str) -> Message:
    """Return what is asked for a puzzle's picture from in front, as the catalogue shows it."""
    marks = dict.fromkeys(("cycle", "sequence", "type"))
    return {"do": "picture", "puzzle": puzzle, **marks, "behind": False}


async def warm(service: Service) -> None:
    """Make the catalogue and its first pictures, one after another, so that nobody waits for them.

    What is in the store is only read. Where something cannot be made, whoever asks is told why.
    """
    try:
        told = json.loads((await service.rendered({"do": "catalogue"})).body)
        for own in told["puzzles"][:FIRST]:
            await service.rendered(front(own["name"]), "query")
    except (ProblemError, StoreError) as error:
        log.warning("the catalogue was not drawn before anybody asked: %s", error)
