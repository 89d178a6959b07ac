"""Which types of piece a method puts right first, and which by three-cycles in an order.

Those that only twist in their slots come first, and those of which not all three-cycles can be had,
if all their arrangements can be looked up. Types that follow others need nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from puzzles.layer_group import layer_group
from puzzles.puzzle import Puzzle
from search.method_orders import Plan, plans
from search.method_sequences import Workshop
from search.method_solving import Lookup, lookup
from search.solving_looks import Looks
from search.tools import Search


@dataclass(frozen=True, eq=False)
class Kinds:
    """Types by number: ``matters`` are those of which it shows whether they are right.

    ``single`` never leave their slots, ``hard`` lack three-cycles and are looked up in ``known``,
    ``rest`` are put in an order, ``follows`` are right as soon as others are.
    """

    matters: tuple[int, ...]
    single: tuple[int, ...]
    hard: tuple[int, ...]
    rest: tuple[int, ...]
    follows: tuple[int, ...]
    known: Lookup | None

    @property
    def before(self) -> tuple[int, ...]:
        """The types that come before all three-cycles."""
        return (*self.hard, *self.single)


def kinds(workshop: Workshop) -> Kinds:
    """Return which types of a workshop's puzzle come first, which in an order, and which follow."""
    puzzle, looks = workshop.puzzle, Looks(workshop.puzzle)
    matters = tuple(k.number for k in puzzle.types if looks.matters[k.number])
    single = tuple(number for number in matters if _single(puzzle, number))
    follows = _following(puzzle, [n for n in matters if n not in single])
    roaming = tuple(n for n in matters if n not in single and n not in follows)
    hard = tuple(n for n in roaming if not workshop.sequences(puzzle.types[n], (*single, *roaming)))
    known = lookup(puzzle, hard) if hard else None
    if known is None:
        # What has no short way may still have one while less is kept.
        hard = ()
    return Kinds(matters, single, hard, tuple(n for n in roaming if n not in hard), follows, known)


def least_plan(puzzle: Puzzle, search: Search, hurry: Callable[[], bool]) -> Plan | None:
    """Return the order of a puzzle's types with the least to remember, None where there is none.

    ``hurry`` is that of ``method_orders.plans``. Nothing is solved with it.
    """
    workshop = Workshop(puzzle, search)
    own = kinds(workshop)
    return next(iter(plans(workshop, own.rest, own.before, hurry)), None)


def order_of(puzzle: Puzzle, types: tuple[int, ...]) -> int | None:
    """Return how many arrangements some types have, by number; None where that is not proven."""
    own = layer_group(puzzle, tuple(range(len(puzzle.layers))), tuple(sorted(types)))
    return own.order if own.proven else None


def _single(puzzle: Puzzle, number: int) -> bool:
    """Return whether the pieces of a type never leave their slots."""
    parts = [p for p in layer_group(puzzle).parts if p.type == number]
    return all(len(part.slots) == 1 for part in parts)


def _following(puzzle: Puzzle, types: list[int]) -> tuple[int, ...]:
    """Return types that are right as soon as another one is: the group moves them in step."""
    result: list[int] = []
    for number in types:
        for other in types:
            if other == number or other in result:
                continue
            # Of two that follow each other the one with more pieces is put right.
            if order_of(puzzle, (other, number)) == order_of(puzzle, (other,)) is not None:
                result.append(number)
                break
    return tuple(result)
