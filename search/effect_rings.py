"""Rings for a wanted effect: which starts of which rings do it, with the setups that lead there.

A level of ``search.rings`` over an ``encoding.effect_scope`` gives all rings that move as many
pieces of each type as the wanted effect. Each is looked at from every start, also inside a turn: a
turn x1 x2 that is cut gives x2 R x1, which has one turn more than R x1 x2. What a start does is
looked up among the conjugates of the wanted effect by setups (``search.conjugates``). A word
S R S' then has |R| + 2 |S| turns: where S would merge with R, another start gives the same word.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.conjugates import Conjugates, Pairs, carried, pairs_of, put_together
from search.encoding import Scope
from search.kernels.arrays import LONGEST
from search.kernels.records import RECORD, reduce_ring, ring_word
from search.kernels.words import MOST_CUTS, first_layers, list_cuts, normalise

#: Rings that are looked at together.
CHUNK = 512
#: Words that are kept are at most so many turns longer than the shortest, and at most so many.
SPREAD, MOST_WORDS = 4, 300
#: Starts of rings that are kept for setups longer than those that are known, and how many effects
#: a walk from these may see.
MOST_STARTS, MOST_WALKED = 20_000, 2_000_000


class Gathering:
    """Words for a wanted effect, gathered from rings.

    ``words`` maps words in normal form to the number of the wanted effect that they do.
    ``least``: the turns of the shortest ring, None before the first. ``best``: those of the
    shortest word.
    """

    def __init__(
        self, scope: Scope, places: Conjugates, wanted: Sequence[Table], setup: int | None
    ) -> None:
        self.scope, self.places, self.setup = scope, places, setup
        self.puzzle: Puzzle = scope.puzzle
        kinds = self.puzzle.type_of
        self.slots = np.flatnonzero(np.isin(kinds, scope.kept))
        self.count = sum(scope.moved)
        self.words: dict[Word, int] = {}
        self.best: int | None = None
        self.least: int | None = None
        self._seen: set[bytes] = set()
        self._far: list[tuple[Pairs, list[Word]]] = []
        self._starts = 0
        still = np.arange(self.puzzle.placement_count, dtype=np.int32)
        self._still = still
        placements = np.isin(kinds[self.puzzle.slot_of], scope.kept)
        self._columns = np.flatnonzero(placements)
        #: Looking alike or twisted otherwise, effects may have cycles of other shapes.
        self._shapes = np.unique(self._shape_of(np.array(wanted)), axis=0)
        self._cuts = np.zeros((MOST_CUTS, LONGEST), dtype=np.int64)
        self._origin = np.zeros((MOST_CUTS, 2), dtype=np.int64)

    def _shape_of(self, tables: Table) -> NDArray[np.int64]:
        """Return how many placements each power of an effect leaves alone: alike for conjugates.

        Tables (n, placements); the result is (n, powers).
        """
        own = tables[:, self._columns]
        power, result = own, []
        for _ in range(2 * self.count):
            result.append((power == self._columns).sum(axis=1))
            power = np.take_along_axis(tables, power.astype(np.int64), axis=1)
        return np.array(result).T

    def warm_up(self) -> None:
        """Run the kernels on one turn, so that they are compiled."""
        enc, letters = self.scope.arrays, np.zeros(LONGEST, dtype=np.int64)
        record = np.zeros(RECORD, dtype=np.uint8)
        record[1] = 1
        reduce_ring(enc, letters, int(ring_word(enc, record, letters)))
        normalise(letters, 1, enc.turn_layer, enc.passes)
        list_cuts(letters, 1, enc.turn_layer, enc.passes, self._cuts, self._origin)
        first_layers(letters, 1, enc.turn_layer, enc.passes)

    def put(self, records: NDArray[np.uint8]) -> Iterator[None]:
        """Look at rings; yield now and then."""
        for begin in range(0, len(records), CHUNK):
            self._look(records[begin : begin + CHUNK])
            yield

    def _look(self, records: NDArray[np.uint8]) -> None:
        enc, puzzle = self.scope.arrays, self.puzzle
        letters = np.zeros(LONGEST, dtype=np.int64)
        idle = len(puzzle.turns)
        words = np.full((len(records), LONGEST), idle, dtype=np.int64)
        for n, record in enumerate(records):
            length = int(ring_word(enc, record, letters))
            words[n, :length] = self.scope.turns[letters[:length]]
        moves = np.concatenate([puzzle.moves, self._still[None, :]])
        tables = np.tile(self._still, (len(records), 1))
        for column in words.T:
            if (column == idle).all():
                break
            tables = moves[column[:, None], tables]
        same = self._shape_of(tables)[:, None, :] == self._shapes
        right = np.flatnonzero(same.all(axis=2).any(axis=1))
        for n in right.tolist():
            length = int(ring_word(enc, records[n], letters))
            short = int(reduce_ring(enc, letters, length))
            if short:
                self._start(letters[:short].copy())

    def _start(self, ring: NDArray[np.int64]) -> None:
        """Look at a reduced ring, in the kernels' turns, from every start."""
        enc, puzzle = self.scope.arrays, self.puzzle
        length = len(ring)
        padded = np.zeros(LONGEST, dtype=np.int64)
        padded[:length] = ring
        normalise(padded, length, enc.turn_layer, enc.passes)
        count = int(list_cuts(padded, length, enc.turn_layer, enc.passes, self._cuts, self._origin))
        cuts = self._cuts[:count, :length]
        name = min(row.astype(np.uint8).tobytes() for row in cuts)
        if name in self._seen:
            return
        self._seen.add(name)
        self.least = length if self.least is None else min(self.least, length)
        turns = self.scope.turns
        effect = puzzle.effect(turns[padded[:length]].tolist())
        rows = pairs_of(puzzle, effect[None, :], self.slots, self.count)
        pairs = [rows]
        for c in range(1, count):
            origin, turn = self._origin[c]
            pairs.append(carried(puzzle, pairs[int(origin)], puzzle.moves[turns[int(turn)]]))
        starts = [tuple(turns[row].tolist()) for row in cuts]
        inside, words = [], []
        for c in range(count):
            firsts = int(first_layers(cuts[c], length, enc.turn_layer, enc.passes))
            exact = self._first_turns(cuts[c])
            for turn, layer in enumerate(enc.turn_layer.tolist()):
                # With the whole turn, it is another cut.
                if firsts >> layer & 1 and exact[layer] != turn:
                    own = int(turns[turn])
                    inside.append(carried(puzzle, pairs[c], puzzle.moves[own]))
                    words.append((int(puzzle.inverses[own]), *starts[c], own))
        every = put_together([*pairs, *inside])
        self._match(every, [*starts, *words])
        if self._starts < MOST_STARTS:
            self._starts += count
            self._far.append((every.taken(slice(0, count)), starts))

    def _first_turns(self, word: NDArray[np.int64]) -> dict[int, int]:
        """Return the first turn of each layer of a word."""
        result: dict[int, int] = {}
        for turn in word.tolist():
            result.setdefault(int(self.scope.arrays.turn_layer[turn]), turn)
        return result

    def _match(self, pairs: Pairs, words: list[Word]) -> None:
        found = self.places.found(pairs.keys(self.puzzle))
        for k in np.flatnonzero(found >= 0).tolist():
            self._keep(int(found[k]), words[k])

    def _keep(self, number: int, word: Word) -> None:
        own = normal(self.puzzle, word)
        depth = int(self.places.depths[number])
        if self.setup is not None and depth > self.setup:
            return
        if self.best is not None and len(own) + 2 * depth > self.best + SPREAD:
            return
        whole = normal(self.puzzle, self.places.word(number, own))
        self.words.setdefault(whole, self.places.wanted_of(number))
        if self.best is None or len(whole) < self.best:
            self.best = len(whole)
        if len(self.words) > 2 * MOST_WORDS:
            self.trim()

    def trim(self) -> None:
        """Drop words that are much longer than the shortest, and those beyond MOST_WORDS."""
        assert self.best is not None
        near = [word for word in self.words if len(word) <= self.best + SPREAD]
        near.sort(key=lambda word: (len(word), word))
        self.words = {word: self.words[word] for word in near[:MOST_WORDS]}

    def walk(self) -> Iterator[None]:
        """Where no ring is near, look for setups from the side of the rings as well; yield.

        Setups of twice as many turns are found so, up to MOST_WALKED effects.
        """
        puzzle, turns = self.puzzle, self.scope.turns.tolist()
        if not self._far or (self.setup is not None and self.setup <= self.places.depth):
            return
        pairs = put_together([own for own, _ in self._far])
        words = [word for _, own in self._far for word in own]
        arms: list[Word] = [()] * len(words)
        numbers = np.arange(len(words))
        walked = 0
        for _ in range(self.places.depth if self.setup is None else self.setup - self.places.depth):
            parts, ways, following = [], [], []
            for turn in turns:
                image = carried(puzzle, pairs, puzzle.moves[turn])
                found = self.places.found(image.keys(puzzle))
                back = int(puzzle.inverses[turn])
                for k in np.flatnonzero(found >= 0).tolist():
                    arm = (*arms[k], turn)
                    word = (*puzzle.inverse(arm), *words[int(numbers[k])], *arm)
                    self._keep_far(int(found[k]), word, len(arm))
                fresh = [k for k in range(len(arms)) if not arms[k] or arms[k][-1] != back]
                parts.append(image.taken(np.array(fresh, dtype=np.int64)))
                ways += [(*arms[k], turn) for k in fresh]
                following.append(numbers[fresh])
                walked += len(image)
                yield
                if walked > MOST_WALKED:
                    return
            if self.words:
                return
            pairs, arms, numbers = put_together(parts), ways, np.concatenate(following)

    def _keep_far(self, number: int, word: Word, arm: int) -> None:
        if self.setup is None or int(self.places.depths[number]) + arm <= self.setup:
            self._keep(number, word)
