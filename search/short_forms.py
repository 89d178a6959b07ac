"""Short sequences for effects other than three-cycles: twists in place, swaps, pairs of swaps.

First all words are joined with each other, which finds the shortest of any form where it is short.
Then come powers of short words, and commutators [A, Z] of a short word or of a power of one: where
A twists a piece in place and Z carries it away, and they share no more, two twists are left.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.laws import Part
from puzzles.layer_group import layer_group
from puzzles.least_effects import MOVED, candidates, kind_of
from puzzles.notation import turn_text, write
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.nearby import Nearby, nearby

#: A type's number and a kind of effect.
Wanted = tuple[int, str]
#: A word, how it is written, and its effect on all placements.
_Other = tuple[Word, str, Table]
#: All words of some length, and one of each class under symmetry.
_Others = tuple[list[_Other], list[_Other]]
#: The most turns of a sequence that is worth showing, and of a power where nothing else is there.
LONGEST, LONGEST_POWER = 48, 120
#: Words that are looked at together, to bound memory.
BATCH = 4_000
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


@dataclass(frozen=True, eq=False)
class _Words:
    """Words A with their texts, made when they are asked for, and their effects (words, …)."""

    tables: Table
    word: Callable[[int], Word]
    text: Callable[[int], str]


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
    for stage, steps in search.stages():
        for share in steps:
            yield Looked(dict(search.best), stage, share)
            if stop() or time.monotonic() > until:
                return
    yield Looked(dict(search.best), "", 1.0, True)


@dataclass(eq=False)
class _Search:
    puzzle: Puzzle
    wanted: frozenset[Wanted]
    best: dict[Wanted, Form] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.most = max(MOVED[kind] for _, kind in self.wanted)
        self.first_slots = np.array([kind.first_slot for kind in self.puzzle.types])
        images = [symmetry.turns for symmetry in self.puzzle.symmetries]
        every = np.arange(len(self.puzzle.turns), dtype=np.int32)
        self.images = np.array(images or [every], dtype=np.int64)

    def stages(self) -> Iterator[tuple[str, Iterator[float]]]:
        """Yield what is looked at and what looks at it, cheap stages first."""
        near = nearby(self.puzzle)
        yield f"all sequences of up to {2 * near.depth} turns", self.both_ends(near)
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

    def words(self, near: Nearby, least: int = 1, most: int | None = None) -> Iterator[_Words]:
        """Yield the words around of ``least`` to ``most`` turns, all if None."""
        last = near.depth if most is None else min(most, near.depth)
        for start in range(near.begins[min(least, last + 1)], near.begins[last + 1], BATCH):
            end = min(start + BATCH, near.begins[last + 1])

            def word(k: int, start: int = start) -> Word:
                return near.word(start + k)

            def text(k: int, start: int = start) -> str:
                return write(self.puzzle, near.word(start + k))

            yield _Words(near.tables(start, end), word, text)

    def longer(self, near: Nearby) -> Iterator[_Words]:
        """Yield words of one turn more than those around; symmetric ones mostly once."""
        first = near.first_turns()[near.begins[-2] :]
        least = self.images.min(axis=0)
        numbers = near.begins[-2] + np.flatnonzero(least[first] == first)
        for begin in range(0, len(numbers), BATCH):
            own = numbers[begin : begin + BATCH]
            tables = near.tables_of(own)
            for turn, table in enumerate(self.puzzle.moves):

                def word(k: int, turn: int = turn, own: NDArray[np.int64] = own) -> Word:
                    return (*near.word(int(own[k])), turn)

                def text(k: int, turn: int = turn, own: NDArray[np.int64] = own) -> str:
                    return write(self.puzzle, (*near.word(int(own[k])), turn))

                yield _Words(table[tables], word, text)

    def commutators(self, others: _Others) -> Iterator[_Words]:
        """Yield [x, y] for all turns x and some words y."""
        puzzle = self.puzzle
        for begin in range(0, len(others[0]), BATCH):
            own = others[0][begin : begin + BATCH]
            tables = np.array([table for *_, table in own], dtype=np.int32)
            back = _undone(tables)
            for turn, table in enumerate(puzzle.moves):
                undone = puzzle.moves[puzzle.inverses[turn]]

                def word(k: int, turn: int = turn, own: list[_Other] = own) -> Word:
                    y = own[k][0]
                    return (turn, *y, int(puzzle.inverses[turn]), *puzzle.inverse(y))

                def text(k: int, turn: int = turn, own: list[_Other] = own) -> str:
                    return f"[{turn_text(puzzle, turn)}, {own[k][1]}]"

                after = undone[tables[:, table]]
                yield _Words(np.take_along_axis(back, after, axis=1), word, text)

    def powers(self, batches: Iterator[_Words], most: int = LONGEST_POWER) -> Iterator[_Words]:
        """Yield words, then twice each, three times, … while they have at most so many turns."""
        for batch in batches:
            yield from self._powers(batch, most)

    def _powers(self, batch: _Words, most: int) -> Iterator[_Words]:
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

            yield _Words(power, word, text)
            times += 1
            power = np.take_along_axis(batch.tables[rows], power, axis=1)
            kept = (power != still).any(axis=1)
            rows, power = rows[kept], power[kept]

    def others(self, length: int) -> _Others:
        """Return all words of so many turns, and one of each class under symmetry."""
        puzzle = self.puzzle
        words: list[Word] = [()]
        for _ in range(length):
            words = [(*w, t) for w in words for t in range(len(puzzle.turns))]
            words = [w for w in words if normal(puzzle, w) == w]
        every = [(w, write(puzzle, w), puzzle.effect(w)) for w in words]
        return every, [
            own for own in every if own[0] == min(map(tuple, self.images[:, list(own[0])].tolist()))
        ]

    def alone(self, batches: Iterator[_Words]) -> Iterator[float]:
        """Look at words as they are; yield the share that is done, as far as it can be known."""
        for done, batch in enumerate(batches, 1):
            self.look(batch, None, batch.tables[:, self.puzzle.home])
            yield 1 - 1 / (1 + done / 4)

    def joined(self, batches: Iterator[_Words], others: list[_Other]) -> Iterator[float]:
        """Look at all commutators of words A with words Z."""
        home = self.puzzle.home
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
        self, batch: _Words, other: tuple[Word, str] | None, homes: NDArray[np.integer]
    ) -> None:
        """Keep those that have a wanted effect; ``homes`` (words, slots) is where pieces go."""
        changed = homes != self.puzzle.home
        total = changed.sum(axis=1)
        for k in np.flatnonzero((total > 0) & (total <= self.most)).tolist():
            types = self.puzzle.type_of[changed[k]]
            if (types != types[0]).any():
                continue
            word = batch.word(k)
            if other is None:
                self.keep(word, batch.text(k))
            else:
                inverse = self.puzzle.inverse
                whole = (*word, *other[0], *inverse(word), *inverse(other[0]))
                self.keep(whole, f"[{batch.text(k)}, {other[1]}]")

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


def _undone(tables: Table) -> Table:
    """Return what undoes effects, rows of a table."""
    result = np.empty_like(tables)
    every = np.arange(tables.shape[1], dtype=tables.dtype)[None, :]
    np.put_along_axis(result, tables, np.broadcast_to(every, tables.shape), axis=1)
    return result
