"""Ranking: the shortest and the easiest answer first, the rest by weights, families folded."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property

from puzzles import brackets
from puzzles.errors import RequestError
from puzzles.puzzle import Puzzle, Word
from search.brackets import Form, shortest_form, text
from search.families import family_key
from search.hands import (
    Comfort,
    best_holding,
    complexity,
    motions,
    renamed,
    symbols,
    undone_same,
)
from search.nesting import nesting, things
from search.request import MOST_WEIGHT
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
            if not 0 <= value <= MOST_WEIGHT:
                raise RequestError(
                    f"weight {column.name}: {value} was given; a number from 0 to {MOST_WEIGHT} "
                    "is right"
                )


@dataclass(frozen=True)
class Read:
    """What a word is read as: this takes time, and is the same in all frames.

    ``form`` is None for a word that is not read as a commutator. ``things``: what must be
    remembered of it. ``family`` is the same for words of one family, and for no others.
    """

    form: Form | None
    things: int
    family: Hashable


@dataclass(frozen=True)
class Measured:
    """One answer with all that it is ranked by; words are in the asker's letters but for one.

    ``word`` is in normal form. ``holding`` is the number of the symmetry that says how the puzzle
    is best held (search.hands.held gives its letters), ``comfort`` what the hands do then.
    """

    puzzle: Puzzle = field(repr=False, compare=False)
    word: Word
    form: Form | None
    turns: int
    layers: int
    things: int
    complexity: int
    holding: int
    comfort: Comfort
    family: Hashable

    @cached_property
    def notation(self) -> str:
        """The bracket form; the shortest nested one of a word that is read as no commutator."""
        if self.form:
            return text(self.puzzle, self.form)
        return brackets.text(nesting(self.puzzle).tree(self.word))

    @cached_property
    def renamed(self) -> Word:
        """The word in the letters of its holding."""
        return renamed(self.puzzle, self.word, self.holding)

    @cached_property
    def motions(self) -> tuple[str, ...]:
        """What the hands do in that holding."""
        return motions(self.puzzle, self.word, self.holding)

    @cached_property
    def undone_same(self) -> tuple[str, ...]:
        """The parts, of ``setup``, ``a`` and ``b``, that are undone by the same motions."""
        form = self.form
        parts = {"setup": form.setup, "a": form.a, "b": form.b} if form else {}
        return tuple(name for name, part in parts.items() if undone_same(self.puzzle, part))

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


def read(puzzle: Puzzle, word: Word, setup: int | None = None) -> Read:
    """Return what a word in normal form is read as, with at most ``setup`` turns of setup."""
    form = shortest_form(puzzle, word, setup)
    count = form.things if form else things(puzzle, word)
    return Read(form, count, family_key(puzzle, word))


def measure(
    puzzle: Puzzle,
    word: Iterable[int],
    left_handed: bool = False,
    setup: int | None = None,
    known: Read | None = None,
) -> Measured:
    """Return all that an answer is ranked by, read with at most ``setup`` turns of setup.

    ``known``: what the word is read as, if somebody knows that already.
    """
    done = alphabet(puzzle).normal(word)
    own = known if known is not None else read(puzzle, done, setup)
    holding, comforts = best_holding(puzzle, done, left_handed)
    return Measured(
        puzzle=puzzle,
        word=done,
        form=own.form,
        turns=len(done),
        layers=len({int(layer) for layer in puzzle.turn_layer[list(done)]}),
        things=own.things,
        complexity=complexity(symbols(puzzle, done, holding)),
        holding=holding,
        comfort=comforts,
        family=own.family,
    )


def rank(
    puzzle: Puzzle,
    words: Iterable[Word],
    weights: Weights | None = None,
    most: int = MOST_FAMILIES,
    left_handed: bool = False,
    setup: int | None = None,
    known: Mapping[Word, Read] | None = None,
) -> Ranking:
    """Return the answers in order; raises ValueError if there are none.

    The shortest has the fewest executed turns; the easiest the fewest things, then the least
    complexity, then the fewest turns. At most ``most`` families are shown, those of the leading
    answers always. ``known``: what the words are read as, if somebody knows that already.
    """
    normal, chosen = alphabet(puzzle).normal, weights or Weights()
    reads = known or {}
    different = {normal(word): reads.get(word) for word in words}
    measured = [measure(puzzle, word, left_handed, setup, own) for word, own in different.items()]
    if not measured:
        raise ValueError("there is no answer to rank")
    shortest = min(measured, key=lambda answer: answer.by_length)
    easiest = min(measured, key=lambda answer: answer.by_ease)

    def place(answer: Measured) -> tuple[bool, bool, float, Word]:
        leads = answer is not shortest, answer is not easiest
        return (*leads, answer.score(chosen), answer.word)

    members: dict[Hashable, list[Measured]] = {}
    for answer in sorted(measured, key=place):
        members.setdefault(answer.family, []).append(answer)
    families = [Family(group[0], tuple(group[1:])) for group in members.values()]
    count = max(most, len({shortest.family, easiest.family}))
    return Ranking(shortest, easiest, tuple(families[:count]), len(families[count:]))
