"""Where turns can be blocked: the few sequences that finish a kind of units while others stay.

Candidates are the loops that cycle three units, freed of the setups that they stand in: what is
left is remembered, and done wherever it is possible (``method_blocked_reach``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from puzzles.brackets import Tree
from puzzles.puzzle import Puzzle, Word
from search.hands import comfort
from search.method_blocked_reach import Base, Ground, Reach, base, hold, imaged
from search.method_sequences import Sequences, undominated
from search.nesting import nesting, things
from search.reading import turns_of
from search.solving_blocked_cycles import Cycles
from search.solving_blocked_near import Found, Near
from search.solving_blocked_nested import Gathered, rounds

#: Pairs of walks whose words are looked at, and the most different ones that are measured.
LOOKED_AT, MEASURED = 6_000, 400
#: Candidates that are tried out: those with the fewest things to remember, and the shortest.
TRIED_EASY, TRIED_SHORT = 10, 6
#: Sequences for one kind to which no more are added, and the most that there may be.
MANY_SEQUENCES, MOST_SEQUENCES = 4, 12
#: A further sequence has to make three-cycles shorter by this share.
WORTH_IT = 0.06


@dataclass(frozen=True)
class BlockedSequences(Sequences):
    """Words that finish a kind of units while others stay; ``type`` is that of its telling pieces.

    ``unit`` is the kind by number, ``stays`` the other kinds that stay. ``setups[k]`` is a shortest
    walk from the solved state to where word k can be done, with which it does what is wanted.
    """

    unit: int = 0
    stays: tuple[int, ...] = ()
    setups: tuple[Word, ...] = ()

    def shown(self, puzzle: Puzzle, k: int) -> Word:
        """Return word k in its shortest setup, as it can be done from the solved state."""
        setup = self.setups[k]
        return (*setup, *self.words[k], *puzzle.inverse(setup))


class BlockedWorkshop:
    """Sequences of a puzzle by kind and kept kinds, and the tables of what they reach."""

    def __init__(self, near: Near, stop: Callable[[], bool] = lambda: False) -> None:
        self.near, self.stop = near, stop
        self._found: dict[tuple[int, tuple[int, ...]], Found] = {}
        self._full: dict[tuple[int, tuple[int, ...]], Cycles] = {}
        self._chosen: dict[tuple[int, tuple[int, ...]], tuple[BlockedSequences, ...]] = {}
        self._grounds: dict[int, Ground] = {}
        self._bases: dict[tuple[int, tuple[int, ...], Word], Base] = {}
        self._gathered = Gathered()
        self._rounds: Iterator[Gathered] = rounds(near)

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that the sequences are for."""
        return self.near.shapes.puzzle

    def more(self) -> bool:
        """Look at further commutators of loops; return whether there were any."""
        found = next(self._rounds, None)
        if found is None:
            return False
        self._gathered = found
        self._full.clear()
        self._chosen.clear()
        return True

    def ground(self, kind: int) -> Ground:
        """Return the setups for a kind."""
        if kind not in self._grounds:
            self._grounds[kind] = Ground(self.near, kind)
        return self._grounds[kind]

    def found(self, kind: int, kept: Iterable[int]) -> Found:
        """Return the three-cycles of a kind that pairs of short walks make."""
        key = kind, tuple(sorted(set(kept) - {kind}))
        if key not in self._found:
            self._found[key] = self.near.three_cycles(kind, key[1])
        return self._found[key]

    def full(self, kind: int, kept: Iterable[int]) -> Cycles:
        """Return the three-cycles of a kind that can be had at all."""
        key = kind, tuple(sorted(set(kept) - {kind}))
        if key not in self._full:
            more = self._gathered.three_cycles(kind, frozenset(key[1]))
            self._full[key] = Cycles(self.near, kind, self.found(*key), more)
        return self._full[key]

    def reach(self, kind: int, kept: Iterable[int], words: tuple[Word, ...]) -> Reach:
        """Return what some words reach."""
        rest = tuple(sorted(set(kept) - {kind}))
        ground, row = self.ground(kind), []
        for word in words:
            key = kind, rest, word
            if key not in self._bases:
                self._bases[key] = base(ground, rest, word)
            row.append(self._bases[key])
        return Reach(ground, row)

    def sequences(self, kind: int, kept: Iterable[int]) -> tuple[BlockedSequences, ...]:
        """Return the choices for a kind, each with more to remember and shorter than the last.

        Empty where not all of its three-cycles can be had.
        """
        key = kind, tuple(sorted(set(kept) - {kind}))
        if key not in self._chosen:
            able = self.full(*key).complete
            self._chosen[key] = _Choosing(self, *key).choices() if able else ()
            # They are large, and those of other kept kinds are never asked for again.
            self._bases.clear()
        return self._chosen[key]

    def candidates(self, kind: int, kept: tuple[int, ...]) -> Iterator[Word]:
        """Yield the words of three-cycles of a kind, freed of their setups, the shortest first."""
        near, puzzle = self.near, self.puzzle
        found = self.found(kind, kept)
        order = np.argsort(found.turns, kind="stable")[:LOOKED_AT]
        nested = sorted(self._gathered.three_cycles(kind, frozenset(kept)).values(), key=len)
        seen: set[Word] = set()
        for word in (
            *nested[:LOOKED_AT],
            *(
                (*near.word(int(found.one[k])), *puzzle.inverse(near.word(int(found.two[k]))))
                for k in order.tolist()
            ),
        ):
            core = bare(puzzle, word)
            if core in seen:
                continue
            every = imaged(puzzle, core)
            seen.update(every)
            seen.update(puzzle.inverse(own) for own in every)
            yield core


def bare(puzzle: Puzzle, word: Word) -> Word:
    """Return a word without the setup that it stands in: what is between S and S' at its ends.

    Neighbours of one layer are one turn.
    """
    word = merged(puzzle, word)
    while len(word) > 2 and word[-1] == puzzle.inverses[word[0]]:
        word = word[1:-1]
    return word


def merged(puzzle: Puzzle, word: Word) -> Word:
    """Return a word in which turns of one layer that stand side by side are one."""
    row: list[int] = []
    for turn in word:
        if row and puzzle.turn_layer[row[-1]] == puzzle.turn_layer[turn]:
            amount = puzzle.turns[row.pop()].amount + puzzle.turns[turn].amount
            both = puzzle.turn(int(puzzle.turn_layer[turn]), amount)
            row += [] if both is None else [both]
        else:
            row.append(turn)
    return tuple(row)


def bracketed(puzzle: Puzzle, word: Word) -> tuple[Tree, Word]:
    """Return the shortest nested form of a word, and the turns that it is written out as."""
    tree = nesting(puzzle).tree(word)
    return tree, turns_of(puzzle, tree)


class _Choosing:
    """Tries out the candidates for one kind with some kinds kept."""

    def __init__(self, workshop: BlockedWorkshop, kind: int, kept: tuple[int, ...]) -> None:
        self.workshop, self.kind, self.kept = workshop, kind, kept
        self.puzzle = workshop.puzzle

    def _tried_out(self) -> tuple[Word, ...]:
        """Return the candidates with the fewest things to remember, and the shortest."""
        puzzle = self.puzzle
        measured: dict[Word, int] = {}
        for core in self.workshop.candidates(self.kind, self.kept):
            word = bracketed(puzzle, core)[1]
            measured[word] = things(puzzle, word)
            if len(measured) == MEASURED or self.workshop.stop():
                break
        easiest = sorted(measured, key=lambda w: (measured[w], len(w), w))
        shortest = sorted(measured, key=lambda w: (len(w), measured[w], w))
        chosen = dict.fromkeys((*easiest[:TRIED_EASY], *shortest[:TRIED_SHORT]))
        return tuple(sorted(chosen, key=lambda w: (measured[w], len(w), w)))

    def tried(self, words: tuple[Word, ...]) -> BlockedSequences:
        """Return how far some words reach, and at what cost."""
        own = self.workshop.reach(self.kind, self.kept, words)
        shapes = self.workshop.near.shapes
        rep = shapes.reps[shapes.kinds[self.kind].units[0]]
        return BlockedSequences(
            int(self.puzzle.type_of[rep]),
            (),
            words,
            sum(things(self.puzzle, word) for word in words),
            own.mean,
            own.most,
            own.reached,
            own.needed,
            self.kind,
            self.kept,
        )

    def choices(self) -> tuple[BlockedSequences, ...]:
        """Return what is worth choosing, the least to remember first; empty if nothing is whole."""
        candidates = self._tried_out()
        alone = [one for word in candidates if (one := self.tried((word,))).reached]
        if not alone:
            return ()
        able = [one.words[0] for one in alone]
        found: list[BlockedSequences] = []
        for start in (_easiest(alone), _cheapest(alone)):
            own = start
            while True:
                if own.whole:
                    found.append(own)
                many = len(own.words) >= MANY_SEQUENCES
                full = len(own.words) == MOST_SEQUENCES
                if (own.whole and many) or full or self.workshop.stop():
                    break
                more = [self.tried((*own.words, w)) for w in able if w not in own.words]
                if not more:
                    break
                whole = own.whole
                better = _cheapest(more) if whole else _easiest(more)
                if whole and better.mean > own.mean * (1 - WORTH_IT):
                    break
                if better.reached <= own.reached and not whole:
                    break
                own = better
        rows: list[Sequences] = [*found]
        chosen = undominated(rows)
        return tuple(self._finished(own) for own in dict.fromkeys(found) if own in chosen)

    def _finished(self, own: BlockedSequences) -> BlockedSequences:
        """Return sequences as they are comfortable for the hands, with their setups."""
        pairs = [self._pleasant(word) for word in own.words]
        return replace(own, words=tuple(w for w, _ in pairs), setups=tuple(s for _, s in pairs))

    def _pleasant(self, word: Word) -> tuple[Word, Word]:
        """Return the image of a word that is most comfortable, with the shortest setup for it.

        Images and their inverses reach the same; those that need the fewest turns first come first.
        """
        puzzle, near = self.puzzle, self.workshop.near
        every = imaged(puzzle, word)
        rows = []
        for image in every:
            held = hold(near, near.shapes.kinds[self.kind], self.kept, image)
            if len(held.shapes):
                # States are by depth, so that the first one of these shapes is nearest.
                state = int(np.isin(near.shape, held.shapes).argmax())
                setup = near.word(state)
                for one in (image, puzzle.inverse(image)):
                    rows.append((len(setup), comfort(puzzle, one), one, setup))
        _, _, best, setup = min(rows)
        return best, setup


def _easiest(row: list[BlockedSequences]) -> BlockedSequences:
    return min(row, key=lambda own: (-own.reached, own.things, own.mean, own.words))


def _cheapest(row: list[BlockedSequences]) -> BlockedSequences:
    return min(row, key=lambda own: (-own.reached, own.mean, own.things, own.words))
