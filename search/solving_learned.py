"""Solving with what somebody has learned: their sequences, mirrored, undone, after setups.

The sequences are put on shelves in place of those of a search; all that solving does with shelves
it then does with these alone. A sequence may disturb types that are put right later: the order of
the stages follows from that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from puzzles.effects import cycles, effect_of
from puzzles.errors import RequestError, TrefoilError
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import frames
from search.encoding import Scope
from search.goals import Goal
from search.nesting import things
from search.shelves import LONGEST_WORD, Shelves
from search.solving import Solver
from search.solving_looks import Looks
from search.solving_orders import Order
from search.tools import Search

#: The most turns of free play beside learned sequences: what one sees without having learned it.
FREE_TURNS = 3
#: The largest file of sequences, in bytes, and the most sequences in it.
MOST_BYTES, MOST_SEQUENCES = 1_000_000, 1_000


def read_learned(puzzle: Puzzle, path: str) -> tuple[Word, ...]:
    """Return the sequences of a file, one a line; what follows ``#`` is left out.

    Raises RequestError for a file that cannot be read, or that has none, or a wrong one.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        text = error.strerror if isinstance(error, OSError) else str(error)
        raise RequestError(f"{path}: cannot be read ({text})") from None
    if len(data) > MOST_BYTES:
        raise RequestError(f"{path}: a file of sequences may have {MOST_BYTES:,} bytes")
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise RequestError(f"{path}: is no text in UTF-8") from None
    words: list[Word] = []
    for number, line in enumerate(lines, 1):
        text = line.split("#", 1)[0].strip()
        if not text:
            continue
        try:
            word = normal(puzzle, parse(puzzle, text).word)
        except TrefoilError as error:
            raise RequestError(f"{path}, line {number}: {error}") from None
        if len(word) > LONGEST_WORD:
            raise RequestError(
                f"{path}, line {number}: has {len(word)} turns; at most {LONGEST_WORD} can be used"
            )
        words.append(word)
    if not words:
        raise RequestError(f"{path}: has no sequences; one is expected on each line")
    if len(words) > MOST_SEQUENCES:
        raise RequestError(f"{path}: has {len(words):,} sequences, more than {MOST_SEQUENCES:,}")
    return tuple(dict.fromkeys(words))


def solver_with(puzzle: Puzzle, words: Sequence[Word], apart: bool = False) -> Solver:
    """Return a solver that knows some sequences and short free play, and nothing else.

    Raises RequestError where turns can be blocked, or no sequence cycles three pieces.
    """
    if puzzle.can_block:
        raise RequestError(
            f"on {puzzle.name}, where turns can be blocked, learned sequences cannot be used yet"
        )
    order = order_for(puzzle, words, apart)
    search = _Learned(tuple(words))
    return Solver(puzzle, apart, search, order, free_turns=FREE_TURNS, products=False)


def only(words: Iterable[Word]) -> Search:
    """Return a search that finds some sequences and nothing else, for any scope."""
    return _Learned(tuple(words))


def order_for(puzzle: Puzzle, words: Sequence[Word], apart: bool = False) -> Order:
    """Return an order of types in which sequences never disturb a type that comes before.

    Types that no sequence can be used for come first, where free play puts right what it can.
    Raises RequestError if no sequence cycles three pieces of a type and disturbs no earlier one.
    """
    looks = Looks(puzzle, apart)
    matters = set(np.flatnonzero(looks.matters).tolist())
    uses: dict[int, list[set[int]]] = {}
    for word in words:
        for kind, others in _does(puzzle, word, matters):
            uses.setdefault(kind, []).append(others)
    later: set[int] = set()
    order: list[tuple[int, ...]] = []
    while True:
        own = tuple(
            kind
            for kind in sorted(uses)
            if kind not in later and any(others <= later for others in uses[kind])
        )
        if not own:
            break
        order.insert(0, own)
        later.update(own)
    if not order:
        shown = write(puzzle, words[0])
        raise RequestError(
            "none of the sequences cycles three pieces and leaves the other types as they are; "
            f'`trefoil try {puzzle.name} "{shown}"` says what one does'
        )
    rest = tuple(sorted(matters - later))
    return (rest, *order) if rest else tuple(order)


def _does(puzzle: Puzzle, word: Word, matters: set[int]) -> list[tuple[int, set[int]]]:
    """Return the types of which a word cycles three, and which others it disturbs."""
    moved: dict[int, list[tuple[int, ...]]] = {}
    for cycle in cycles(puzzle, effect_of(puzzle, word)):
        moved.setdefault(int(puzzle.type_of[puzzle.slot_of[cycle[0]]]), []).append(cycle)
    result = []
    for kind, own in moved.items():
        if kind in matters and len(own) == 1 and _is_triple(puzzle, own[0]):
            result.append((kind, (set(moved) & matters) - {kind}))
    return result


def _is_triple(puzzle: Puzzle, cycle: tuple[int, ...]) -> bool:
    return len(cycle) == 3 and len({int(puzzle.slot_of[p]) for p in cycle}) == 3


class _Learned:
    """Shelves with some sequences and nothing else, as ``search.tools.Search`` gives them."""

    def __init__(self, words: tuple[Word, ...]) -> None:
        self._words = words

    def __call__(self, scope: Scope, goal: Goal) -> Shelves:
        from search import atlas

        found = atlas.empty(scope)
        rows = [row for word in self._words if (row := self._row(scope, found, word)) is not None]
        if not rows:
            return found
        orbits, costs, others, words = zip(*rows, strict=True)
        table = np.zeros((len(rows), LONGEST_WORD), dtype=np.uint8)
        for k, own in enumerate(words):
            table[k, : len(own)] = own
        lengths = np.array([len(own) for own in words], dtype=np.int16)
        at = np.array(orbits, dtype=np.int64)
        turns, memory = np.array(costs, dtype=np.int16), np.array(others, dtype=np.int16)
        filling = atlas.Filling(scope, found)
        filling.put_words(
            atlas.Words(at, turns, memory, lengths, table),
            atlas.Words(at, memory, turns, lengths, table),
            len(rows),
        )
        return filling.settled(0)

    def _row(
        self, scope: Scope, found: Shelves, word: Word
    ) -> tuple[int, int, int, list[int]] | None:
        """Return orbit, turns, things and the word of the orbit's representative; None for none."""
        puzzle = scope.puzzle
        place = {int(t): k for k, t in enumerate(scope.turns)}
        own = [
            c
            for c in cycles(puzzle, effect_of(puzzle, word))
            if int(puzzle.type_of[puzzle.slot_of[c[0]]]) in scope.kept
        ]
        if len(own) != 1 or not _is_triple(puzzle, own[0]) or not set(word) <= set(place):
            return None
        if int(puzzle.type_of[puzzle.slot_of[own[0][0]]]) not in scope.wanted:
            return None
        table = frames.frames(scope, tuple(found.first.tolist()))
        number = int(frames.numbers(scope, np.searchsorted(scope.placements, np.array(own[0]))))
        back = scope.arrays.symmetry_back[int(table.symmetry[number])]
        base = puzzle.inverse(word) if table.turned[number] else word
        kernel = [int(back[place[t]]) for t in base]
        return int(table.orbit[number]), len(word), things(puzzle, word), kernel
