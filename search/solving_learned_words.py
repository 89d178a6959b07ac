"""What can be done with some sequences: mirrored, turned, undone, begun elsewhere, after setups.

Each thing that can be done is a *move* (``solving_learned_board``). Of moves that do the same to
all slots that matter, the one with the fewest turns is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.solving_learned_lines import Begin, Learned, begins_of
from search.solving_looks import Looks
from search.solving_sums import Balance
from search.solving_words import ShortWords

Numbers = NDArray[np.int64]

#: The most moves with learned sequences, and the most entries of their table.
MOST_MOVES, MOST_ENTRIES = 120_000, 12_000_000
#: The most images of learned sequences that are set up.
MOST_IMAGES = 30_000
#: By so many bits it is looked up whether a move is there already; what seems to be is left out.
_SIEVE_BITS = 24
_SIEVE = np.uint64((1 << _SIEVE_BITS) - 1)
#: About how many moves with setups there are for each that is different.
OVERLAP = 3
SEED = 20_260_105


@dataclass(frozen=True)
class Image:
    """A learned sequence as it is done: which one, ``source``, and what was made of it.

    ``word`` are its turns in the order in which they are done; ``symmetry`` is the number of that
    of the puzzle which carries the letters of the line to them.
    """

    word: Word
    source: int
    begin: Begin
    symmetry: int = 0
    undone: bool = False


@dataclass(frozen=True, eq=False)
class Known:
    """Moves: row k is image ``image[k]`` after setup ``setup[k]``, a word of ``words``.

    ``to`` (moves, slots) is where they carry what is at home, ``cost`` their turns, ``sums``
    (moves, entries) what they add to the balance.
    """

    words: ShortWords
    images: tuple[Image, ...]
    image: Numbers
    setup: Numbers
    to: NDArray[np.int16]
    cost: Numbers
    sums: Numbers

    def __len__(self) -> int:
        return len(self.image)

    def parts(self, row: int) -> tuple[Word, Image]:
        """Return the setup of a move and the image that is done after it."""
        return self.words.word(int(self.setup[row])), self.images[int(self.image[row])]


def images_of(puzzle: Puzzle, learned: Sequence[Learned]) -> tuple[Image, ...]:
    """Return what each sequence becomes by symmetries, undoing and other beginnings.

    Of what comes to the same turns that is there which is least to be thought of: begun at the
    beginning, then not mirrored, then not undone.
    """
    ways = [
        (number, undone)
        for reflects in (False, True)
        for undone in (False, True)
        for number, symmetry in enumerate(puzzle.symmetries)
        if symmetry.reflects == reflects
    ]
    turns = [symmetry.turns.tolist() for symmetry in puzzle.symmetries]
    found: dict[Word, Image] = {}
    for source, own in enumerate(learned):
        for begin in begins_of(puzzle, own):
            for number, undone in ways:
                turned = tuple([turns[number][t] for t in begin.turns])
                word = puzzle.inverse(turned) if undone else turned
                key = word if puzzle.can_block else normal(puzzle, word)
                found.setdefault(key, Image(word, source, begin, number, undone))
                if len(found) >= MOST_IMAGES:
                    return tuple(found.values())
    return tuple(found.values())


def known(balance: Balance, words: ShortWords, images: tuple[Image, ...], turns: int) -> Known:
    """Return all moves with images of learned sequences and setups of up to so many ``turns``.

    Setups are fewer where there are more than ``MOST_MOVES`` moves; those of few turns come first.
    """
    puzzle, looks = balance.puzzle, balance.looks
    effects = np.array([puzzle.effect(own.word) for own in images], dtype=np.int32)
    matter = _slots(looks)
    random = np.random.default_rng(SEED)
    shape = (puzzle.slot_count, puzzle.placement_count)
    values = random.integers(0, 2**63, size=shape, dtype=np.uint64)
    names = _shown(looks)
    every = words.images(np.arange(puzzle.placement_count), turns)
    seen = np.zeros(1 << _SIEVE_BITS, dtype=np.bool_)

    def fresh(to: NDArray[np.int32], exact: bool = False) -> Numbers:
        """Return the rows of moves that were not there yet, each once.

        One in a hundred or so may be missing by chance, but none where it is ``exact``, which is
        for the first.
        """
        keys = np.zeros(len(to), dtype=np.uint64)
        for slot in matter.tolist():
            keys += values[slot, names[to[:, slot]]]
        bits = (keys & _SIEVE).astype(np.int64)
        first = np.unique(keys if exact else bits, return_index=True)[1]
        first = np.sort(first[keys[first] != still] if exact else first[~seen[bits[first]]])
        seen[bits[first]] = True
        return first

    still = values[matter, names[puzzle.home[matter]]].sum(dtype=np.uint64)
    seen[int(still & _SIEVE)] = True
    most = min(MOST_MOVES, MOST_ENTRIES // puzzle.slot_count)
    lengths = np.array([len(own.word) for own in images], dtype=np.int64)
    elsewhere = np.array([own.begin.after != "" for own in images])
    moving = (names[effects[:, puzzle.home[matter]]] != puzzle.home[matter]).sum(axis=1)
    small = np.lexsort((lengths, moving))
    rows: list[tuple[Numbers, Numbers, NDArray[np.int16]]] = []
    total = 0
    for level in range(turns + 1):
        begin, end = words.up_to(level - 1) if level else 0, words.up_to(level)
        # Where not all fit, those that move few pieces are set up, with every setup.
        some = small[: max(1, OVERLAP * (most - total) // max(1, end - begin))]
        order = some[np.lexsort((elsewhere[some], lengths[some]))]
        for setup in range(begin, end):
            there = every[setup]
            back = np.empty_like(there)
            back[there] = np.arange(len(there), dtype=there.dtype)
            to = back[effects[order][:, there[puzzle.home]]]
            own = fresh(to, setup == 0)[: most - total]
            rows.append((order[own], np.full(len(own), setup), to[own].astype(np.int16)))
            total += len(own)
    image, setups, table = (np.concatenate(own) for own in zip(*rows, strict=True))
    adds = np.array([_sums(balance, own.word) for own in images], dtype=np.int64)
    cost = lengths[image] + 2 * words.turns[setups]
    # A puzzle may have no sums at all.
    adds = adds.reshape(len(images), len(balance.entries))
    return Known(words, images, image, setups, table, cost, adds[image])


def _sums(balance: Balance, word: Word) -> Numbers:
    result: Numbers = balance.turns[list(word)].sum(axis=0) % balance.moduli
    return result


def _slots(looks: Looks) -> Numbers:
    """Return the slots of the types that matter."""
    return np.flatnonzero(looks.matters[looks.puzzle.type_of]).astype(np.int64)


def _shown(looks: Looks) -> Numbers:
    """Return a number for each placement that is the same where the twist shows no difference."""
    puzzle = looks.puzzle
    twist = puzzle.twist_of % looks.shown[puzzle.slot_of]
    result: Numbers = (puzzle.home[puzzle.slot_of] + twist).astype(np.int64)
    return result
