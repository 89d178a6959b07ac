"""Brute force on puzzles: plain enumeration of commutators, sharing nothing with ``search``.

Three independent sources of commutators whose effect is a three-cycle of one type and nothing else:
rings X Y Z X' Y' Z' for all words X, Y and Z, commutators [A, B] for all words A and B, and from
either all conjugates S [A, B] S' by walking from word to word, turn by turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numba
import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Symmetry, Word
from puzzles.words import normal

#: A three-cycle: where its pieces sit, first the one in the least slot with twist 0.
Cycle = tuple[int, int, int]


def layers_that_matter(puzzle: Puzzle) -> list[int]:
    """Return the layers that some other layer does not commute with."""
    return [k for k in range(len(puzzle.layers)) if np.sum(puzzle.commutes[k]) < len(puzzle.layers)]


def words_by_length(puzzle: Puzzle, longest: int, layers: Iterable[int]) -> list[list[Word]]:
    """Return all words in normal form, by length from 0 on."""
    allowed = set(layers)
    turns = [t for t in range(len(puzzle.turns)) if int(puzzle.turn_layer[t]) in allowed]
    found: list[list[Word]] = [[()]]
    for _ in range(longest):
        found.append([(*word, t) for word in found[-1] for t in turns if _follows(puzzle, word, t)])
    return found


def _follows(puzzle: Puzzle, word: Word, turn: int) -> bool:
    """Return whether a word in normal form stays in it with one more turn at the end."""
    layer = puzzle.turn_layer
    for before in reversed(word):
        if layer[before] == layer[turn]:
            return False
        if not puzzle.commutes[layer[before], layer[turn]]:
            return True
        if before > turn:
            return False
    return True


def rotations(puzzle: Puzzle, word: Word) -> set[Word]:
    """Return all words, in normal form, that a cyclically reduced word can be cut into."""
    found = {word}
    todo = [word]
    while todo:
        for fresh in _turned(puzzle, todo.pop()):
            if fresh not in found:
                found.add(fresh)
                todo.append(fresh)
    return found


def _turned(puzzle: Puzzle, word: Word) -> Iterator[Word]:
    """Yield the words after moving a turn that can stand first to the end."""
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    for k, turn in enumerate(word):
        if all(commutes[layer[t], layer[turn]] and layer[t] != layer[turn] for t in word[:k]):
            yield normal(puzzle, (*word[:k], *word[k + 1 :], turn))


def core(puzzle: Puzzle, word: Iterable[int]) -> Word:
    """Return the cyclically reduced word to which a word is conjugate; of its cuts, the least."""
    current = normal(puzzle, word)
    shorter = True
    while shorter:
        shorter = False
        for fresh in _turned(puzzle, current):
            if len(fresh) < len(current):
                current, shorter = fresh, True
                break
    return min(rotations(puzzle, current))


def cycle_of(puzzle: Puzzle, word: Iterable[int], kept: Iterable[int]) -> Cycle | None:
    """Return the three-cycle that a word is on the kept types; None if it is anything else."""
    effect = puzzle.effect(word)
    homes = [int(puzzle.home[s]) for t in kept for s in puzzle.types[t].slots]
    moved = [p for p in homes if effect[p] != p]
    if len(moved) != 3:
        return None
    a = moved[0]
    b = int(effect[a])
    c = int(effect[b])
    if effect[c] != a or len({int(puzzle.slot_of[p]) for p in (a, b, c)}) != 3:
        return None
    return a, b, c


def images(puzzle: Puzzle, cycle: Cycle, symmetries: Iterable[Symmetry]) -> set[Cycle]:
    """Return the cycle's images under symmetries, and their inverses."""
    found = set()
    for symmetry in symmetries:
        a, b, c = (int(symmetry.placements[p]) for p in cycle)
        found |= {_least(puzzle, (a, b, c)), _least(puzzle, (c, b, a))}
    return found


def _least(puzzle: Puzzle, cycle: Cycle) -> Cycle:
    k = min(range(3), key=lambda k: int(puzzle.slot_of[cycle[k]]))
    ordered = cycle[k:] + cycle[:k]
    twist = int(puzzle.twist_of[ordered[0]])
    twists = puzzle.types[int(puzzle.type_of[puzzle.slot_of[ordered[0]]])].twists
    a, b, c = (
        p - int(puzzle.twist_of[p]) + (int(puzzle.twist_of[p]) - twist) % twists for p in ordered
    )
    return a, b, c


def carried(puzzle: Puzzle, word: Word, symmetries: Iterable[Symmetry] | None = None) -> set[Word]:
    """Return a cyclic word's images under symmetries, and their inverses, as least cuts."""
    found = set()
    for symmetry in puzzle.symmetries if symmetries is None else symmetries:
        image = tuple(int(symmetry.turns[t]) for t in word)
        found |= {core(puzzle, image), core(puzzle, puzzle.inverse(image))}
    return found


def _type_image(puzzle: Puzzle, symmetry: Symmetry, number: int) -> int:
    image = symmetry.placements[puzzle.types[number].first_placement]
    return int(puzzle.type_of[puzzle.slot_of[image]])


def _representatives(
    puzzle: Puzzle, words: list[Word], symmetries: Iterable[Symmetry]
) -> list[Word]:
    """Return one word of each class under symmetries."""
    kept = []
    for word in words:
        pictures = (normal(puzzle, [int(s.turns[t]) for t in word]) for s in symmetries)
        if all(picture >= word for picture in pictures):
            kept.append(word)
    return kept


Table = NDArray[np.int16]
Numbers = NDArray[np.int32]


def _effects(puzzle: Puzzle, words: list[Word]) -> tuple[Table, Table]:
    """Return the effects of words and of their inverses, each of shape (n, placements)."""
    straight = np.array([puzzle.effect(w) for w in words], dtype=np.int16)
    return straight, np.argsort(straight, axis=1).astype(np.int16)


@numba.njit(cache=False)  # type: ignore[untyped-decorator]
def _three(
    x: Table,
    y: Table,
    z: Table,
    xi: Table,
    yi: Table,
    zi: Table,
    homes: Numbers,
    wanted: int,
    out: Numbers,
) -> int:
    """Write all (X, Y, Z) whose ring moves so many pieces to ``out``; return how many there are."""
    count = 0
    there = np.empty(x.shape[1], np.int16)
    back = np.empty(x.shape[1], np.int16)
    for i in range(len(x)):
        for j in range(len(y)):
            for p in range(x.shape[1]):
                there[p] = y[j, x[i, p]]
                back[p] = yi[j, xi[i, p]]
            for k in range(len(z)):
                moved = 0
                for h in homes:
                    if zi[k, back[z[k, there[h]]]] != h:
                        moved += 1
                        if moved > wanted:
                            break
                if moved == wanted:
                    if count < len(out):
                        out[count, 0], out[count, 1], out[count, 2] = i, j, k
                    count += 1
    return count


class Brute:
    """Brute force on one puzzle, with some of its layers and some kept types.

    Of the puzzle's symmetries those are used that carry the layers and the types to themselves.
    With ``moved``, the number of pieces for the number of a type, other effects than three-cycles
    are enumerated: all that move so many pieces of the kept types.
    """

    def __init__(
        self,
        puzzle: Puzzle,
        layers: Iterable[int] | None = None,
        kept: Iterable[int] | None = None,
        moved: dict[int, int] | None = None,
    ) -> None:
        self.puzzle, self.moved = puzzle, moved
        self.layers = sorted(layers) if layers is not None else layers_that_matter(puzzle)
        moving = [t.number for t in puzzle.types if t.moves]
        self.kept = sorted(kept) if kept is not None else moving
        self.symmetries = [
            s
            for s in puzzle.symmetries
            if {int(s.layers[k]) for k in self.layers} == set(self.layers)
            and {_type_image(puzzle, s, k) for k in self.kept} == set(self.kept)
            and all(
                (moved or {}).get(_type_image(puzzle, s, k)) == n for k, n in (moved or {}).items()
            )
        ]
        slots = [s for t in self.kept for s in puzzle.types[t].slots]
        self.homes = puzzle.home[slots].astype(np.int32)
        self._words: list[list[Word]] = [[()]]
        self._tables: dict[int, tuple[Table, Table]] = {}

    def words(self, length: int) -> list[Word]:
        """Return all words of a length in normal form."""
        if length >= len(self._words):
            self._words = words_by_length(self.puzzle, length, self.layers)
        return self._words[length]

    def _effects_of(self, length: int) -> tuple[Table, Table]:
        if length not in self._tables:
            self._tables[length] = _effects(self.puzzle, self.words(length))
        return self._tables[length]

    def _found(self, xs: list[Word], ys: list[Word], length: int) -> Iterator[Word]:
        """Yield X Y Z X' Y' Z', not cancelled, where it is a three-cycle; |Z| is given."""
        (x, xi), (y, yi) = _effects(self.puzzle, xs), _effects(self.puzzle, ys)
        z, zi = self._effects_of(length)
        out = np.zeros((1 << 20, 3), np.int32)
        wanted = 3 if self.moved is None else sum(self.moved.values())
        count = int(_three(x, y, z, xi, yi, zi, self.homes, wanted, out))
        assert count <= len(out), "more hits than there is room for"
        undo = self.puzzle.inverse
        for i, j, k in out[:count].tolist():
            one, two, three = xs[i], ys[j], self.words(length)[k]
            word = one + two + three + undo(one) + undo(two) + undo(three)
            if self.is_wanted(word):
                yield word

    def is_wanted(self, word: Word) -> bool:
        """Return whether a word is a three-cycle, or moves as many pieces of each type as asked."""
        if self.moved is None:
            return cycle_of(self.puzzle, word, self.kept) is not None
        effect, home = self.puzzle.effect(word), self.puzzle.home
        kinds = self.puzzle.type_of[effect[home] != home].tolist()
        return {k: kinds.count(k) for k in self.kept if k in kinds} == self.moved

    def three_arcs(self, half_length: int) -> Iterator[Word]:
        """Yield rings X Y Z X' Y' Z' of |X| + |Y| + |Z| turns, one or more up to symmetry.

        Nothing is cancelled and no joint need be free of merging. |X| <= |Y| <= |Z| is no loss:
        starting at another arc, or reading backwards, gives every order of the three.
        """
        for x in range(half_length // 3 + 1):
            for y in range(max(x, 1), (half_length - x) // 2 + 1):
                xs, ys = self.words(x), self.words(y)
                if x:
                    xs = _representatives(self.puzzle, xs, self.symmetries)
                else:
                    ys = _representatives(self.puzzle, ys, self.symmetries)
                yield from self._found(xs, ys, half_length - x - y)

    def rings(self, longest: int) -> set[Word]:
        """Return what all rings of half-lengths up to ``longest`` reduce to, as least cuts.

        One for each cyclic word up to commuting; a ring and its inverse are two.
        """
        found: set[Word] = set()
        for least in self.cores_by_arcs(longest, 2 * longest):
            if least not in found:
                found |= carried(self.puzzle, least, self.symmetries)
        return found

    def cores_by_arcs(self, longest: int, turns: int) -> set[Word]:
        """Return what rings of half-lengths up to ``longest`` reduce to, up to symmetry.

        Only cores of at most ``turns`` turns.
        """
        return self._cores(
            (word for h in range(2, longest + 1) for word in self.three_arcs(h)), turns
        )

    def cores_by_pairs(self, a: int, b: int, turns: int) -> set[Word]:
        """Return what [A, B] reduces to for all |A| <= a and |B| <= b, up to symmetry."""

        def pairs() -> Iterator[Word]:
            for one in range(1, a + 1):
                xs = _representatives(self.puzzle, self.words(one), self.symmetries)
                for two in range(1, b + 1):
                    yield from self._found(xs, [()], two)

        return self._cores(pairs(), turns)

    def _cores(self, words: Iterable[Word], turns: int) -> set[Word]:
        seen: set[Word] = set()
        found: set[Word] = set()
        for word in words:
            short = normal(self.puzzle, word)
            if short in seen:
                continue
            seen.add(short)
            least = core(self.puzzle, short)
            if len(least) <= turns:
                found.add(least)
        return found

    def shortest(self, cores: Iterable[Word], turns: int) -> dict[Cycle, int]:
        """Return the least executed length of S C S' for every cycle, over all S and all cores C.

        Walks from each core by conjugating with one turn at a time through all words of at most
        ``turns`` turns. Conjugation reaches every S [A, B] S' that way without detour through
        longer words: a word's conjugates by the turns of S, from the inside out and started at the
        best cut of the core, never get shorter on the way.
        """
        letters = [
            t for t in range(len(self.puzzle.turns)) if self.puzzle.turn_layer[t] in self.layers
        ]
        best: dict[Cycle, int] = {}
        for least in cores:
            walked = {least}
            todo = [least]
            while todo:
                word = todo.pop()
                cycle = cycle_of(self.puzzle, word, self.kept)
                assert cycle is not None
                if best.get(cycle, turns + 1) > len(word):
                    for image in images(self.puzzle, cycle, self.symmetries):
                        best[image] = min(len(word), best.get(image, turns + 1))
                for t in letters:
                    fresh = normal(self.puzzle, (int(self.puzzle.inverses[t]), *word, t))
                    if len(fresh) <= turns and fresh not in walked:
                        walked.add(fresh)
                        todo.append(fresh)
        return best
