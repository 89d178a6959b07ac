"""How many positions a puzzle has, what ties them together, and which effects can be reached."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.chain import Chain
from puzzles.laws import Law, Part, joined, plural
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.puzzle import Puzzle, Table


@dataclass(frozen=True)
class GroupReport:
    """How many positions there are, between which bounds that is known, and what ties them.

    ``order`` tells all pieces apart; ``order_alike`` counts what can be told apart by looking,
    None where that was not found out. Positions are counted in space. ``proven`` is ``lower ==
    upper``; ``order`` is ``lower``. Without the laws there would be ``order`` times the product
    of their factors.
    """

    order: int
    order_alike: int | None
    lower: int
    upper: int
    proven: bool
    laws: tuple[Law, ...]


def contains(puzzle: Puzzle, effect: Table) -> bool:
    """Return whether some sequence has an effect, all pieces told apart; shape (placements,).

    Certain if ``group(puzzle).proven``; else also true for what no law forbids.
    """
    kinds = puzzle.type_of[puzzle.slot_of]
    if not np.array_equal(kinds[effect], kinds):
        return False
    return layer_group(puzzle).contains(effect)[0]


@lru_cache(maxsize=32)
def group(puzzle: Puzzle) -> GroupReport:
    """Return order, bounds and laws of the group that all turns of a puzzle generate.

    The order is that of a stabiliser chain verified without chance; where that would take too
    long, ``lower`` is what was found and ``upper`` what the laws of parity and twist leave.
    """
    own = layer_group(puzzle)
    free = math.prod(_free(puzzle, part) for part in own.parts)
    if own.chain is None or not own.chain.verified:
        upper = free // math.prod(law.factor for law in own.laws)
        proven = own.order == upper
        return GroupReport(own.order, own.order_alike, own.order, upper, proven, own.laws)
    laws = (*own.laws, *further_laws(own))
    return GroupReport(own.order, own.order_alike, own.order, own.order, True, laws)


def _free(puzzle: Puzzle, part: Part) -> int:
    """Return how many arrangements the pieces of a part would have without any law."""
    count, twists = len(part.slots), puzzle.types[part.type].twists
    return math.factorial(count) * math.prod([twists] * count)


def _index(own: LayerGroup, types: tuple[int, ...]) -> int:
    """Return the factor of the laws of parity and twist among some types alone."""
    alone = layer_group(own.puzzle, own.layers, types)
    return math.prod(law.factor for law in alone.laws)


def _order(own: LayerGroup, types: tuple[int, ...]) -> int:
    return layer_group(own.puzzle, own.layers, types).order


def further_laws(own: LayerGroup) -> tuple[Law, ...]:
    """Return the laws beyond parity and twist: of types that do less, in step, or tied.

    Empty where the order is not proven.
    """
    if own.chain is None or not own.chain.verified:
        return ()
    return (*_fewer(own), *_ties(own, own.chain))


def _fewer(own: LayerGroup) -> list[Law]:
    """Return a law for each type that makes fewer arrangements than parity and twist allow."""
    result = []
    for number in own.types:
        kind = own.puzzle.types[number]
        free = math.prod(_free(own.puzzle, part) for part in own.parts if part.type == number)
        allowed, order = free // _index(own, (number,)), _order(own, (number,))
        if order < allowed:
            text = (
                f"The {plural(kind.name)} make only {order:,} of the {allowed:,} arrangements "
                "that parity and twist would allow."
            )
            result.append(Law("fewer", (number,), allowed // order, text))
    return result


def _ties(own: LayerGroup, chain: Chain) -> list[Law]:
    """Return a law for each type that is tied to those before it by more than parity and twist.

    The chain goes type by type, so the order on the first k types is known for every k.
    """
    result = []
    for k in range(1, len(own.types)):
        number, before, upto = own.types[k], own.types[:k], own.types[: k + 1]
        alone = _order(own, (number,))
        if alone == 1:
            continue
        tie = chain.order_on(k) * alone // chain.order_on(k + 1)
        factor = tie * _index(own, before) * _index(own, (number,)) // _index(own, upto)
        if factor > 1:
            result.append(_tie(own, number, before, factor))
    return result


def _tie(own: LayerGroup, number: int, before: tuple[int, ...], factor: int) -> Law:
    kinds = own.puzzle.types
    word = plural(kinds[number].name)
    alone = _order(own, (number,))
    for other in before:
        first, both = _order(own, (other,)), _order(own, (other, number))
        if both == first:
            text = f"The {word} move in step with the {plural(kinds[other].name)}: " + (
                "each tells where the others are."
                if both == alone
                else "where those are, tells where these are."
            )
            return Law("in step", (other, number), factor, text)
    tied = [
        other
        for other in before
        if _order(own, (other,)) * alone * _index(own, (other,)) * _index(own, (number,))
        > _order(own, (other, number)) * _index(own, (other, number))
    ] or list(before)
    names = joined([plural(kinds[other].name) for other in tied])
    text = (
        f"The {word} are tied to the {names}: of the arrangements that each could make while the "
        f"others are left to themselves, one in {factor:,} can be made together."
    )
    return Law("tied", (*tied, number), factor, text)
