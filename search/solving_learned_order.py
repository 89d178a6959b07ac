"""In which stages types are put right with what somebody knows."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from search.solving_orders import Order


def stages_of(disturbs: Iterable[Collection[int]], matters: Collection[int]) -> Order:
    """Return the types stage by stage, so that no stage needs what disturbs an earlier one.

    ``disturbs`` are the types that each sequence disturbs. A type comes last of which some sequence
    disturbs no other, or several together where each sequence disturbs several; then what
    disturbs besides these only one more, and so on. Types that no sequence moves come first.
    """
    sets = {frozenset(own) & frozenset(matters) for own in disturbs}
    later: set[int] = set()
    order: list[tuple[int, ...]] = []
    while True:
        left = sorted(
            {tuple(sorted(own - later)) for own in sets} - {()}, key=lambda s: (len(s), s)
        )
        if not left:
            break
        own = left[0]
        if len(own) == 1:
            own = tuple(sorted(one[0] for one in left if len(one) == 1))
        order.insert(0, own)
        later.update(own)
    rest = tuple(sorted(set(matters) - later))
    return (rest, *order) if rest else tuple(order)
