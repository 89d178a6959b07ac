"""Hands and memory: how to hold a puzzle for a word, how comfortable and how complex it then is."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word
from search.motions import Hands, hands
from search.traces import alphabet

#: How far a wrist turns from its middle position, in degrees.
REACH = 90.0

#: Fewer is better: turns behind or below, changes of grip, half turns, turns by the weaker hand.
Comfort = tuple[int, int, int, int]


def holdings(puzzle: Puzzle) -> list[int]:
    """Return the numbers of the symmetries that are ways to hold a puzzle: the rotations.

    Where turns are written down nobody knows what a symmetry is in the hands: only the first, which
    changes nothing.
    """
    if puzzle.shape == "written":
        return [0]
    return [k for k, symmetry in enumerate(puzzle.symmetries) if not symmetry.reflects]


def renamed(puzzle: Puzzle, word: Iterable[int], holding: int) -> Word:
    """Return a word in the letters of a holding: what was F is called by where it is held now."""
    turns = _turns_of(puzzle)[holding]
    return tuple([turns[turn] for turn in word])


@lru_cache(maxsize=32)
def _turns_of(puzzle: Puzzle) -> list[list[int]]:
    return [symmetry.turns.tolist() for symmetry in puzzle.symmetries]


def held(puzzle: Puzzle, holding: int) -> tuple[str, str]:
    """Return the letters of the faces that point up and to the front in a holding, if any."""
    if puzzle.shape == "written":
        return "", ""
    back = puzzle.symmetries[holding].matrix.T
    found = []
    for letters in (puzzle.up, puzzle.front):
        axis = puzzle.body.axis(letters)
        assert axis is not None
        faces = puzzle.body.nearest(back @ axis)[0]
        names = [puzzle.body.faces[k].name for k in faces]
        found.append("".join(names))
    return found[0], found[1]


def how(hold: tuple[str, str], mirrored: bool, undone: bool, begun_after: str) -> str:
    """Return in words how a sequence is used: held so, up and front, mirrored, undone, begun late.

    ``begun_after`` are the turns of it that are left to the end.
    """
    up, front = hold
    words = [f"{up} up, {front} in front"] if up else []
    if mirrored:
        words.append("mirrored")
    if undone:
        words.append("undone")
    if begun_after:
        words.append(f"begun after {begun_after}")
    return ", ".join(words)


def motions(puzzle: Puzzle, word: Iterable[int], holding: int = 0) -> tuple[str, ...]:
    """Return a word as hand motions, ``("right up", "top left")``, for a puzzle held one way.

    Nothing where turns are written down: nobody knows where they lie.
    """
    if puzzle.shape == "written":
        return ()
    said = hands(puzzle).motion
    return tuple(said[turn] for turn in renamed(puzzle, word, holding))


def comfort(
    puzzle: Puzzle, word: Iterable[int], holding: int = 0, left_handed: bool = False
) -> Comfort:
    """Return what makes a word hard to do in a holding; less is better, the first number first.

    They are: turns behind or below (2 for a layer that is both), changes of grip, half turns, and
    turns of the weaker hand. A hand holds its side and turns it with the wrist, which goes REACH
    degrees either way; where that does not suffice the hand must let go.
    """
    tables = hands(puzzle)
    turns = renamed(puzzle, word, holding)
    weak = 1 if left_handed else -1
    return (
        sum([tables.awkward[t] for t in turns]),
        _grips(tables, turns, 1) + _grips(tables, turns, -1),
        sum([tables.half[t] for t in turns]),
        sum([tables.side[t] == weak for t in turns]),
    )


def _grips(tables: Hands, turns: Sequence[int], side: int) -> int:
    """Return how often a hand must let go: the wrist may start anywhere within its reach."""
    angle, half = tables.angle, tables.half
    return _changes(tuple([(angle[t], half[t]) for t in turns if tables.side[t] == side]))


@lru_cache(maxsize=50_000)
def _changes(turns: tuple[tuple[float, bool], ...]) -> int:
    """Return how often a hand that turns so far each time, or half a round, must let go.

    All positions that the wrist may be in are followed, as intervals; letting go as late as one
    can never costs more. Half a round may go either way.
    """
    whole = {(-REACH, REACH)}
    wrist, changes = whole, 0
    for angle, half in turns:
        ways = (angle, -angle) if half else (angle,)
        moved = _moved(wrist, ways)
        if not moved:
            changes += 1
            moved = _moved(whole, ways)
        wrist = moved
    return changes


def _moved(wrist: set[tuple[float, float]], ways: Sequence[float]) -> set[tuple[float, float]]:
    """Return the intervals after a turn one of several ways, those within reach."""
    ends = [(max(low + a, -REACH), min(high + a, REACH)) for low, high in wrist for a in ways]
    return {(low, high) for low, high in ends if low <= high + 1e-9}


def best_holding(puzzle: Puzzle, word: Word, left_handed: bool = False) -> tuple[int, Comfort]:
    """Return the most comfortable holding, and how comfortable it is; ties: the first."""
    numbers, awkward = _awkwardness(puzzle)
    costs = awkward[:, list(word)].sum(axis=1)
    easy = numbers[costs == costs.min()].tolist()
    best = min((comfort(puzzle, word, k, left_handed), k) for k in easy)
    return best[1], best[0]


@lru_cache(maxsize=32)
def _awkwardness(puzzle: Puzzle) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the numbers of all holdings, and what is awkward of every turn in each of them."""
    numbers = np.array(holdings(puzzle), dtype=np.int64)
    turned = np.array([_turns_of(puzzle)[k] for k in numbers.tolist()], dtype=np.int64)
    return numbers, np.array(hands(puzzle).awkward, dtype=np.int64)[turned]


def undone_same(puzzle: Puzzle, part: Iterable[int]) -> bool:
    """Return whether undoing a part is the same motions again, as with ``R U2 R'`` or ``M2``."""
    letters = alphabet(puzzle)
    word = letters.normal(part)
    back = letters.normal(letters.undone(word))
    return bool(word) and symbols(puzzle, back) == symbols(puzzle, word)


def symbols(puzzle: Puzzle, word: Word, holding: int = 0) -> tuple[Hashable, ...]:
    """Return what a word is remembered as: its motions, or its turns where there are none."""
    return motions(puzzle, word, holding) or word


def complexity(symbols: Iterable[Hashable]) -> int:
    """Return the complexity of a sequence: the parts of its exhaustive history.

    Each part is the shortest piece that cannot be copied from what stands before it, where the copy
    may overlap itself; an unfinished last part counts (A. Lempel and J. Ziv, On the complexity of
    finite sequences, IEEE Trans. Inf. Theory 22, 1976).
    """
    known: dict[Hashable, str] = {}
    text = "".join([known.setdefault(symbol, chr(len(known))) for symbol in symbols])
    parts, start, size = 0, 0, len(text)
    while start < size:
        end = start + 1
        # Copied from what begins anywhere before ``start``.
        while end <= size and text.find(text[start:end], 0, end - 1) >= 0:
            end += 1
        parts += 1
        start = end
    return parts
