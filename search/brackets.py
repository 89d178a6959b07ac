"""Bracket forms of a word: every way to read it as S [A, B] S', and the easiest to remember.

A ring X Y Z X' Y' Z' that starts inside X = X1 X2, after X1, is [X2 Y X1, X1' Z X2']; started at
the beginning of X it is [X Y, Z X'] and also [X Y, Z Y] and [X Z', Z Y]. Started elsewhere it takes
a setup, or every part is carried over to the asker's start. Turns c that commute with all of B may
be put after A, [A c, B] = [A, B], and where a setup ends with c, before it: c [A, B] c' = [c A, B].
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Tree
from puzzles.puzzle import Puzzle, Word
from search.arcs import Arcs, Budget, arcs
from search.fastened import possible
from search.nesting import nesting, things
from search.traces import Alphabet, alphabet

__all__ = ["Form", "carried", "forms", "shortest_form", "text", "things", "tree"]

#: A parts-and-setup triple before its turns are counted.
Reading = tuple[Word, Word, Word]


@dataclass(frozen=True)
class Form:
    """``setup [a, b] setup'``, equal to the word up to ``puzzles.words.normal``.

    ``things`` counts the turns of its shortest nested bracket form (search.nesting).
    """

    setup: Word
    a: Word
    b: Word
    things: int

    def turns(self, puzzle: Puzzle) -> Word:
        """Return all turns as written, nothing cancelled."""
        undone = alphabet(puzzle).undone
        inside = self.a + self.b + undone(self.a) + undone(self.b)
        return self.setup + inside + undone(self.setup)

    @property
    def order(self) -> tuple[int, int, int]:
        """What forms are sorted by: fewest things, shortest setup, shortest parts."""
        return (self.things, len(self.setup), len(self.a) + len(self.b))


def forms(puzzle: Puzzle, word: Word) -> list[Form]:
    """Return the readings of a word as S [A, B] S', fewest things first.

    For each triple of arcs (search.arcs) the ring is started at every arc and where the word
    itself starts, with the shortest setup; empty if the word is no commutator that can be read so.
    """
    memory = nesting(puzzle)
    found = [
        Form(s, a, b, memory.things(s) + memory.things(a) + memory.things(b))
        for s, a, b in readings(alphabet(puzzle), word)
    ]
    return sorted(found, key=lambda form: (form.order, form.setup, form.a, form.b))


def shortest_form(puzzle: Puzzle, word: Word, setup: int | None = None) -> Form | None:
    """Return the form with the fewest things; ties: shortest setup, then shortest a and b.

    With at most ``setup`` turns before the bracket, None for any number: what a longer setup does
    is carried inside, c [A, B] c' = [c A c', c B c'].
    """
    memory = nesting(puzzle)
    found = readings(alphabet(puzzle), word)
    if setup is not None:
        found = list(dict.fromkeys(_carried_inside(puzzle, one, setup) for one in found))
    if puzzle.can_block:
        # Turns that cancel are not executed, but somebody who goes by the brackets does them.
        found = [one for one in found if possible(puzzle, _written_out(puzzle, one))]
    bounded = sorted(
        (memory.least(s) + memory.least(a) + memory.least(b), len(s), len(a) + len(b), s, a, b)
        for s, a, b in found
    )
    best: Form | None = None
    for least, _, _, s, a, b in bounded:
        if best is not None and least > best.things:
            break
        form = Form(s, a, b, memory.things(s) + memory.things(a) + memory.things(b))
        if best is None or form.order < best.order:
            best = form
    return best


def _written_out(puzzle: Puzzle, reading: Reading) -> Word:
    around, a, b = reading
    undone = puzzle.inverse
    return around + a + b + undone(a) + undone(b) + undone(around)


def _carried_inside(puzzle: Puzzle, reading: Reading, most: int) -> Reading:
    """Return a reading whose setup has at most some turns, the rest of it carried inside."""
    before, a, b = reading
    kept, rest = before[:most], before[most:]
    undone = puzzle.inverse(rest)
    normal = alphabet(puzzle).normal
    return kept, normal(rest + a + undone), normal(rest + b + undone)


def tree(puzzle: Puzzle, form: Form) -> Tree:
    """Return a form as a tree of nested brackets, each part in its shortest nested form."""
    memory = nesting(puzzle)
    inside = Commutator(memory.tree(form.a), memory.tree(form.b))
    return Conjugate(memory.tree(form.setup), inside) if form.setup else inside


def text(puzzle: Puzzle, form: Form) -> str:
    """Return a form in nested brackets, ``[F: [R', [F: L2]]]``."""
    return brackets.text(tree(puzzle, form))


def carried(puzzle: Puzzle, form: Form, symmetry: int) -> Form:
    """Return the form after a symmetry of the puzzle, by its number: another holding's letters."""
    turns, normal = puzzle.symmetries[symmetry].turns.tolist(), alphabet(puzzle).normal
    s, a, b = (normal([turns[turn] for turn in part]) for part in (form.setup, form.a, form.b))
    return Form(s, a, b, form.things)


def readings(letters: Alphabet, word: Word, budget: Budget | None = None) -> list[Reading]:
    """Return the different (S, A, B) with S [A, B] S' equal to the word.

    ``budget`` bounds the work as in ``search.arcs.arcs``.
    """
    around, ring = letters.peeled(word)
    found: dict[Reading, None] = {}
    started: set[Reading] = set()
    for reading in arcs(letters, ring, budget):
        for triple in _started(letters, around, reading):
            _vary(letters, triple, started, found)
    return list(found)


def _vary(
    letters: Alphabet, reading: Reading, started: set[Reading], found: dict[Reading, None]
) -> None:
    """Add a reading without needless turns, with others that commute put in, and from further in.

    ``(R' D' R D)2`` around U is easier to remember than without its last turn, which U D' undoes.
    """
    normal = letters.normal
    waiting = [reading]
    while waiting:
        setup, a, b = waiting.pop()
        a = _trimmed(letters, a, b)
        b = _trimmed(letters, b, a)
        if (setup, a, b) in started:
            continue
        started.add((setup, a, b))
        found[setup, a, b] = None
        for more in _padding(letters, a, b):
            found[setup, normal((*a, more)), b] = None
        for more in _padding(letters, b, a):
            found[setup, a, normal((*b, more))] = None
        for k in letters.lasts(setup):
            rest, turn = setup[:k] + setup[k + 1 :], setup[k]
            if _passes(letters, turn, b):
                waiting.append((rest, normal((turn, *a)), b))
            if _passes(letters, turn, a):
                waiting.append((rest, a, normal((turn, *b))))
            moved = [normal((turn, *part, letters.inverse[turn])) for part in (a, b)]
            if sum(map(len, moved)) <= len(a) + len(b):
                waiting.append((rest, moved[0], moved[1]))


def _passes(letters: Alphabet, turn: int, word: Word) -> bool:
    """Whether a turn commutes with every turn of a word."""
    together = letters.together[turn]
    return False not in [together[other] for other in word]


def _trimmed(letters: Alphabet, part: Word, other: Word) -> Word:
    """Return a part without the turns at its end that commute with the other part."""
    k = len(part) - 1
    while k >= 0 and len(part) > 1:
        turn = part[k]
        if _passes(letters, turn, other) and all(letters.free[turn][t] for t in part[k + 1 :]):
            part = part[:k] + part[k + 1 :]
            k = len(part)
        k -= 1
    return part


def _padding(letters: Alphabet, part: Word, other: Word) -> list[int]:
    """Return the turns that commute with the other part and may close a bracket in this one."""
    if len(part) < 3:
        return []
    inside = {u for t in part for u in (t, letters.inverse[t])}
    return [t for t in sorted(inside) if _passes(letters, t, other)]


def _started(letters: Alphabet, around: Word, reading: Arcs) -> Iterator[Reading]:
    """Yield the forms of one triple of arcs, started at each arc and at the asker's start."""
    normal, undone = letters.normal, letters.undone
    if reading.z:
        x, y, z = reading.x, reading.y, reading.z
        loop = [x, y, z, undone(x), undone(y), undone(z)]
    else:
        loop = [reading.x, reading.y, undone(reading.x), undone(reading.y)]
    before = reading.start
    ring = sum(loop, ())
    for k in range(len(loop)):
        shift = _shorter(normal(before), normal(before + undone(ring)))
        pairs = list(_pairs(loop[k:] + loop[:k], undone))
        setup = normal(around + shift)
        for a, b in pairs:
            yield setup, normal(a), normal(b)
            if shift:
                back = undone(shift)
                yield normal(around), normal(shift + a + back), normal(shift + b + back)
        before = before + loop[k]
        ring = ring[len(loop[k]) :] + loop[k]


def _shorter(first: Word, second: Word) -> Word:
    return second if len(second) < len(first) else first


def _pairs(loop: list[Word], undone: Callable[[Word], Word]) -> Iterator[tuple[Word, Word]]:
    """Yield A and B of a ring from the beginning of its first arc: each arc in both in turn."""
    x, y = loop[0], loop[1]
    if len(loop) == 4:
        yield x, y
        return
    z = loop[2]
    yield x + y, z + undone(x)
    yield x + y, z + y
    yield x + undone(z), z + y
