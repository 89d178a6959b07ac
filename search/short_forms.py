"""Short sequences for effects other than three-cycles: twists in place, swaps, pairs of swaps.

First all words are joined with each other, which finds the shortest of any form where it is short.
Then come powers of short words, and commutators [A, Z] of a short word or of a power of one: where
A twists a piece in place and Z carries it away, and they share no more, two twists are left.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.laws import Part
from puzzles.layer_group import layer_group
from puzzles.least_effects import MOVED, candidates, kind_of
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.forms import LONGEST, LONGEST_POWER, FormSearch
from search.nearby import Nearby, acting, nearby

#: A type's number and a kind of effect.
Wanted = tuple[int, str]
#: Effects times words that are compared in the first stage, for each wanted effect.
MOST_COMPARED = 12_000_000
#: Of the words that meet for one effect, so many of the shortest are written out.
FEW = 20


@dataclass(frozen=True)
class Form:
    """A sequence as turns and as it is written: "[(R' D' R D)2, U]"; ``plain``: without brackets.

    ``shortest`` is true where no sequence of any form has fewer turns.
    """

    word: Word
    text: str
    plain: bool = False
    shortest: bool = False

    @property
    def turns(self) -> int:
        """The executed turns."""
        return len(self.word)


@dataclass(frozen=True)
class Looked:
    """How far a search is: the shortest form of each wanted effect so far.

    ``stage`` says what is looked at, ``share`` of it is done; ``finished`` is true with the last.
    """

    best: Mapping[Wanted, Form]
    stage: str
    share: float
    finished: bool = False


def short_forms(
    puzzle: Puzzle,
    wanted: frozenset[Wanted],
    seconds: float,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Looked]:
    """Yield the shortest forms found for wanted effects until all that is looked at is done.

    It ends before, within moments, when the seconds are over or ``stop()`` says so.
    """
    if not wanted:
        return
    until = time.monotonic() + seconds
    search = _Search(puzzle, wanted)
    for stage, steps in search.all_stages():
        for share in steps:
            yield Looked(dict(search.best), stage, share)
            if stop() or time.monotonic() > until:
                return
    yield Looked(dict(search.best), "", 1.0, True)


class _Search(FormSearch):
    def __init__(self, puzzle: Puzzle, wanted: frozenset[Wanted]) -> None:
        every = range(len(puzzle.turns))
        super().__init__(puzzle, every, np.arange(puzzle.slot_count), puzzle.symmetries)
        self.wanted = wanted
        self.best: dict[Wanted, Form] = {}
        self.most = max(MOVED[kind] for _, kind in wanted)

    def all_stages(self) -> Iterator[tuple[str, Iterator[float]]]:
        """Yield what is looked at and what looks at it: all words joined, then simple forms."""
        near = nearby(acting(self.puzzle))
        yield f"all sequences of up to {2 * near.depth} turns", self.both_ends(near)
        yield from self.stages(near)

    def both_ends(self, near: Nearby) -> Iterator[float]:
        """Join all words: where V does what U and then a wanted effect do, U' V has that effect."""
        order_of = np.argsort(near.keys)
        ordered = near.keys[order_of]
        for done, (number, kind) in enumerate(sorted(self.wanted)):
            targets = self._targets(number, kind)
            ends = [d for d in near.begins if d * len(targets) <= MOST_COMPARED]
            if not targets or len(ends) < 2:
                continue
            end, depth = ends[-1], len(ends) - 2
            for k, target in enumerate(targets, 1):
                keys = near.key_of(target[near.homes[:end]])
                at = np.minimum(np.searchsorted(ordered, keys), len(ordered) - 1)
                first = np.flatnonzero(ordered[at] == keys)
                second = order_of[at[first]]
                turns = near.depths(first) + near.depths(second)
                for m in np.argsort(turns, kind="stable")[:FEW].tolist():
                    back = self.puzzle.inverse(near.word(int(first[m])))
                    self.keep((*back, *near.word(int(second[m]))), None)
                found = self.best.get((number, kind))
                if k == len(targets) and found is not None and found.turns <= near.depth + depth:
                    self.best[number, kind] = replace(found, shortest=True)
                yield (done + k / len(targets)) / len(self.wanted)

    def _targets(self, number: int, kind: str) -> list[Table]:
        """Return the effects of a kind, one of those that symmetries carry to each other."""
        puzzle = self.puzzle
        seen: set[bytes] = set()
        result = []
        for part in layer_group(puzzle).parts:
            if part.type != number:
                continue
            for slot in part.slots:
                rest = tuple(other for other in part.slots if other != slot)
                first = Part(part.type, (slot, *rest), part.words)
                for effect in candidates(puzzle, [first], kind):
                    if effect.tobytes() in seen:
                        continue
                    result.append(effect)
                    for symmetry in puzzle.symmetries:
                        image = np.empty_like(effect)
                        image[symmetry.placements] = symmetry.placements[effect]
                        seen.add(image.tobytes())
                    if len(result) > MOST_COMPARED // 1_000:
                        return []
        return result

    def promising(self, changed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        total = changed.sum(axis=1)
        rows: NDArray[np.bool_] = (total > 0) & (total <= self.most)
        for k in np.flatnonzero(rows).tolist():
            types = self.puzzle.type_of[changed[k]]
            rows[k] = bool((types == types[0]).all())
        return rows

    def keep(self, word: Word, text: str | None) -> None:
        """Keep a word if it has a wanted effect and is better than what is known."""
        puzzle = self.puzzle
        word = normal(puzzle, word)
        most = LONGEST if text is None or "," in text else LONGEST_POWER
        if len(word) > most or puzzle.first_blocked(word) is not None:
            return
        key = kind_of(puzzle, puzzle.effect(word))
        if key is None or key not in self.wanted:
            return
        form = Form(word, text or write(puzzle, word), text is None)
        known = self.best.get(key)
        if known is None or _rank(form) < _rank(known):
            shortest = known is not None and known.shortest and known.turns == form.turns
            self.best[key] = replace(form, shortest=shortest)


def _rank(form: Form) -> tuple[int, bool, int, str]:
    return form.turns, form.plain, len(form.text), form.text
