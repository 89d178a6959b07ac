"""Words of simple forms, in batches: powers of short words, commutators of these with few turns.

What is done with those that move few pieces is for who looks for something: a subclass of
``FormSearch`` says which rows are looked at, and what is kept.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.notation import turn_text, write
from puzzles.puzzle import Puzzle, Symmetry, Table, Word
from puzzles.words import normal
from search.nearby import Nearby

#: A word, how it is written, and its effect on all placements.
Other = tuple[Word, str, Table]
#: All words of some length, and one of each class under symmetry.
Others = tuple[list[Other], list[Other]]
#: The most turns of a sequence that is worth showing, and of a power where nothing else is there.
LONGEST, LONGEST_POWER = 48, 120
#: Words that are looked at together, to bound memory.
BATCH = 4_000


@dataclass(frozen=True, eq=False)
class Words:
    """Words A with their texts, made when they are asked for, and their effects (words, …)."""

    tables: Table
    word: Callable[[int], Word]
    text: Callable[[int], str]


class FormSearch(ABC):
    """Goes through words of simple forms of some turns and looks at what they do.

    ``symmetries`` carry the turns to turns and what is looked for to what is looked for.
    """

    def __init__(
        self,
        puzzle: Puzzle,
        turns: Sequence[int],
        slots: NDArray[np.integer],
        symmetries: Sequence[Symmetry],
    ) -> None:
        self.puzzle, self.turns, self.slots = puzzle, list(turns), slots
        self.homes = puzzle.home[slots]
        every = np.arange(len(puzzle.turns), dtype=np.int32)
        images = [symmetry.turns for symmetry in symmetries]
        self.images = np.array(images or [every], dtype=np.int64)

    @abstractmethod
    def promising(self, changed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return which rows of pieces that move, (words, slots), are looked at."""

    @abstractmethod
    def keep(self, word: Word, text: str | None) -> None:
        """Keep a word if it is wanted, and how it is written."""

    def stages(self, near: Nearby) -> Iterator[tuple[str, Iterator[float]]]:
        """Yield what is looked at and what looks at it, cheap stages first."""
        one = self.others(1)
        half = LONGEST // 2
        yield "[[x, y]n, z]", self.joined(self.powers(self.commutators(one), half), one[1])
        yield "[A, z]", self.joined(self.words(near), one[1])
        yield "powers of up to three turns", self.alone(self.powers(self.words(near, 1, 3)))
        two = self.others(2)
        yield "[[x, y]n, z w]", self.joined(self.powers(self.commutators(one), half), two[1])
        yield "[An, z]", self.joined(self.powers(self.words(near, 1, 3), half), one[1])
        yield "[[x, y z]n, w]", self.joined(self.powers(self.commutators(two), half), one[1])
        yield "[A, z w]", self.joined(self.words(near), two[1])
        yield "powers of four turns and more", self.alone(self.powers(self.words(near, 4)))
        yield f"powers of {near.depth + 1} turns", self.alone(self.powers(self.longer(near)))
        yield "[A, z w v]", self.joined(self.words(near), self.others(3)[1])

    def tables_of(self, near: Nearby, numbers: NDArray[np.integer]) -> Table:
        """Return what words around do to all placements; pieces that do not count stay put."""
        own = near.acting
        result = np.tile(np.arange(self.puzzle.placement_count, dtype=np.int32), (len(numbers), 1))
        result[:, own.placements] = own.placements[near.tables_of(numbers)]
        return result

    def words(self, near: Nearby, least: int = 1, most: int | None = None) -> Iterator[Words]:
        """Yield the words around of ``least`` to ``most`` turns, all if None."""
        last = near.depth if most is None else min(most, near.depth)
        for start in range(near.begins[min(least, last + 1)], near.begins[last + 1], BATCH):
            end = min(start + BATCH, near.begins[last + 1])

            def word(k: int, start: int = start) -> Word:
                return near.word(start + k)

            def text(k: int, start: int = start) -> str:
                return write(self.puzzle, near.word(start + k))

            yield Words(self.tables_of(near, np.arange(start, end)), word, text)

    def longer(self, near: Nearby) -> Iterator[Words]:
        """Yield words of one turn more than those around; symmetric ones mostly once."""
        first = near.first_turns()[near.begins[-2] :]
        least = self.images.min(axis=0)
        numbers = near.begins[-2] + np.flatnonzero(least[first] == first)
        for begin in range(0, len(numbers), BATCH):
            own = numbers[begin : begin + BATCH]
            tables = self.tables_of(near, own)
            for turn in self.turns:
                table = self.puzzle.moves[turn]

                def word(k: int, turn: int = turn, own: NDArray[np.int64] = own) -> Word:
                    return (*near.word(int(own[k])), turn)

                def text(k: int, turn: int = turn, own: NDArray[np.int64] = own) -> str:
                    return write(self.puzzle, (*near.word(int(own[k])), turn))

                yield Words(table[tables], word, text)

    def commutators(self, others: Others) -> Iterator[Words]:
        """Yield [x, y] for all turns x and some words y."""
        puzzle = self.puzzle
        for begin in range(0, len(others[0]), BATCH):
            own = others[0][begin : begin + BATCH]
            tables = np.array([table for *_, table in own], dtype=np.int32)
            back = _undone(tables)
            for turn in self.turns:
                table = puzzle.moves[turn]
                undone = puzzle.moves[puzzle.inverses[turn]]

                def word(k: int, turn: int = turn, own: list[Other] = own) -> Word:
                    y = own[k][0]
                    return (turn, *y, int(puzzle.inverses[turn]), *puzzle.inverse(y))

                def text(k: int, turn: int = turn, own: list[Other] = own) -> str:
                    return f"[{turn_text(puzzle, turn)}, {own[k][1]}]"

                after = undone[tables[:, table]]
                yield Words(np.take_along_axis(back, after, axis=1), word, text)

    def powers(self, batches: Iterator[Words], most: int = LONGEST_POWER) -> Iterator[Words]:
        """Yield words, then twice each, three times, … while they have at most so many turns."""
        for batch in batches:
            yield from self._powers(batch, most)

    def _powers(self, batch: Words, most: int) -> Iterator[Words]:
        still = np.arange(self.puzzle.placement_count)
        rows = np.flatnonzero((batch.tables != still).any(axis=1))
        if not len(rows):
            return
        # Words of a batch have about as many turns; which are shown is looked at later.
        turns = len(batch.word(int(rows[0])))
        power, times = batch.tables[rows], 1
        while len(rows) and turns * times <= most:

            def word(k: int, rows: NDArray[np.int64] = rows, times: int = times) -> Word:
                return batch.word(int(rows[k])) * times

            def text(k: int, rows: NDArray[np.int64] = rows, times: int = times) -> str:
                own, one = batch.text(int(rows[k])), len(batch.word(int(rows[k]))) == 1
                if times == 1:
                    return own
                return f"{own}{times}" if own.endswith("]") and not one else f"({own}){times}"

            yield Words(power, word, text)
            times += 1
            power = np.take_along_axis(batch.tables[rows], power, axis=1)
            kept = (power != still).any(axis=1)
            rows, power = rows[kept], power[kept]

    def others(self, length: int) -> Others:
        """Return all words of so many turns, and one of each class under symmetry."""
        puzzle = self.puzzle
        words: list[Word] = [()]
        for _ in range(length):
            words = [(*w, t) for w in words for t in self.turns]
            words = [w for w in words if normal(puzzle, w) == w]
        every = [(w, write(puzzle, w), puzzle.effect(w)) for w in words]
        return every, [
            own for own in every if own[0] == min(map(tuple, self.images[:, list(own[0])].tolist()))
        ]

    def alone(self, batches: Iterator[Words]) -> Iterator[float]:
        """Look at words as they are; yield the share that is done, as far as it can be known."""
        for done, batch in enumerate(batches, 1):
            self.look(batch, None, batch.tables[:, self.homes])
            yield 1 - 1 / (1 + done / 4)

    def joined(self, batches: Iterator[Words], others: list[Other]) -> Iterator[float]:
        """Look at all commutators of words A with words Z."""
        home = self.homes
        undone = [np.argsort(table) for *_, table in others]
        for done, batch in enumerate(batches, 1):
            back = _undone(batch.tables)
            homes = batch.tables[:, home]
            for k, (word, text, table) in enumerate(others):
                # A, then Z, then A undone, then Z undone.
                after = np.take_along_axis(back, table[homes], axis=1)
                self.look(batch, (word, text), undone[k][after])
                if k % 8 == 7:
                    yield 1 - 1 / (1 + done / 20)
            yield 1 - 1 / (1 + done / 20)

    def look(
        self, batch: Words, other: tuple[Word, str] | None, homes: NDArray[np.integer]
    ) -> None:
        """Keep those that are wanted; ``homes`` (words, slots) is where pieces go."""
        for k in np.flatnonzero(self.promising(homes != self.homes)).tolist():
            word = batch.word(k)
            if other is None:
                self.keep(word, batch.text(k))
            else:
                inverse = self.puzzle.inverse
                whole = (*word, *other[0], *inverse(word), *inverse(other[0]))
                self.keep(whole, f"[{batch.text(k)}, {other[1]}]")


def _undone(tables: Table) -> Table:
    """Return what undoes effects, rows of a table."""
    result = np.empty_like(tables)
    every = np.arange(tables.shape[1], dtype=tables.dtype)[None, :]
    np.put_along_axis(result, tables, np.broadcast_to(every, tables.shape), axis=1)
    return result
