"""The common ends of arcs in the fixed frame: how long they are, what they do, how they are tabled.

An arc J = J1 J2 is walked in its first part and looked up in its second (``search.fixed``).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word
from search.fixed_problem import Problem
from search.kernels.fixed_arrays import Nodes
from search.traces import alphabet

#: The most words J2, and the most numbers in a table of what they do.
MOST_TAILS = 60_000
MOST_TAIL_NUMBERS = 12_000_000


def table_for(keys: int) -> tuple[NDArray[np.uint64], NDArray[np.int32], NDArray[np.int32]]:
    """Return a table for at least so many keys: the keys, what they stand for, when they came."""
    room = 1 << keys.bit_length()
    return (
        np.zeros(room, dtype=np.uint64),
        np.zeros(room, dtype=np.int32),
        np.zeros(room, dtype=np.int32),
    )


def cyclic_code(
    inverse: NDArray[np.int32], split: NDArray[np.int32], letters: NDArray[np.uint8]
) -> NDArray[np.uint64]:
    """Return a number for each cyclic word V' U, alike for all its rotations."""
    count, size = letters.shape
    at = np.arange(size)[None, :]
    own = split[:, None]
    source = np.where(at < own, own - 1 - at, at)
    taken = np.take_along_axis(letters, source, axis=1).astype(np.int64)
    word = np.where(at < own, inverse[taken], taken).astype(np.uint64) + np.uint64(1)
    best = np.full(count, np.iinfo(np.uint64).max, dtype=np.uint64)
    for k in range(size):
        code = np.zeros(count, dtype=np.uint64)
        for i in range(size):
            code = code * np.uint64(0x9E3779B97F4A7C15) + word[:, (i + k) % size]
        best = np.minimum(best, code)
    return best


def tail_length(
    problem: Problem, nodes: Nodes, closings: int, groups: int, size: int, arc: int
) -> int:
    """Return how long J2 should be: what is tabled for each P against what is walked for all."""
    frame = problem.frame
    sample = np.linspace(0, len(nodes.near) - 1, min(64, len(nodes.near))).astype(np.int64)
    both = np.ones((len(sample), len(frame.layer)), dtype=np.bool_)
    for b in range(frame.forth.shape[0]):
        both &= frame.forth[b, nodes.near[sample, b]] >= 0
        both &= frame.back[b, nodes.far[sample, b]] >= 0
    per_layer = len(frame.layer) / (int(frame.layer.max()) + 1)
    branches = max(1.5, float(both.sum(axis=1).mean()) - per_layer)
    best, least = 0, float("inf")
    for tail in range(arc + 1):
        words = _tail_count(problem.puzzle, problem.turns, tail)
        if words is None:
            break
        cost = closings * branches ** (arc - tail) + groups * size * words
        if cost < least:
            best, least = tail, cost
    return best


def _tail_count(puzzle: Puzzle, turns: tuple[int, ...], length: int) -> int | None:
    """Return how many tails there are, None for more than are made."""
    count = len(_words(puzzle, turns, length))
    most = min(MOST_TAILS, MOST_TAIL_NUMBERS // puzzle.placement_count)
    return count if 0 < count <= most else None


@lru_cache(maxsize=64)
def _words(puzzle: Puzzle, turns: tuple[int, ...], length: int) -> list[Word]:
    """Return all words in normal form, as places among the turns; empty beyond MOST_TAILS."""
    if length == 0:
        return [()]
    letters = alphabet(puzzle)
    result = []
    for word in _words(puzzle, turns, length - 1):
        before = tuple(turns[t] for t in word)
        for k, turn in enumerate(turns):
            if letters.normal((*before, turn)) == (*before, turn):
                result.append((*word, k))
        if len(result) > MOST_TAILS:
            return []
    return result


@lru_cache(maxsize=16)
def tails_of(
    puzzle: Puzzle, turns: tuple[int, ...], length: int
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Return all words J2 (n, length), and what undoing each does to placements (n, P)."""
    every = _words(puzzle, turns, length)
    words = np.array(every, dtype=np.int64).reshape(len(every), length)
    back = puzzle.moves[puzzle.inverses[list(turns)]]
    maps = np.tile(np.arange(puzzle.placement_count, dtype=np.int32), (len(words), 1))
    for k in range(length - 1, -1, -1):
        maps = back[words[:, k][:, None], maps]
    return words, np.ascontiguousarray(maps, dtype=np.int32)
