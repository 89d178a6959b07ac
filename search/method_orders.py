"""Orders of types: which come first, so that little has to be remembered and solves are short.

What comes first leaves more freedom to its sequences, since later types may go anywhere; orders are
put together type by type, and of those that have done the same types only the best are gone on
with: by what there is to remember, and by the turns that three-cycles take on the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from puzzles.puzzle import Puzzle, Word
from search.method_alike import SameAs, Sharing
from search.method_sequences import Sequences, Workshop
from search.nesting import things
from search.solving_orders import Order

#: Sets of types that are gone on with at each number of types, by either measure.
WIDTH = 3
#: Orders that are gone on with for each set.
KEPT = 8
#: How many pieces a three-cycle puts right on the whole.
PUT_RIGHT = 2.2


@dataclass(frozen=True, eq=False)
class Plan:
    """Types in an order, with the sequences of each.

    ``before`` are the types that come first and need no sequence, by number. ``together``: every
    sequence keeps all types, so that they may be put right in any order.
    """

    puzzle: Puzzle
    before: tuple[int, ...]
    steps: tuple[Sequences, ...]
    together: bool = False
    sharing: Sharing | None = None

    @property
    def order(self) -> Order:
        """The types stage by stage."""
        own: Order = tuple((one.type,) for one in self.steps)
        if self.together:
            own = (tuple(one.type for one in self.steps),)
        return ((self.before,) if self.before else ()) + own

    @property
    def words(self) -> tuple[tuple[int, ...], ...]:
        """All sequences, each once."""
        return tuple(dict.fromkeys(word for one in self.steps for word in one.words))

    @cached_property
    def things(self) -> int:
        """How many turns there are to remember in all sequences.

        Of those that are the same in other layers, in one.
        """
        return sum(things(self.puzzle, word) for word in self.words if word not in self.same)

    @cached_property
    def same(self) -> dict[Word, SameAs]:
        """The sequences that are earlier ones of another type in other layers."""
        result: dict[Word, SameAs] = {}
        if self.sharing is None:
            return result
        earlier: list[tuple[int, Word]] = []
        for one in self.steps:
            for word in one.words:
                if any(word == known for _, known in earlier):
                    continue
                found = self.sharing.same(one.type, word, earlier)
                if found is not None:
                    other, known, renamed = found
                    layers = self.sharing.layers(known, renamed) if renamed == word else ()
                    result[word] = SameAs(other, known, layers)
                earlier.append((one.type, word))
        return result

    def as_written(self) -> Plan:
        """Return it with what is the same in other layers written in just these layers."""
        if self.sharing is None:
            return self
        earlier: list[tuple[int, Word]] = []
        steps = []
        for one in self.steps:
            words = []
            for word in one.words:
                found = self.sharing.same(one.type, word, earlier)
                # Images reach the same where the symmetry keeps what has to stay.
                fits = found is not None and cycles_three(self.puzzle, found[2], one)
                words.append(found[2] if found is not None and fits else word)
                earlier.append((one.type, words[-1]))
            steps.append(replace(one, words=tuple(words)))
        return replace(self, steps=tuple(steps))

    @cached_property
    def estimate(self) -> float:
        """About how many turns three-cycles take, if nothing stands right before."""
        return sum(cycling(self.puzzle, one) for one in self.steps)


def cycles_three(puzzle: Puzzle, word: Word, own: Sequences) -> bool:
    """Return whether a word cycles three pieces of a type, and moves nothing else that is kept."""
    effect = puzzle.effect(word)
    slots = np.flatnonzero(np.isin(puzzle.type_of, own.kept))
    wrong = slots[effect[puzzle.home[slots]] != puzzle.home[slots]]
    ends = puzzle.slot_of[effect[puzzle.home[wrong]]]
    kinds = set(puzzle.type_of[wrong].tolist())
    return len(wrong) == 3 and kinds == {own.type} and bool((ends != wrong).all())


def cycling(puzzle: Puzzle, own: Sequences) -> float:
    """Return about how many turns a type takes by three-cycles alone."""
    return own.mean * puzzle.types[own.type].count / PUT_RIGHT


def plans(
    workshop: Workshop,
    types: tuple[int, ...],
    before: tuple[int, ...],
    hurry: Callable[[], bool] = lambda: False,
    tell: Callable[[str], None] = lambda text: None,
) -> list[Plan]:
    """Return the best orders of some types after those of ``before``, least to remember first.

    When ``hurry()`` says so, sequences that keep everything are used from then on, as far as there
    are any. Empty where no order has sequences for all of them.
    """
    puzzle, sharing = workshop.puzzle, workshop.sharing
    everything = (*before, *types)
    full = {}
    for number in types:
        tell(f"sequences for {puzzle.types[number].name} that keep all else")
        full[number] = workshop.sequences(puzzle.types[number], everything)
    rows: dict[frozenset[int], list[Plan]] = {
        frozenset(): [Plan(puzzle, before, (), sharing=sharing)]
    }
    for _ in types:
        following: dict[frozenset[int], list[Plan]] = {}
        for done, own in rows.items():
            for number in types:
                if number in done:
                    continue
                kind, kept = puzzle.types[number], (*before, *done, number)
                if hurry() and not workshop.made(kind, kept) and full[number]:
                    choices = full[number]
                else:
                    names = ", ".join(puzzle.types[k].name for k in sorted(done))
                    tell(f"sequences for {kind.name}" + (f" that keep {names}" if names else ""))
                    choices = workshop.sequences(kind, kept) or full[number]
                    choices = (*choices, *full[number])
                choices = (*choices, *workshop.shared(kind, kept, full))
                longer = [
                    replace(plan, steps=(*plan.steps, choice)) for plan in own for choice in choices
                ]
                following.setdefault(done | {number}, []).extend(longer)
        rows = _best({done: _few(own) for done, own in following.items()})
    found = rows.get(frozenset(types), [])
    if types and len(types) > 1 and all(full.values()):
        found = [
            *found,
            *(
                Plan(puzzle, before, tuple(full[number][k] for number in types), True, sharing)
                for k in (0, -1)
            ),
        ]
        for number in types:
            shared = workshop.shared(puzzle.types[number], everything, full)
            full[number] = (*shared[:1], *full[number])
        steps = tuple(full[number][0] for number in types)
        found.append(Plan(puzzle, before, steps, True, sharing))
    found = [better for plan in found for better in _sharing_more(plan, full)]
    written = [plan.as_written() for plan in found]
    return sorted(_unlike(written), key=lambda plan: (plan.things, plan.estimate))


def _sharing_more(plan: Plan, full: Mapping[int, Sequence[Sequences]]) -> list[Plan]:
    """Return a plan, and one with less to remember where types share a sequence that keeps all.

    What a type costs by itself does not tell what a later type then shares with it.
    """
    result = plan
    improved = True
    while improved:
        improved = False
        for k, one in enumerate(result.steps):
            for other in full[one.type]:
                steps = (*result.steps[:k], other, *result.steps[k + 1 :])
                more = replace(result, steps=steps)
                if more.things < result.things:
                    result, improved = more, True
    return [plan] if result is plan else [result, plan]


def _unlike(found: Iterable[Plan]) -> list[Plan]:
    """Return the plans, each once."""
    return list({(plan.order, plan.words): plan for plan in found}.values())


def _few(own: Iterable[Plan]) -> list[Plan]:
    """Return a few plans of which no other has less to remember and fewer turns."""
    return evenly(promising(own), KEPT)


def _best(rows: dict[frozenset[int], list[Plan]]) -> dict[frozenset[int], list[Plan]]:
    """Return the sets of types that are best by what there is to remember, or by turns."""
    rows = {done: own for done, own in rows.items() if own}
    by_things = sorted(rows, key=lambda d: (rows[d][0].things, rows[d][0].estimate, sorted(d)))
    by_turns = sorted(rows, key=lambda d: (rows[d][-1].estimate, sorted(d)))
    chosen = dict.fromkeys((*by_things[:WIDTH], *by_turns[:WIDTH]))
    return {done: rows[done] for done in chosen}


def promising(found: Iterable[Plan]) -> list[Plan]:
    """Return the plans of which no other has less to remember and fewer turns by estimate."""
    result: list[Plan] = []
    for plan in sorted(found, key=lambda p: (p.things, p.estimate, len(p.words))):
        if not result or plan.estimate < result[-1].estimate - 1e-9:
            result.append(plan)
    return result


def evenly(row: list[Plan], count: int) -> list[Plan]:
    """Return so many of a row, spread evenly, the first and the last among them."""
    if len(row) <= count:
        return list(row)
    if count < 2:
        return row[:count]
    return [row[round(k * (len(row) - 1) / (count - 1))] for k in range(count)]
