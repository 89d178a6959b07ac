"""Ranking: the shortest and the easiest answer first, the rest by weights, families folded."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields

from puzzles.errors import RequestError
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from search.brackets import Form, shortest_form, text
from search.families import family_key
from search.hands import (
    Comfort,
    best_holding,
    comfort,
    complexity,
    motions,
    symbols,
    undone_same,
)
from search.nesting import things
from search.traces import alphabet

#: How many families are shown unless somebody asks for more.
MOST_FAMILIES = 20


@dataclass(frozen=True)
class Weights:
    """How much each column counts where answers are put in order; 0 leaves a column out.

    ``turns``: executed turns. ``layers``: different layers. ``memory``: things to remember and the
    complexity of the motions. ``hands``: turns behind or below, changes of grip, half turns, and
    half for each turn of the weaker hand.
    """

    turns: float = 1.0
    layers: float = 1.0
    memory: float = 1.0
    hands: float = 0.5

    def __post_init__(self) -> None:
        for column in fields(self):
            value = getattr(self, column.name)
            if not (math.isfinite(value) and 0 <= value <= 1000):
                raise RequestError(
                    f"weight {column.name}: {value} was given; a number from 0 to 1000 is right"
                )


@dataclass(frozen=True)
class Measured:
    """One answer with all that it is ranked by; words are in the asker's letters but for one.

    ``word`` is in normal form. ``holding`` is the number of the symmetry that says how the puzzle
    is best held (search.hands.held gives its letters), ``renamed`` the word in the letters of that
    holding, ``motions`` and ``comfort`` what the hands do then. ``undone_same`` names the parts,
    of ``setup``, ``a`` and ``b``, that are undone by the same motions. ``form`` is None for a word
    that is not read as a commutator; ``notation`` is then its plain turns.
    """

    word: Word
    form: Form | None
    notation: str
    turns: int
    layers: int
    things: int
    complexity: int
    holding: int
    renamed: Word
    motions: tuple[str, ...]
    comfort: Comfort
    undone_same: tuple[str, ...]
    family: Word

    @property
    def hands(self) -> float:
        """The column of the hands: what is uncomfortable, as one number."""
        awkward, grips, halves, weaker = self.comfort
        return awkward + grips + halves + weaker / 2

    @property
    def by_length(self) -> tuple[int, int, int, Comfort, Word]:
        """What the shortest answer is the least in."""
        return (self.turns, self.things, self.complexity, self.comfort, self.word)

    @property
    def by_ease(self) -> tuple[int, int, int, Comfort, Word]:
        """What the easiest answer is the least in."""
        return (self.things, self.complexity, self.turns, self.comfort, self.word)

    def score(self, weights: Weights) -> float:
        """Return the weighted sum of the columns; less is better."""
        return (
            weights.turns * self.turns
            + weights.layers * self.layers
            + weights.memory * (self.things + self.complexity)
            + weights.hands * self.hands
        )


@dataclass(frozen=True)
class Family:
    """Answers that are one ring up to symmetry, starting point and direction; the best is shown."""

    shown: Measured
    folded: tuple[Measured, ...]


@dataclass(frozen=True)
class Ranking:
    """Answers in order: the two that lead, and all families, theirs first, then by weights.

    ``shortest`` and ``easiest`` may be one answer. ``left_out`` counts the families beyond the most
    that were asked for.
    """

    shortest: Measured
    easiest: Measured
    families: tuple[Family, ...]
    left_out: int

    @property
    def leading(self) -> tuple[Measured, ...]:
        """The one or two answers that lead."""
        same = self.shortest == self.easiest
        return (self.shortest,) if same else (self.shortest, self.easiest)

    @property
    def order(self) -> tuple[Measured, ...]:
        """All answers that are shown: the leading ones, then one of each other family."""
        leading = self.leading
        families = {answer.family for answer in leading}
        rest = [f.shown for f in self.families if f.shown.family not in families]
        return (*leading, *rest)


def measure(
    puzzle: Puzzle, word: Iterable[int], left_handed: bool = False, setup: int | None = None
) -> Measured:
    """Return all that an answer is ranked by, read with at most ``setup`` turns of setup."""
    done = alphabet(puzzle).normal(word)
    form = shortest_form(puzzle, done, setup)
    holding, renamed = best_holding(puzzle, done, left_handed)
    parts = {"setup": form.setup, "a": form.a, "b": form.b} if form else {}
    return Measured(
        word=done,
        form=form,
        notation=text(puzzle, form) if form else write(puzzle, done),
        turns=len(done),
        layers=len({int(puzzle.turn_layer[turn]) for turn in done}),
        things=form.things if form else things(puzzle, done),
        complexity=complexity(symbols(puzzle, done, holding)),
        holding=holding,
        renamed=renamed,
        motions=motions(puzzle, done, holding),
        comfort=comfort(puzzle, done, holding, left_handed),
        undone_same=tuple(name for name, part in parts.items() if undone_same(puzzle, part)),
        family=family_key(puzzle, done),
    )


def rank(
    puzzle: Puzzle,
    words: Iterable[Word],
    weights: Weights | None = None,
    most: int = MOST_FAMILIES,
    left_handed: bool = False,
    setup: int | None = None,
) -> Ranking:
    """Return the answers in order; raises ValueError if there are none.

    The shortest has the fewest executed turns; the easiest the fewest things, then the least
    complexity, then the fewest turns. At most ``most`` families are shown, those of the leading
    answers always.
    """
    letters, chosen = alphabet(puzzle), weights or Weights()
    different = dict.fromkeys(letters.normal(word) for word in words)
    measured = [measure(puzzle, word, left_handed, setup) for word in different]
    if not measured:
        raise ValueError("there is no answer to rank")
    shortest = min(measured, key=lambda answer: answer.by_length)
    easiest = min(measured, key=lambda answer: answer.by_ease)

    def place(answer: Measured) -> tuple[bool, bool, float, Word]:
        leads = answer is not shortest, answer is not easiest
        return (*leads, answer.score(chosen), answer.word)

    members: dict[Word, list[Measured]] = {}
    for answer in sorted(measured, key=place):
        members.setdefault(answer.family, []).append(answer)
    families = [Family(group[0], tuple(group[1:])) for group in members.values()]
    count = max(most, len({shortest.family, easiest.family}))
    return Ranking(shortest, easiest, tuple(families[:count]), len(families[count:]))
