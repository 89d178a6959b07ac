"""What is kept at hand: never more bytes than are allowed, whatever they stand in."""

from __future__ import annotations

from typing import Any

import pytest

from service.api.caching import OVERHEAD, Kept
from service.reading import Reply

#: What 1,000 bytes may stand in.
LARGE: list[tuple[dict[str, Any], bytes]] = [
    ({}, b"x" * 1_000),
    ({"reason": "x" * 1_000}, b""),
    ({"record": b"x" * 1_000}, b""),
    ({"answer": Reply({}, b"x" * 1_000)}, b""),
    ({"answer": Reply({"reason": "x" * 1_000}, b"")}, b""),
]


@pytest.mark.parametrize(("head", "body"), LARGE)
def test_what_is_kept_is_counted_wherever_it_stands(head: dict[str, Any], body: bytes) -> None:
    kept = Kept(3 * (OVERHEAD + 1_000))
    for number in range(10):
        kept.put(number, Reply(head, body))
    there = [number for number in range(10) if kept.get(number) is not None]
    assert len(there) in (2, 3)
    assert there[-1] == 9


def test_what_was_not_used_for_longest_goes_first() -> None:
    kept = Kept(3 * OVERHEAD)
    for number in range(3):
        kept.put(number, Reply({}, b""))
    assert kept.get(0) is not None
    kept.put(3, Reply({}, b""))
    assert [number for number in range(4) if kept.get(number) is not None] == [0, 2, 3]
    kept.put(4, Reply({}, b"x" * (4 * OVERHEAD)))
    assert kept.get(4) is None, "there is no room for it at all"
    assert kept.get(3) is not None
