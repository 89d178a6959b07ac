"""From shelves to what a person is told: ranked answers, and among what they are the shortest."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from puzzles.names import Placed, placement_name, sticker_name
from puzzles.notation import write
from puzzles.picture import draw
from puzzles.puzzle import Puzzle, Word
from search import claims
from search.checking import check
from search.coverage import LongStep, covered
from search.encoding import Scope
from search.hands import held
from search.ranking import Measured, Ranking, Read, Weights, rank, read
from search.reasons import why
from search.representatives import Represented, of_request, words_of
from search.request import MOST_MEMBERS, Request
from search.shelves import Shelves
from search.traces import alphabet


@dataclass(frozen=True)
class Searched:
    """How far a search went: every ring up to a half-length, with setups of up to some turns.

    What was covered besides stands in ``text`` alone. ``setup`` None means any. ``complete``: no
    commutator form with fewer executed turns exists up to this many, None where nothing is proven.
    ``text`` says it in words.
    """

    half_length: int
    setup: int | None
    complete: int | None
    text: str


@dataclass(frozen=True)
class Member:
    """A sequence that is folded under another of its family, in the asker's letters.

    It is the other one held, begun or run through otherwise, so that what is said of that holds for
    it as well. ``setup``, ``a`` and ``b`` are empty where it is not read as a commutator.
    """

    cycle: tuple[str, ...]
    sequence: str
    turns: int
    notation: str
    setup: str
    a: str
    b: str
    things: int


@dataclass(frozen=True, eq=False)
class Answer:
    """One sequence with everything that is said about it; texts are in the asker's letters.

    ``cycle`` is what this sequence does: another than the asked one where any twist or pieces that
    look the same will do. ``motions`` are what the hands do when the puzzle is held as ``hold``
    says, ``held_sequence`` the turns in the letters of that holding. ``folded`` counts the others
    of its family that are not shown by themselves; ``members`` are the first ``MOST_MEMBERS``.
    """

    cycle: tuple[str, ...]
    sequence: str
    turns: int
    notation: str
    setup: str
    a: str
    b: str
    layers: tuple[str, ...]
    things: int
    complexity: int
    hold: tuple[str, str]
    held_sequence: str
    motions: tuple[str, ...]
    undone_same: tuple[str, ...]
    why: str
    leads: str
    folded: int
    members: tuple[Member, ...]
    word: Word

    def __repr__(self) -> str:
        return f"{self.notation}  ({self.turns} turns)"


@dataclass(frozen=True, eq=False)
class Found:
    """The answers to a request, best first, and how far was searched."""

    request: Request
    cycle: tuple[str, str, str]
    answers: tuple[Answer, ...]
    searched: Searched
    left_out: int = 0

    def __repr__(self) -> str:
        lines = [f"{' -> '.join(self.cycle)} on {self.request.puzzle.name}: {self.searched.text}"]
        return "\n".join([*lines, *(f"  {answer!r}" for answer in self.answers)])

    def _repr_svg_(self) -> str:
        return draw(self.request.puzzle, cycle=self.request.triples()[0])


def found(
    request: Request,
    scope: Scope,
    shelves: Shelves,
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
) -> Found:
    """Return the ranked answers that shelves hold for a request."""
    bounds = request.bounds
    own = of_request(request)
    words = words_of(scope, shelves, own.triples, bounds.setup, bounds.turns)
    known = {word: (n, read(scope.puzzle, word, bounds.setup)) for word, n in words.items()}
    return from_words(
        request, own, known, shelves.half_length, shelves.steps, weights, most, left_handed
    )


def from_words(
    request: Request,
    own: Represented,
    words: Mapping[Word, tuple[int, Read]],
    half_length: int,
    steps: Iterable[LongStep],
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
) -> Found:
    """Return the ranked answers of a request from words of its representative.

    ``words`` come with the place of the three-cycle that they do in ``own.triples`` and with what
    they are read as; they were found up to a half-length, and by some long steps. Raises
    RuntimeError if one of them does another cycle, or its form is that of another word: what is
    stored is broken then.
    """
    there: dict[Word, tuple[int, int, int]] = {}
    reads: dict[Word, Read] = {}
    for word, (number, known) in words.items():
        carried = own.carried(word)
        there[carried], reads[carried] = own.images[number], own.read(known)
    check(own.scope, list(there.values()), list(there))
    shortest = min((len(word) for word in there), default=0)
    says = searched(request, own.scope, half_length, steps, shortest)
    return ranked(request, there, says, weights, most, left_handed, reads)


def ranked(
    request: Request,
    words: Mapping[Word, tuple[int, int, int]],
    says: Searched,
    weights: Weights | None = None,
    most: int = 10,
    left_handed: bool = False,
    known: Mapping[Word, Read] | None = None,
) -> Found:
    """Return the ranked answers of a request from words and the cycle that each of them does.

    ``known``: what the words are read as, if somebody knows that already; raises RuntimeError if
    that is another word.
    """
    puzzle, bounds = request.puzzle, request.bounds
    normal = alphabet(puzzle).normal
    for word, own in (known or {}).items():
        if own.form is not None and normal(own.form.turns(puzzle)) != word:
            raise RuntimeError(
                f"a form was kept for {write(puzzle, word)} that is another word's; the stored "
                "searches are broken and should be removed"
            )
    answers: tuple[Answer, ...] = ()
    left_out = 0
    if words:
        ranking = rank(puzzle, words, weights, most, left_handed, bounds.setup, known)
        answers = answers_of(puzzle, ranking, lambda word: _cycle(request, words[word]))
        left_out = ranking.left_out
    return Found(request, named(request), answers, says, left_out)


def told_apart(request_alike: bool, scope: Scope) -> str:
    """Return what is to be said about pieces that look the same: all are told apart in proofs."""
    puzzle = scope.puzzle
    like = request_alike and any(
        puzzle.alike[s] != s for k in scope.kept for s in puzzle.types[k].slots
    )
    return " with all pieces told apart" if like else ""


def searched(
    request: Request, scope: Scope, half_length: int, steps: Iterable[LongStep], shortest: int
) -> Searched:
    """Say how far a search went, and what that proves for this request.

    It met all rings up to a half-length, and those of some long steps. ``shortest`` is the length
    of the shortest answer, 0 for none. Where only so many turns were asked for, longer answers are
    not looked at, and no more is claimed.
    """
    bounds = request.bounds
    complete = claims.complete(scope, half_length)
    apart = told_apart(request.alike, scope)
    if complete is not None and bounds.turns is not None:
        complete = min(complete, bounds.turns)
    if complete is None or bounds.setup is not None:
        best = f"{shortest} turns is the shortest found; " if shortest else ""
        text = f"{best}searched {covered(half_length, steps, apart)}"
        if complete is None:
            text += "; on this puzzle that proves no number of turns"
        return Searched(half_length, bounds.setup, None, text)
    among = f"among commutator forms{apart}"
    if not shortest:
        text = f"none {among}, complete to {complete} turns"
    elif shortest <= complete:
        text = f"{shortest} turns is proven shortest {among}, complete to {complete} turns"
    elif shortest == complete + 1:
        text = f"{shortest} turns is proven shortest: none up to {complete} turns {among}"
    else:
        text = (
            f"{shortest} turns is the shortest found; up to {complete} turns there is none {among}"
        )
    return Searched(half_length, bounds.setup, None if apart else complete, text)


def named(request: Request) -> tuple[str, str, str]:
    """Return the asked cycle by the names of its stickers or pieces."""
    a, b, c = (_named(request.puzzle, place) for place in request.cycle)
    return a, b, c


def _named(puzzle: Puzzle, place: Placed) -> str:
    """Return the name of the sticker that was asked for, else of the piece."""
    if place.sticker is not None:
        return sticker_name(puzzle, place.sticker)
    at = place.placement if place.placement is not None else int(puzzle.home[place.slot])
    return placement_name(puzzle, at)


def answers_of(
    puzzle: Puzzle, ranking: Ranking, cycle_of: Callable[[Word], tuple[str, ...]]
) -> tuple[Answer, ...]:
    """Return the answers of a ranking, in order; ``cycle_of`` names what a word does."""
    return tuple(_answer(puzzle, ranking, measured, cycle_of) for measured in ranking.order)


def _answer(
    puzzle: Puzzle,
    ranking: Ranking,
    measured: Measured,
    cycle_of: Callable[[Word], tuple[str, ...]],
) -> Answer:
    form = measured.form
    leads = []
    if measured is ranking.shortest:
        leads.append("shortest")
    if measured is ranking.easiest:
        leads.append("easiest")
    folded = _folded(ranking, measured)
    layers = sorted({int(puzzle.turn_layer[t]) for t in measured.word})
    return Answer(
        cycle=cycle_of(measured.word),
        sequence=write(puzzle, measured.word),
        turns=measured.turns,
        notation=measured.notation,
        setup=write(puzzle, form.setup) if form else "",
        a=write(puzzle, form.a) if form else "",
        b=write(puzzle, form.b) if form else "",
        layers=tuple(puzzle.layers[k].name for k in layers),
        things=measured.things,
        complexity=measured.complexity,
        hold=held(puzzle, measured.holding),
        held_sequence=write(puzzle, measured.renamed),
        motions=measured.motions,
        undone_same=measured.undone_same,
        why=why(puzzle, form, measured.word) if form else "",
        leads=" and ".join(leads),
        folded=len(folded),
        members=tuple(_member(puzzle, own, cycle_of) for own in folded[:MOST_MEMBERS]),
        word=measured.word,
    )


def _folded(ranking: Ranking, measured: Measured) -> list[Measured]:
    """Return the others of an answer's family, the best first, without those that are shown."""
    family = next((f for f in ranking.families if f.shown is measured), None)
    others = family.folded if family else ()
    return [own for own in others if all(own is not shown for shown in ranking.leading)]


def _member(
    puzzle: Puzzle, measured: Measured, cycle_of: Callable[[Word], tuple[str, ...]]
) -> Member:
    form = measured.form
    return Member(
        cycle=cycle_of(measured.word),
        sequence=write(puzzle, measured.word),
        turns=measured.turns,
        notation=measured.notation,
        setup=write(puzzle, form.setup) if form else "",
        a=write(puzzle, form.a) if form else "",
        b=write(puzzle, form.b) if form else "",
        things=measured.things,
    )


def _cycle(request: Request, triple: tuple[int, int, int]) -> tuple[str, ...]:
    """Return a cycle of placements as it was asked for, or by names where it is another one."""
    puzzle, asked = request.puzzle, triple == request.triples()[0]
    return tuple(
        _named(puzzle, place) if asked else placement_name(puzzle, p)
        for place, p in zip(request.cycle, triple, strict=True)
    )
