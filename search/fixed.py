"""The search in the fixed frame, for puzzles on which turns can be blocked.

**What is looked for.** Sequences S X Y Z X' Y' Z' S' all of whose turns are possible where they
stand, from solved (e) to a wanted state (g). X' Y' Z' S' read backwards from g is S Z Y X, so

    e S X Y Z = g S Z Y X,   both walks possible.

With X empty these are all S [A, B] S', A = Y and B = Z. Deepened is by n = |S| + |X| + |Y| + |Z|;
such a sequence has 2 n turns as written, fewer where some cancel.

**The join.** One of X, Y, Z is the longest; call it J, and h = |X| + |Y| + |Z|. The walk from e
does U before J, that from g does V, where (U, V) is (X Y, -), (X, Z) or (-, Z Y). In the walk from
g, J is followed by a cut P_i of the cyclic word P = V' U, |P| <= 2 h / 3, and

    J' (V' t' U) J = P_i   as permutations of the kept pieces,

where t is what S has made of the wanted cycle: t' stands where P is cut at its seam. Conjugates
have the same cycles, so that only U and V are followed for which V' t' U has the cycles of V' U.
With J = J1 J2, the left side is walked on by J1 in both walks, turn by turn where it is possible in
both, and looked up in a table of all P_i conjugated by J2'. All cuts P_i and seams are taken, past
turns that commute and also inside an arc, which only adds sequences: each is U J P_i' J' V',
conjugates of P and of its inverse, and so a commutator.

Setups that lead both walks to the same places of the bodies, and to the same t, are one
(``search.fixed_setups``); only a shortest is followed.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from search.fixed_problem import Problem
from search.fixed_setups import Level, Setups
from search.fixed_tails import cyclic_code, table_for, tail_length, tails_of
from search.request import MOST_HALF_LENGTH, Bounds
from search.traces import alphabet

#: Steps of a kernel in one call, about 0.2 s.
BUDGET = 2_000_000
#: Closings that are joined together.
MOST_CLOSINGS = 300_000
#: Room for hits at first; it grows where one closing has more.
HITS = 100_000
#: While S and P are at most so many words, J need not be the longest of X, Y and Z: then sequences
#: that begin inside the longest are found as well, which may be shorter since turns merge with S.
CHEAP = 4_000_000
#: The most words that are kept for one wanted state, shortest first.
KEPT = 200


@dataclass(frozen=True, eq=False)
class Sequences:
    """What is known after everything up to n = ``level``: words for each wanted state, best first.

    Words are the puzzle's turn numbers in normal form.
    """

    level: int
    words: tuple[tuple[Word, ...], ...]

    def shortest(self, number: int) -> int | None:
        """Return the fewest turns for a wanted state, None if nothing was found."""
        return len(self.words[number][0]) if self.words[number] else None

    @property
    def best(self) -> int | None:
        """The fewest turns for any of the wanted states."""
        known = [len(own[0]) for own in self.words if own]
        return min(known, default=None)

    def to_bytes(self) -> bytes:
        """Return everything as one block of bytes, the same for the same contents."""
        flat = [(number, word) for number, own in enumerate(self.words) for word in own]
        stream = io.BytesIO()
        np.savez_compressed(
            stream,
            head=np.array([self.level, len(self.words)]),
            number=np.array([number for number, _ in flat], dtype=np.int64),
            length=np.array([len(word) for _, word in flat], dtype=np.int64),
            turns=np.array([turn for _, word in flat for turn in word], dtype=np.int64),
        )
        return stream.getvalue()

    @staticmethod
    def from_bytes(data: bytes) -> Sequences:
        """Return what ``to_bytes`` wrote; raises ValueError or KeyError for other bytes."""
        with np.load(io.BytesIO(data), allow_pickle=False) as found:
            level, count = (int(x) for x in found["head"])
            words: list[list[Word]] = [[] for _ in range(count)]
            turns, at = found["turns"].tolist(), 0
            for number, length in zip(found["number"], found["length"], strict=True):
                words[int(number)].append(tuple(turns[at : at + int(length)]))
                at += int(length)
        return Sequences(level, tuple(tuple(own) for own in words))


@dataclass(frozen=True)
class FixedGoal:
    """How far to search: up to a level, or until nothing shorter than the best is likely.

    ``every``: the best of every wanted state is asked for, not of any. ``setup`` bounds |S|. It is
    known that no sequence of any form has up to ``none_up_to`` turns.
    """

    level: int | None
    seconds: float | None
    setup: int | None = None
    every: bool = False
    none_up_to: int = 0

    def reached(self, found: Sequences) -> bool:
        """Return whether nothing more has to be searched."""
        if found.level >= MOST_HALF_LENGTH:
            return True
        if self.level is not None:
            return found.level >= self.level
        known = [len(own[0]) for own in found.words if own]
        if not known or (self.every and len(known) < len(found.words)):
            return False
        best = max(known) if self.every else min(known)
        # A longer S X Y Z could still be shorter by turns that merge: one level more finds most of
        # these, and is not needed where nothing can be shorter.
        more = 0 if self.every or best <= self.none_up_to + 1 else 1
        return 2 * found.level - more >= best


def goal_of(bounds: Bounds, every: bool = False, none_up_to: int = 0) -> FixedGoal:
    """Return the goal that bounds ask for; ``turns`` N asks for all n up to N / 2."""
    level = bounds.half_length
    if bounds.turns is not None:
        needed = (bounds.turns + 1) // 2
        level = needed if level is None else min(level, needed)
    return FixedGoal(level, bounds.time_limit, bounds.setup, every, none_up_to)


@dataclass(frozen=True, eq=False)
class FixedProgress:
    """How far a search is: what was found, the level at work and the share of it done."""

    found: Sequences
    working: int
    share: float
    seconds: float
    finished: bool = False


def nothing(problem: Problem) -> Sequences:
    """Return that nothing is known yet."""
    return Sequences(0, tuple(() for _ in problem.wanted))


def deepen(
    problem: Problem,
    goal: FixedGoal,
    found: Sequences | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[FixedProgress]:
    """Yield progress until a goal is reached, the time is over, or ``stop()`` says so.

    ``found`` is where an earlier search came to. Of a level that is broken off, what was found is
    kept, but nothing is claimed for it. Raises LimitError where a level has too many situations.
    """
    _compile(problem)
    started = time.monotonic()
    now = found if found is not None else nothing(problem)
    setups = Setups(problem)
    while not goal.reached(now):
        level, broken = now.level + 1, False
        gathering = _Gathering(problem, setups, now)
        for share in _level(gathering, level, goal.setup):
            seconds = time.monotonic() - started
            if (goal.seconds is not None and seconds > goal.seconds) or stop():
                broken = True
                break
            yield FixedProgress(gathering.sequences(now.level), level, share, seconds)
        now = gathering.sequences(now.level if broken else level)
        if broken:
            break
        yield FixedProgress(now, level, 1.0, time.monotonic() - started)
    yield FixedProgress(now, now.level, 1.0, time.monotonic() - started, True)


def _level(gathering: _Gathering, level: int, most_setup: int | None) -> Iterator[float]:
    """Do everything of one level; yield the share that is done."""
    least = 0 if most_setup is None else max(0, level - most_setup)
    turns = len(gathering.problem.turns)
    tasks = [
        (level - h, size, h - size)
        for h in range(level, 1, -1)
        for size in range(1, h)
        if h >= least and (size <= 2 * h // 3 or turns ** (level - h + size) <= CHEAP)
    ]
    for k, (setup, size, arc) in enumerate(tasks):
        for share in gathering.task(setup, size, arc):
            yield (k + share) / len(tasks)


class _Gathering:
    """Words of one level in the making."""

    def __init__(self, problem: Problem, setups: Setups, found: Sequences) -> None:
        self.problem, self.setups = problem, setups
        self._words: list[dict[Word, None]] = [dict.fromkeys(own) for own in found.words]
        self._looked_at: list[set[Word]] = [set(own) for own in found.words]
        self._letters = alphabet(problem.puzzle)
        self._hits = HITS
        #: The words in order, None where new ones have come since.
        self._sorted: list[tuple[Word, ...] | None] = [None] * len(found.words)

    def sequences(self, level: int) -> Sequences:
        """Return what is known, as of a level."""
        kinds = self._letters.kind

        def order(word: Word) -> tuple[int, int, Word]:
            return len(word), len({kinds[t] for t in word}), word

        result = []
        for number, own in enumerate(self._words):
            known = self._sorted[number]
            if known is None:
                known = tuple(sorted(own, key=order)[:KEPT])
                self._sorted[number] = known
            result.append(known)
        return Sequences(level, tuple(result))

    def task(self, setup: int, size: int, arc: int) -> Iterator[float]:
        """Find all with |S|, |P| and |J| as given; yield the share that is done."""
        from search.kernels import fixed_walks as walks

        frame = self.problem.frame
        for _ in self.setups.growing(setup):
            yield 0.0
        level = self.setups.level(setup)
        rows, bodies = len(frame.rows), frame.forth.shape[0]
        state = np.array([0, 0, -1], dtype=np.int64)
        word = np.zeros(size, dtype=np.int64)
        near, far = np.zeros((2, size + 1, bodies), dtype=np.int32)
        left, right, plain = np.zeros((3, size + 1, rows), dtype=np.int32)
        out = np.zeros((MOST_CLOSINGS, 2), dtype=np.int32)
        letters = np.zeros((MOST_CLOSINGS, size), dtype=np.uint8)
        count, nodes = 0, len(level.wanted)
        while state[0] < nodes:
            count += walks.closings(
                frame, level.nodes, size, state, word, near, far, left, right, plain,
                out[count:], letters[count:], BUDGET,
            )  # fmt: skip
            done = min(float(state[0]) / nodes, 1.0)
            yield 0.9 * done
            if count >= MOST_CLOSINGS or state[0] >= nodes:
                for _ in self._joined(setup, size, arc, level, out[:count], letters[:count]):
                    yield 0.9 * done
                count = 0

    def _joined(
        self,
        setup: int,
        size: int,
        arc: int,
        level: Level,
        out: NDArray[np.int32],
        letters: NDArray[np.uint8],
    ) -> Iterator[None]:
        from search.kernels import fixed as kernels

        if not len(out):
            return
        problem, frame = self.problem, self.problem.frame
        code = cyclic_code(frame.inverse, out[:, 1], letters)
        order = np.argsort(code, kind="stable")
        out, letters, code = out[order], letters[order], code[order]
        first = np.flatnonzero(np.concatenate([[True], code[1:] != code[:-1]]))
        group = np.append(first, len(code)).astype(np.int64)
        tail = tail_length(problem, level.nodes, len(out), len(first), size, arc)
        tails, maps = tails_of(problem.puzzle, problem.turns, tail)
        table, entry, stamp = table_for(2 * size * len(tails))
        state = np.array([0, 0, 0], dtype=np.int64)
        while state[0] < len(first):
            hits = np.zeros((self._hits, 2 + arc - tail + size), dtype=np.int32)
            count = kernels.join(
                frame, level.nodes, size, out, letters, group, maps, tails, arc - tail,
                table, entry, stamp, state, hits, BUDGET,
            )  # fmt: skip
            if count == kernels.NO_ROOM_FOR_HITS:
                self._hits *= 4
                continue
            if count == kernels.NO_ROOM_FOR_KEYS:
                table, entry, stamp = table_for(2 * len(table))
                continue
            self._read(setup, level, out, letters, tails, hits[:count])
            yield

    def _read(
        self,
        setup: int,
        level: Level,
        out: NDArray[np.int32],
        letters: NDArray[np.uint8],
        tails: NDArray[np.int64],
        hits: NDArray[np.int32],
    ) -> None:
        """Keep the words of hits that do what is wanted and can be done."""
        problem, turns = self.problem, self.problem.turns
        inverse = problem.frame.inverse.tolist()
        before: dict[int, Word] = {}

        def undone(word: Word) -> Word:
            return tuple(inverse[t] for t in reversed(word))

        for closing, tail, *rest in hits.tolist():
            node, split = out[closing].tolist()
            own = tuple(letters[closing].tolist())
            if node not in before:
                before[node] = self.setups.word(setup, node)
            around, v, u = before[node], own[:split], own[split:]
            start, closed = rest[: -len(own)], tuple(rest[-len(own) :])
            arc = (*start, *tails[tail].tolist())
            whole = around + u + arc + undone(closed) + undone(arc) + undone(v) + undone(around)
            self._keep(int(level.wanted[node]), self._letters.normal(turns[t] for t in whole))

    def _keep(self, number: int, word: Word) -> None:
        if word in self._looked_at[number]:
            return
        self._looked_at[number].add(word)
        if word and self.problem.fulfils(number, word):
            self._words[number][word] = None
            self._sorted[number] = None


def _compile(problem: Problem) -> None:
    """Run the kernels on next to nothing, so that compiling does not count as time to search."""
    gathering = _Gathering(problem, Setups(problem), nothing(problem))
    for _ in _level(gathering, 2, 0):
        pass
