"""A learned sequence in a step: in whose letters it is done, and how it stands in brackets."""

from __future__ import annotations

from collections.abc import Sequence

from puzzles import brackets
from puzzles.brackets import Conjugate, Tree
from puzzles.notation import plain
from puzzles.puzzle import Puzzle, Word
from puzzles.words import length, normal
from search.hands import held, how
from search.reading import inverted, turns_of
from search.reading_levels import carried
from search.solving_learned_lines import Learned
from search.solving_learned_words import Image

#: What is said of a sequence that turns of the setup cancel with, from both sides.
PART = "only a part of it is left once turns before and after it cancel"


def said_of(puzzle: Puzzle, learned: Sequence[Learned], image: Image, word: Word = ()) -> str:
    """Return which learned sequence an image is, and how it is used, as ``trefoil cover`` says.

    ``word`` are the turns of a step with it. Where they come to fewer than the sequence has, it is
    said that turns of it cancel: what is left is but a part of what somebody knows.
    """
    symmetry = puzzle.symmetries[image.symmetry]
    hold = held(puzzle, _back(puzzle, image.symmetry))
    used = how(hold, symmetry.reflects, image.undone, image.begin.after)
    name = learned[image.source].said
    said = f"{name}, {used}" if used else name
    if word and length(puzzle, word) < length(puzzle, learned[image.source].word):
        said += f"; {PART}"
    return said


def _back(puzzle: Puzzle, number: int) -> int:
    """Return the number of the symmetry that takes another back."""
    there = puzzle.symmetries[number].turns
    return next(
        k
        for k, one in enumerate(puzzle.symmetries)
        if (one.turns[there] == range(len(there))).all()
    )


def form_of(
    puzzle: Puzzle,
    learned: Sequence[Learned],
    image: Image,
    setup: Word,
    home: Word | None = None,
) -> Tree:
    """Return an image after a setup, which is undone or followed by ``home``, in its own brackets.

    Turns that cancel are there: they are done by somebody who goes by what is known.
    """
    own = learned[image.source]
    tree = own.tree if not image.begin.after else plain(puzzle, image.begin.turns)
    tree = carried(puzzle, tree, image.symmetry)
    if image.undone:
        tree = inverted(tree)
    if home is not None and home != puzzle.inverse(setup):
        return _row(plain(puzzle, setup), tree, plain(puzzle, home))
    if not setup:
        return tree
    if isinstance(tree, Conjugate) and not puzzle.can_block:
        inside = turns_of(puzzle, tree.setup)
        around = normal(puzzle, (*setup, *inside))
        if len(around) == len(setup) + len(inside):
            return Conjugate(plain(puzzle, around), tree.part)
    return Conjugate(plain(puzzle, setup), tree)


def _row(before: Tree, tree: Tree, after: Tree) -> Tree:
    """Return a tree with turns around it, in parentheses where it is a row itself."""
    parts: list[Tree] = []
    for one in (before, tree, after):
        loose = one is not tree and isinstance(one, brackets.Sequence)
        parts += one.parts if loose and isinstance(one, brackets.Sequence) else (one,)
    return brackets.sequence(parts)
