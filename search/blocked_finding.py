"""Requests on puzzles on which turns can be blocked: to a search of their own, and to answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from puzzles.notation import write
from puzzles.puzzle import Word
from search.answers import Found, Searched, ranked
from search.both_ends import Ends
from search.fixed import Sequences
from search.fixed_problem import Problem, Wanted, problem
from search.impossible import ImpossibleError, check
from search.nesting import things
from search.ranking import Read, Weights
from search.request import Bounds, Request
from search.unblocked import Gathered, Met

#: The most words that are ranked, of the shortest and of those with the fewest things each.
MOST_WORDS = 60


def problem_of(request: Request) -> Problem:
    """Return the search that answers a request; raises ImpossibleError with the reason.

    Impossible is what no sequence does even if no turn is blocked, and what would tear apart what
    is fastened together.
    """
    puzzle = request.puzzle
    kind = int(puzzle.type_of[request.cycle[0].slot])
    named = {place.slot for place in request.cycle}
    going_along = {s for own in puzzle.bonds if named & set(own) for s in own} - named
    free: Iterable[int] = request.free()
    if going_along:
        # What is fastened to the three goes along, so that only their own type is as it was asked.
        free = [t.number for t in puzzle.types if t.number != kind]
    if not any(int(puzzle.type_of[slot]) == kind for slot in going_along):
        check(puzzle, request.cycle, request.layers, request.alike, request.any_twist, free)
    return problem(puzzle, request.triples(), request.layers, request.kept)


def forbid_unreached(ends: Ends) -> None:
    """Raise ImpossibleError if all states that can be reached were seen, and none is wanted."""
    if ends.never:
        raise ImpossibleError(
            f"No sequence of possible turns leads there: one end can reach {ends.states:,} "
            f"state{'s' if ends.states != 1 else ''} and no more, and the other end is not among "
            "them."
        )


@dataclass(frozen=True, eq=False)
class Chosen:
    """The words that answer a request, and which wanted state each of them leads to.

    ``level``: how far the search in the fixed frame went. ``met``: what the one beside it has met,
    None where it was not done; ``further``: some words come from there.
    """

    words: dict[Word, int]
    level: int
    met: Met | None = None
    further: bool = False


def choose(
    request: Request, own: Problem, sequences: Sequences, beside: Gathered | None = None
) -> Chosen:
    """Return the words that a search in the fixed frame, and one beside it, have for a request.

    Of all that fulfil it the shortest are taken, and those with the fewest things to remember.
    """
    limit = request.bounds.turns
    words: dict[Word, int] = {}
    for number, found in enumerate(sequences.words):
        for word in found:
            if limit is None or len(word) <= limit:
                words.setdefault(word, number)
    own_words = len(words)
    for word, number in (beside.words if beside is not None else {}).items():
        words.setdefault(word, number)
    by_length = sorted(words, key=lambda word: (len(word), word))
    easy = sorted(words, key=lambda word: (things(own.puzzle, word), len(word), word))
    taken = {word: words[word] for word in (*by_length[:MOST_WORDS], *easy[:MOST_WORDS])}
    met = None if beside is None else beside.met
    return Chosen(taken, sequences.level, met, len(words) > own_words)


def blocked_found(
    request: Request,
    own: Problem,
    chosen: Chosen,
    ends: Ends,
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
    known: Mapping[Word, Read] | None = None,
) -> Found:
    """Return the ranked answers to a request on a puzzle on which turns can be blocked.

    ``known``: what the words are read as, if somebody knows that already. Raises RuntimeError if a
    word does not do what it is for: what is stored is broken then.
    """
    for word, number in chosen.words.items():
        _check(own, word, number)
    shortest = min((len(word) for word in chosen.words), default=0)
    says = searched(own, request.bounds, request.alike, chosen.level, shortest, ends)
    if chosen.met is not None:
        more = chosen.met.said(chosen.further, told_apart(own, request.alike))
        says = replace(says, text=f"{says.text}; {more}")
    triples = {word: own.wanted[number].triple for word, number in chosen.words.items()}
    return ranked(request, triples, says, weights, most, left_handed, known)


def _check(own: Problem, word: Word, number: int) -> None:
    """Raise RuntimeError for a word that does not what it was kept for, or cannot be done."""
    puzzle = own.puzzle
    if puzzle.first_blocked(word) is not None or not own.fulfils(number, word):
        raise RuntimeError(
            f"{write(puzzle, word)} was kept for a cycle that it does not do; the stored searches "
            "are broken and should be removed"
        )


def _goes_along(own: Problem, wanted: Wanted) -> bool:
    homes = own.puzzle.home
    return int((wanted.effect[homes] != homes).sum()) > len(wanted.triple)


def told_apart(own: Problem, alike: bool) -> str:
    """Return what is to be said about pieces that look the same: all are told apart in proofs."""
    like = alike and any(own.puzzle.alike[slot] != slot for slot in own.kept)
    return " with all pieces told apart" if like else ""


def searched(
    own: Problem | None,
    bounds: Bounds,
    alike: bool,
    level: int,
    shortest: int,
    ends: Ends | None,
) -> Searched:
    """Say how far a search went, and what that and the search from both ends prove.

    ``shortest`` is the length of the shortest answer, 0 for none; ``own`` is None where nothing had
    to be searched.
    """
    if own is None:
        return Searched(level, bounds.setup, None, "nothing had to be searched")
    apart = told_apart(own, alike)
    back = " that put what is fastened back in its place" if own.loose else ""
    setup = "" if bounds.setup is None else f", at most {bounds.setup} in S"
    if any(_goes_along(own, one) for one in own.wanted):
        back += ", in which what is fastened to the three goes along"
    best = f"{shortest} turns is the shortest found; " if shortest else ""
    text = (
        f"{best}searched all S [A, B] S' of possible turns with up to {level} turns in S, A and B "
        f"together{setup}{apart}{back}"
    )
    if ends is None:
        return Searched(level, bounds.setup, None, text)
    least = ends.none_up_to
    if ends.turns is None:
        proven = f"no sequence of any form has up to {least} turns"
    elif shortest and ends.turns >= shortest:
        proven, least = "no sequence of any form is shorter", shortest
    else:
        proven = f"the shortest sequence of any form has {ends.turns}, and is not of this one"
    if bounds.turns is not None:
        least = min(least, bounds.turns)
    proven_up_to = None if apart or own.loose else least
    return Searched(level, bounds.setup, proven_up_to, f"{text}; {proven}")
