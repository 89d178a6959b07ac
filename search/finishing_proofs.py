"""What is proven of a split into three-cycles, in words: of the table's sequences, no others.

A table has one sequence for each three-cycle: the shortest commutator form as far as the search for
the table came, which need not be the shortest of any form. What comparing all products proves is
about these sequences, and about all commutator forms only where each of them is proven to be the
shortest of these (``search.claims``).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from puzzles.laws import joined, plural
from puzzles.names import slot_names
from search import claims
from search.split_tables import TypeCycles, slots_of
from search.splits import MEMORY, SEQUENCES, TURNS, Split
from search.tools import Tools


def compared(tools: Tools, split: Split, by: str) -> str:
    """Say what is proven of a split for which all products were compared."""
    if not split.triples:
        return "nothing to do"
    names = slot_names(tools.puzzle)
    slots = joined([names[slot] for slot in sorted(split.slots)])
    among = f"product of at most four three-cycles of {plural(tools.kind.name)} on {slots}"
    if by == TURNS and _all_shortest(tools, split):
        return (
            f"proven: no {among}, each in commutator form, has fewer than {split.fewest} turns, "
            f"step by step{_cancelled(split)}"
        )
    easiest = "easiest " if by == MEMORY else ""
    said = (
        f"proven best in the table: no {among}, each done by the {easiest}sequence that the table "
        "has for it"
    )
    if by == SEQUENCES:
        return f"{said}, has fewer different sequences; with other setups one may do for more"
    if by == MEMORY:
        return f"{said}, has fewer things to remember"
    single = (
        "each that is used is the shortest of commutator forms"
        if _shortest(tools, np.array(split.triples, dtype=np.int64))
        else "others may be shorter for a single three-cycle"
    )
    return f"{said}, has fewer than {split.fewest} turns, step by step{_cancelled(split)}; {single}"


def one_by_one(tools: Tools, count: int) -> str:
    """Say that nothing is proven where more pieces are unsolved than can be compared."""
    return (
        f"{count} unsolved {plural(tools.kind.name)} are too many to compare all products: chosen "
        "step by step, nothing is proven of it"
    )


def _cancelled(split: Split) -> str:
    """Say how many turns are left of a split, if some cancel from step to step."""
    if split.executed >= split.turns:
        return ""
    return f" (the {split.turns} turns of this one cancel to {split.executed})"


def _all_shortest(tools: Tools, split: Split) -> bool:
    """Return whether every three-cycle on a split's slots has a shortest commutator form."""
    own = slots_of(TypeCycles(tools), split.slots)
    count, twists = len(split.slots), tools.kind.twists
    every = count * (count - 1) * (count - 2) // 3 * twists * twists
    return len(own.triples) == every and _shortest(tools, own.triples)


def _shortest(tools: Tools, triples: NDArray[np.int64]) -> bool:
    """Return whether the table's words for triples (n, 3) are proven shortest commutator forms."""
    complete = claims.complete(tools.scope, tools.shelves.half_length)
    # A word of one turn more than all that was looked through has none that is shorter.
    return complete is not None and bool((tools.cost(triples) <= complete + 1).all())
