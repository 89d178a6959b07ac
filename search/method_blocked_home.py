"""The way back to the home shape: how far it is, which short walks lead there, and what is left.

A body stands *right* if it fills what one fills when all is solved, whichever of them it is; that
can be seen. So a rule that a person can follow puts one more body right after another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.names import placement_name, slot_names
from puzzles.puzzle import Word
from search.fastened import bodies
from search.method_blocked_units import noun
from search.solving_blocked_near import Near
from search.solving_blocked_ways import WaysHome

#: Shapes that are listed one by one, if there are no more.
MOST_LISTED = 24
#: Walks that may be a rule of thumb: their turns, how many of them, and entries of their table.
RULE_TURNS, MOST_RULES, MOST_TABLE = 3, 8, 30_000_000
#: A rule that helps at fewer shapes than this share is none.
LEAST_SHARE = 0.3
#: Longer walks have to help at more shapes: by this power of their turns.
DEARER = 0.3
#: What parities and twist sums can be that is listed, and looked at.
MOST_SUMS, MOST_VALUES = 8, 100_000

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Nearer:
    """From shapes at which ``right`` bodies stand right, the turns until one more does.

    ``shapes`` is how many such shapes there are, ``mean`` and ``most`` the fewest turns.
    """

    right: int
    shapes: int
    mean: float
    most: int


@dataclass(frozen=True)
class Sum:
    """Parities and twist sums that can be off at the home shape, and the shortest loop for them.

    ``odd`` are the kinds that are an odd rearrangement, ``twisted`` those whose twists add up to
    something, with how many steps and how many make a whole turn; kinds by number.
    """

    odd: tuple[int, ...]
    twisted: tuple[tuple[int, int, int], ...]
    word: Word


@dataclass(frozen=True)
class Listed:
    """A shape, by what bodies that do not stand right fill, and a shortest way home from it."""

    wrong: tuple[str, ...]
    word: Word


@dataclass(frozen=True)
class Home:
    """What there is to know about the way home.

    ``noun`` is what bodies are called, ``fastened`` whether they are fastened pieces. ``shapes``
    are all there are, with ``bodies`` bodies; a shortest way takes ``mean`` turns from the others
    and at most ``most``; with parities and sums put right on the way ``sums_mean`` and
    ``sums_most`` (over all pairs of a shape and a value). ``nearer`` says how far one more body is,
    ``rule_mean`` and ``rule_most`` what it takes to put body after body right. ``rule`` are walks
    of which one puts one more right at the share ``share`` of the other shapes. ``listed`` are all
    other shapes, if few. ``values`` is how many values parities and sums have at home, ``sums`` the
    first few that are off.
    """

    noun: str
    fastened: bool
    shapes: int
    bodies: int
    mean: float
    most: int
    sums_mean: float
    sums_most: int
    nearer: tuple[Nearer, ...]
    rule_mean: float
    rule_most: int
    rule: tuple[Word, ...]
    share: float
    listed: tuple[Listed, ...]
    values: int
    sums: tuple[Sum, ...]


class Homeward:
    """The tables of the way home: which turn leads to a shape with one more body right."""

    def __init__(self, near: Near, ways: WaysHome) -> None:
        self.near, self.shapes, self.ways = near, near.shapes, ways
        rows = np.empty((len(self.shapes.turn_to), len(self.shapes.outlines)), dtype=np.int16)
        for key, number in self.shapes.numbers.items():
            rows[number] = np.frombuffer(key, dtype=np.int16)
        #: Outlines of every shape (shapes, bodies), and which of them are filled at home.
        self.rows = rows
        self.standing = np.isin(rows, rows[0])
        self.right: Numbers = self.standing.sum(axis=1).astype(np.int64)
        #: The fewest turns to a shape with more bodies right.
        self.turns = np.zeros(len(rows), dtype=np.int64)
        self._next: dict[int, NDArray[np.int16]] = {}
        for level in np.unique(self.right)[:-1].tolist():
            self._toward(level)

    def _toward(self, level: int) -> None:
        """Find the fewest turns from shapes with so many bodies right to any with more."""
        to, inverses = self.shapes.turn_to, self.shapes.puzzle.inverses
        distance = np.where(self.right > level, 0, -1)
        following = np.full(len(distance), -1, dtype=np.int16)
        here = np.flatnonzero(distance == 0)
        depth = 0
        while len(here):
            depth += 1
            fresh = []
            for turn in range(to.shape[1]):
                there = to[here, turn]
                there = np.unique(there[there >= 0]).astype(np.int64)
                there = there[distance[there] < 0]
                distance[there], following[there] = depth, inverses[turn]
                fresh.append(there)
            here = np.concatenate(fresh)
        own = self.right == level
        self.turns[own] = distance[own]
        self._next[level] = following

    def word(self, shape: int) -> Word:
        """Return a shortest walk from a shape to one with more bodies right, empty at home."""
        if shape == 0:
            return ()
        level, row = int(self.right[shape]), list[int]()
        while self.right[shape] <= level:
            row.append(int(self._next[level][shape]))
            shape = int(self.shapes.turn_to[shape, row[-1]])
        return tuple(row)

    def whole(self) -> Numbers:
        """Return the turns from every shape home, body after body by ``word``."""
        result = np.zeros(len(self.right), dtype=np.int64)
        for shape in np.argsort(-self.right, kind="stable").tolist():
            there = shape
            for turn in self.word(shape):
                there = int(self.shapes.turn_to[there, turn])
            if there != shape:
                result[shape] = self.turns[shape] + result[there]
        return result

    def home(self) -> Home:
        """Return what there is to know."""
        every = self.ways.turns
        shortest = np.where(every >= 0, every, np.iinfo(np.int32).max).min(axis=1)[1:]
        reached = every[every >= 0]
        whole = self.whole()[1:]
        rule, share = self._rule()
        sums, values = self._sums()
        return Home(
            noun(self.shapes),
            bool(self.shapes.puzzle.bonds),
            len(self.right),
            self.rows.shape[1],
            _mean(shortest),
            int(shortest.max(initial=0)),
            _mean(reached[1:]) if len(reached) > 1 else 0.0,
            int(reached.max(initial=0)),
            tuple(self._nearer()),
            _mean(whole),
            int(whole.max(initial=0)),
            rule,
            share,
            self._listed(),
            values,
            sums,
        )

    def _nearer(self) -> list[Nearer]:
        result = []
        for level in self._next:
            own = self.turns[self.right == level]
            result.append(Nearer(level, len(own), _mean(own), int(own.max())))
        return result

    def _rule(self) -> tuple[tuple[Word, ...], float]:
        """Return the few walks that put one more body right most often, and how often one does."""
        wrong = np.flatnonzero(self.right < self.right[0])
        words, ends = self._walks(wrong)
        if not words:
            return (), 0.0
        helps = (ends >= 0) & (self.right[ends] > self.right[wrong])
        cost = np.array([len(word) for word in words]) ** DEARER
        left = np.ones(len(wrong), dtype=np.bool_)
        chosen: list[int] = []
        while left.any() and len(chosen) < MOST_RULES:
            counts = helps[:, left].sum(axis=1) / cost
            best = int(counts.argmax())
            if not counts[best]:
                break
            chosen.append(best)
            left &= ~helps[best]
        share = 1.0 - float(left.sum()) / len(wrong)
        if share < LEAST_SHARE:
            return (), 0.0
        # What was chosen early may be needless after what came later.
        for k in sorted(chosen, key=lambda k: -len(words[k])):
            others = [other for other in chosen if other != k]
            if others and (helps[others].any(axis=0) == helps[chosen].any(axis=0)).all():
                chosen = others
        return tuple(words[k] for k in chosen), share

    def _walks(self, start: Numbers) -> tuple[list[Word], NDArray[np.int32]]:
        """Return short words, and where they lead from some shapes, -1 where they are blocked."""
        to, layer = self.shapes.turn_to, self.shapes.puzzle.turn_layer
        level: list[tuple[Word, NDArray[np.int32]]] = [((), start.astype(np.int32))]
        row: list[tuple[Word, NDArray[np.int32]]] = []
        for _ in range(RULE_TURNS):
            if len(level) * to.shape[1] * max(len(start), 1) > MOST_TABLE:
                break
            level = [
                ((*word, turn), np.where(end >= 0, to[end, turn], -1))
                for word, end in level
                for turn in range(to.shape[1])
                if not word or layer[word[-1]] != layer[turn]
            ]
            row += level
        if not row or not len(start):
            return [], np.zeros((0, len(start)), dtype=np.int32)
        return [word for word, _ in row], np.array([end for _, end in row])

    def _listed(self) -> tuple[Listed, ...]:
        """Return all shapes but home with a shortest way from each, if they are few."""
        if len(self.right) > MOST_LISTED:
            return ()
        puzzle = self.shapes.puzzle
        found = bodies(puzzle, tuple(range(len(puzzle.turns))))
        names, home = slot_names(puzzle), set(self.rows[0].tolist())
        result = []
        for shape in range(1, len(self.right)):
            path = self.shapes.path(shape)
            state = puzzle.effect(path)
            wrong = []
            for b, place in enumerate(found.found(puzzle.home, state)):
                if self.shapes.outlines[b][place] in home:
                    continue
                at = state[puzzle.home[list(found.members[b])]].tolist()
                alone = len(at) == 1
                slots = [names[int(puzzle.slot_of[p])] for p in at]
                name = placement_name(puzzle, at[0]) if alone else "+".join(slots)
                wrong.append(name)
            result.append(Listed(tuple(sorted(wrong)), puzzle.inverse(path)))
        return tuple(result)

    def _sums(self) -> tuple[tuple[Sum, ...], int]:
        """Return what can be off at the home shape, and how many values there are in all."""
        own, moduli = self.near.invariants, self.near.invariants.moduli
        reached = int((self.ways.turns[0] >= 0).sum())
        if own.size > MOST_VALUES:
            return (), reached
        grid = np.array([*np.ndindex(*moduli.tolist())], dtype=np.int64).reshape(own.size, -1)
        turns = self.ways.turns[0, own.numbers(grid)]
        order = np.argsort(turns, kind="stable")
        rows = grid[order[turns[order] > 0]][:MOST_SUMS]
        result = []
        for values in rows:
            word = self.ways.word(0, values)
            assert word is not None
            columns = [*zip(own.kind_of, own.is_parity, values.tolist(), strict=True)]
            odd = tuple(kind for kind, parity, value in columns if parity and value)
            twisted = tuple(
                (kind, value, self.shapes.kinds[kind].twists)
                for kind, parity, value in columns
                if not parity and value
            )
            result.append(Sum(odd, twisted, word))
        return tuple(result), reached


def _mean(row: NDArray[np.integer]) -> float:
    return float(row.mean()) if len(row) else 0.0
