"""The levels of a sequence that was read: what each bracket in it is, does, and why it works."""

from __future__ import annotations

from dataclasses import dataclass

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Repeat, Sequence, Tree, Written
from puzzles.puzzle import Puzzle, Word
from search.brackets import Form
from search.reading import leaves, turns_of, written_out
from search.reasons import Reason, plainer, reason, why


@dataclass(frozen=True)
class Level:
    """One bracket, or turns without any, and the levels inside it.

    ``role`` is what it is to the level around it: "whole", "setup", "A", "B" or "part". ``kind`` is
    "commutator", "conjugate", "repeat", "row" (parts after each other), "turns" (no brackets) or
    "nothing". ``word`` is what is executed of it by itself. For a commutator ``reason`` and ``why``
    say what its parts share.
    """

    role: str
    kind: str
    tree: Tree
    word: Word
    times: int = 1
    parts: tuple[Level, ...] = ()
    reason: Reason | None = None
    why: str = ""

    @property
    def notation(self) -> str:
        """Its brackets."""
        return brackets.text(self.tree)

    @property
    def things(self) -> int:
        """How many turns stand in it as it is written."""
        return leaves(self.tree)


def levels(puzzle: Puzzle, tree: Tree, role: str = "whole") -> Level:
    """Return a tree as levels; turns next to each other in a row are one part of it."""
    word = written_out(puzzle, tree)
    match tree:
        case Commutator(a, b):
            both = levels(puzzle, a, "A"), levels(puzzle, b, "B")
            form = Form((), both[0].word, both[1].word, leaves(tree))
            seen = reason(puzzle, plainer(puzzle, form))
            told = why(puzzle, form, word)
            return Level(role, "commutator", tree, word, 1, both, seen, told)
        case Conjugate(setup, part):
            inside = levels(puzzle, setup, "setup"), levels(puzzle, part, "part")
            return Level(role, "conjugate", tree, word, 1, inside)
        case Repeat(part, times):
            return Level(role, "repeat", tree, word, times, (levels(puzzle, part, "part"),))
        case Sequence(row) if any(not isinstance(part, Written) for part in row):
            parts = tuple(levels(puzzle, part, "part") for part in _gathered(row))
            return Level(role, "row", tree, word, 1, parts)
        case _:
            return Level(role, "turns" if turns_of(puzzle, tree) else "nothing", tree, word)


def carried(puzzle: Puzzle, tree: Tree, symmetry: int) -> Tree:
    """Return a tree after a symmetry of the puzzle, by its number: another holding's letters."""
    match tree:
        case Written(name, amount, _):
            turn = puzzle.turn(puzzle.layer_numbers[name], amount)
            assert turn is not None
            image = puzzle.turns[int(puzzle.symmetries[symmetry].turns[turn])]
            return Written(image.layer, image.amount, puzzle.layer(image.layer).steps)
        case Sequence(parts):
            return Sequence(tuple(carried(puzzle, part, symmetry) for part in parts))
        case Repeat(part, times):
            return Repeat(carried(puzzle, part, symmetry), times)
        case brackets.Inverse(part):
            return brackets.Inverse(carried(puzzle, part, symmetry))
        case Commutator(a, b):
            return Commutator(carried(puzzle, a, symmetry), carried(puzzle, b, symmetry))
        case Conjugate(setup, part):
            return Conjugate(carried(puzzle, setup, symmetry), carried(puzzle, part, symmetry))


def _gathered(row: tuple[Tree, ...]) -> list[Tree]:
    """Return the parts of a row, turns without brackets next to each other as one."""
    result: list[Tree] = []
    loose: list[Tree] = []
    for part in (*row, None):
        if isinstance(part, Written):
            loose.append(part)
            continue
        if loose:
            result.append(brackets.sequence(loose))
            loose = []
        if part is not None:
            result.append(part)
    return result
