"""Cancelling, counting and normal forms of words, with all that commutes allowed to pass."""

from __future__ import annotations

from collections.abc import Iterable

from puzzles.puzzle import Puzzle, Word


def normal(puzzle: Puzzle, word: Iterable[int]) -> Word:
    """Return the word with everything cancelled and merged, in its one normal form.

    Two words have the same normal form exactly if moving commuting turns past each other, merging
    turns of a layer and cancelling carry one to the other (a graph product of cyclic groups; its
    normal form is the least in order of turn numbers). Its length is the executed length.
    """
    result: list[int] = []
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    for turn in word:
        own = layer[turn]
        place = len(result)
        while place and layer[result[place - 1]] != own and commutes[layer[result[place - 1]], own]:
            place -= 1
        if place and layer[result[place - 1]] == own:
            merged = _merged(puzzle, result[place - 1], turn)
            if merged is None:
                del result[place - 1]
            else:
                result[place - 1] = merged
            continue
        while place < len(result) and result[place] < turn:
            place += 1
        result.insert(place, int(turn))
    return tuple(result)


def shortened(puzzle: Puzzle, word: Iterable[int]) -> Word:
    """Return the word with everything cancelled and merged, all else in the order it was in.

    It has as many turns as its normal form, and is easier to compare with where it came from.
    """
    result: list[int] = []
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    for turn in word:
        own = layer[turn]
        place = len(result)
        while place and layer[result[place - 1]] != own and commutes[layer[result[place - 1]], own]:
            place -= 1
        if not place or layer[result[place - 1]] != own:
            result.append(int(turn))
            continue
        merged = _merged(puzzle, result[place - 1], turn)
        if merged is None:
            del result[place - 1]
        else:
            result[place - 1] = merged
    return tuple(result)


def length(puzzle: Puzzle, word: Iterable[int]) -> int:
    """Return the executed length: the turns left after cancelling."""
    return len(normal(puzzle, word))


def _merged(puzzle: Puzzle, first: int, second: int) -> int | None:
    amount = puzzle.turns[first].amount + puzzle.turns[second].amount
    return puzzle.turn(int(puzzle.turn_layer[first]), amount)


def firsts(puzzle: Puzzle, word: Word) -> list[int]:
    """Return the positions of the turns that can be moved to the front."""
    return [
        k
        for k, turn in enumerate(word)
        if all(
            puzzle.commutes[puzzle.turn_layer[before], puzzle.turn_layer[turn]]
            and puzzle.turn_layer[before] != puzzle.turn_layer[turn]
            for before in word[:k]
        )
    ]


def lasts(puzzle: Puzzle, word: Word) -> list[int]:
    """Return the positions of the turns that can be moved to the end."""
    found = firsts(puzzle, word[::-1])
    return sorted(len(word) - 1 - k for k in found)
