"""Other wanted effects as a library: one call from cycles in words to ranked answers.

Where ``search.finding`` is about one three-cycle, this is about any small product of cycles: two
swaps, longer cycles, pairs of twists or flips, blocks that move together. The search is that of
``search.effect_search``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from puzzles.effects import Cycle, Effect, cycle_text, cycles
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from search.answers import Answer, answers_of
from search.any_form import does
from search.impossible_effects import check_effect, no_commutator
from search.ranking import Read, Weights, rank
from search.request import Bounds
from search.wanted import EffectRequest, effect_request

if TYPE_CHECKING:
    from search.effect_search import EffectProgress, Effort

__all__ = [
    "CameTo",
    "EffectFound",
    "EffectSearched",
    "effect_found",
    "effect_request",
    "find_effect",
    "from_effect_words",
]


@dataclass(frozen=True)
class CameTo:
    """How far a search came, see ``search.effect_search.EffectProgress``."""

    half_length: int | None
    complete: int | None
    none_up_to: int
    note: str = ""


@dataclass(frozen=True)
class EffectSearched:
    """How far a search went.

    ``half_length``: rings up to so many turns in X, Y and Z were met, None where commutators cannot
    have the effect or were not searched. ``setup`` None means any. ``complete``: no commutator form
    with fewer executed turns than the shortest answer exists up to this many, None where nothing is
    proven. ``any_form``: the same for sequences of any form. ``text`` says it in words.
    """

    half_length: int | None
    setup: int | None
    complete: int | None
    any_form: int
    text: str


@dataclass(frozen=True, eq=False)
class EffectFound:
    """The answers to a request for an effect, best first, and how far was searched.

    ``cycles``: the effect as texts such as ``(UFR RUF FUR)``; an answer's ``cycle`` are the cycles
    that it does, others where pieces that look the same have changed places.
    """

    request: EffectRequest
    cycles: tuple[str, ...]
    answers: tuple[Answer, ...]
    searched: EffectSearched
    left_out: int = 0

    def __repr__(self) -> str:
        name = self.request.puzzle.name
        lines = [f"{''.join(self.cycles)} on {name}: {self.searched.text}"]
        return "\n".join([*lines, *(f"  {answer!r}" for answer in self.answers)])


def find_effect(
    puzzle: Puzzle,
    effect: str | Sequence[Cycle],
    *,
    layers: str | Sequence[str] | None = None,
    keep: str | Sequence[str] | None = None,
    free: str | Sequence[str] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    turns: int | None = None,
    half_length: int | None = None,
    setup: int | None = None,
    seconds: float | None = None,
    weights: Weights | None = None,
    most: int = 10,
    threads: int = 1,
    stop: Callable[[], bool] = lambda: False,
    effort: Effort | None = None,
) -> EffectFound:
    """Return the ranked sequences that have an effect and leave all else that is kept alone.

    ``effect`` is text such as ``"(UFR RUF FUR)(UFL LUF FUL)"`` (what is at the first place of a
    cycle goes to the second, and so on; a cycle within one slot twists its piece), or cycles of
    placements as ``puzzles.effects.cycles`` gives them. With ``any_twist`` what goes to another
    slot may arrive there twisted in any way. Bounds as for ``search.finding.find``; it ends soon
    after ``stop()`` says so, with what there is; an ``effort`` bounds it by what is looked at
    (``search.effect_search.Effort``). Raises RequestError for a request that is not right,
    LimitError for one that is too large, ImpossibleError for an effect that no sequence has.
    """
    bounds = Bounds(turns, half_length, setup, seconds)
    wanted = effect_request(
        puzzle,
        effect,
        layers=layers,
        keep=keep,
        free=free,
        alike=alike,
        any_twist=any_twist,
        bounds=bounds,
    )
    check_effect(wanted)
    # Loading the kernels takes longer than reading what is known.
    from search.effect_search import search_effect

    *_, progress = search_effect(wanted, threads=threads, stop=stop, effort=effort)
    return effect_found(wanted, progress, weights, most)


def effect_found(
    request: EffectRequest,
    progress: EffectProgress,
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
) -> EffectFound:
    """Return the ranked answers that a search, finished or broken off, has for a request."""
    return from_effect_words(
        request,
        progress.words,
        CameTo(progress.half_length, progress.complete, progress.none_up_to, progress.note),
        weights,
        most,
        left_handed,
    )


def from_effect_words(
    request: EffectRequest,
    words: Mapping[Word, int],
    came_to: CameTo,
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
    known: Mapping[Word, Read] | None = None,
) -> EffectFound:
    """Return the ranked answers from words and the number of the effect that each of them has.

    ``known``: what the words are read as, if somebody knows that already.
    Raises RuntimeError if a word does not have its effect: what is stored is broken then.
    """
    puzzle, wanted = request.puzzle, request.looking_alike()
    slots = np.flatnonzero(np.isin(puzzle.type_of, request.kept_types))
    for word, number in words.items():
        if number >= len(wanted) or not does(puzzle, word, wanted[number], slots):
            raise RuntimeError(
                f"{write(puzzle, word)} does not have the effect {request.text}; the stored "
                "searches are broken and should be removed"
            )
    named = {
        number: _cycles(puzzle, cycles(puzzle, Effect(tuple(wanted[number].tolist()))))
        for number in set(words.values())
    }
    answers: tuple[Answer, ...] = ()
    left_out = 0
    if words:
        ranking = rank(puzzle, words, weights, most, left_handed, request.bounds.setup, known)
        answers = answers_of(puzzle, ranking, lambda word: named[words[word]])
        left_out = ranking.left_out
    says = _searched(request, came_to, answers)
    return EffectFound(request, _cycles(puzzle, request.cycles), answers, says, left_out)


def _cycles(puzzle: Puzzle, own: Iterable[Cycle]) -> tuple[str, ...]:
    return tuple(cycle_text(puzzle, cycle) for cycle in own)


def _searched(request: EffectRequest, came_to: CameTo, answers: Sequence[Answer]) -> EffectSearched:
    """Say how far the search went, and what that proves."""
    half_length, complete, any_form = came_to.half_length, came_to.complete, came_to.none_up_to
    bounds, puzzle = request.bounds, request.puzzle
    shortest = min((answer.turns for answer in answers), default=0)
    apart = request.alike and any(
        puzzle.alike[s] != s for k in request.kept_types for s in puzzle.types[k].slots
    )
    among = " with all pieces told apart" if apart else ""
    if bounds.turns is not None:
        any_form = min(any_form, bounds.turns)
        complete = None if complete is None else min(complete, bounds.turns)
    found = f"{shortest} turn{'s' if shortest != 1 else ''} is"
    said = []
    if shortest and any_form >= shortest - 1:
        said.append(f"{found} proven shortest among sequences of any form{among}")
    elif shortest and complete is not None and complete >= shortest - 1:
        said.append(f"{found} the shortest found; no commutator form{among} has fewer")
    elif shortest:
        said.append(f"{found} the shortest found")
    else:
        said.append("none found")
    if any_form and (any_form < shortest - 1 or not shortest):
        said.append(f"no sequence of any form{among} has up to {any_form} turns")
    if no_commutator(request):
        said.append(
            f"no commutator{among} has this effect: it is odd, or its twists do not add up to "
            "nothing"
        )
    elif half_length is None:
        pass
    elif complete is not None and (not shortest or complete < shortest - 1):
        said.append(f"no commutator form{among} has up to {complete} turns")
    elif complete is None:
        said.append(f"all rings up to half-length {half_length}{among} were searched")
    if request.any_twist:
        said.append("what changes places may be twisted in any way")
    if puzzle.can_block:
        said.append("turns can be blocked here: only what can be done is kept, nothing is claimed")
    if came_to.note:
        said.append(came_to.note)
    text = "; ".join(said)
    return EffectSearched(half_length, bounds.setup, complete, any_form, text)
