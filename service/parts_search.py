"""Looking for the sequences that are missing: three-cycles by the search, others by short forms."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.least_effects import CYCLE, TWISTS, Least, least_words
from puzzles.names import placement_name
from puzzles.puzzle import Puzzle
from puzzles.words import normal
from search import claims, frames
from search.atlas_entries import cycles_of, entries, placed
from search.encoding import Scope, scope, useful_layers, wanted_with_images
from search.forms import LONGEST
from search.goals import Goal
from search.impossible import ImpossibleError
from search.kernels.arrays import NONE
from search.request import Bounds, request
from search.shelves import Shelves
from search.short_forms import short_forms
from service.endings import PERSON
from service.engine import Engine, NoFormError
from service.parts import Parts
from service.sequences import ANY_FORM, COMMUTATORS, Kept, checked, keep, rank

#: Seconds for all that is missing together, unless somebody asks for more.
SECONDS = 60.0
#: Pairs of three-cycles that are written out to find the shortest pair of twists.
PAIRS = 24
#: The part of the time for other effects that is spent on pairs of three-cycles.
PAIRED = 0.4

Numbers = NDArray[np.int64]


def find_missing(engine: Engine, own: Parts, seconds: float) -> tuple[Parts, str | None]:
    """Return the parts with the sequences that were found, and what ended the search early.

    Three-cycles come first; each effect gets an equal share of the time that is left. What is
    found is kept in the engine's store.
    """
    _compile(engine, own.puzzle)
    until = time.monotonic() + seconds
    cycles = [effect for effect in own.missing if effect.kind == CYCLE]
    others = [effect for effect in own.missing if effect.kind != CYCLE]
    for left, effect in zip(range(len(cycles), 0, -1), cycles, strict=True):
        share = (until - time.monotonic()) / (left + 2 * bool(others))
        if share <= 0 or engine.stop():
            break
        engine.notice(_looking(own, [effect], share))
        own = _with(engine, own, _three_cycle(engine, own.puzzle, effect, share))
    share = until - time.monotonic()
    if others and not engine.stop() and share > 0:
        engine.notice(_looking(own, others, share))
        twisting = [effect.type for effect in others if effect.kind == TWISTS]
        # Two three-cycles may make a pair of twists, and shorter ones than there were.
        end = until - share * PAIRED if twisting else until
        own = _with(engine, own, _others(engine, own.puzzle, others, end))
        for number in sorted(twisting):
            share = (until - time.monotonic()) / len(twisting)
            done = own.sequences.get((number, TWISTS))
            proven = done is not None and done.kept.shortest == ANY_FORM
            if not proven and share > 0 and not engine.stop():
                own = _with(engine, own, _two_cycles(engine, own.puzzle, number, share))
    if engine.stop():
        return own, PERSON
    return own, "time" if own.missing and time.monotonic() >= until else None


def _compile(engine: Engine, puzzle: Puzzle) -> None:
    """Search next to nothing once, so that compiling does not count as time to search."""
    from search.kernels import jit

    types = [kind.number for kind in puzzle.types if kind.moves]
    place = None if jit.warm() else next(filter(None, (_scope(puzzle, n) for n in types)), None)
    if place is not None and not puzzle.can_block:
        engine.search(place, Goal(1, None, None))


def _looking(own: Parts, effects: Iterable[Least], seconds: float) -> str:
    words = ", ".join(least_words(own.puzzle, effect) for effect in effects)
    return f"looking for {words}, up to {seconds:.0f} s"


def _with(engine: Engine, own: Parts, found: Iterable[Kept]) -> Parts:
    """Return parts with what was found and is better than what was known, kept in the store."""
    sequences = dict(own.sequences)
    better = []
    for kept in found:
        kind, done = own.puzzle.type_named(kept.type), checked(own.puzzle, kept)
        if kind is None or done is None:
            continue
        known = sequences.get((kind.number, kept.effect))
        if known is None or rank(kept) < rank(known.kept):
            sequences[kind.number, kept.effect] = done
            better.append(kept)
    keep(own.puzzle, engine.levels, better)
    return replace(own, sequences=sequences)


def _scope(puzzle: Puzzle, number: int) -> Scope | None:
    if not useful_layers(puzzle, tuple(range(len(puzzle.layers)))):
        return None
    try:
        return scope(puzzle, None, None, wanted_with_images(puzzle, number, None, None))
    except (RequestError, LimitError):
        return None


def _costs(own: Scope, found: Shelves, triples: Numbers) -> Numbers:
    """Return the fewest turns known for some three-cycles of placements (n, 3)."""
    numbers = frames.representatives(own, placed(own, triples))
    at = np.minimum(np.searchsorted(found.first, numbers), len(found.first) - 1)
    result: Numbers = np.where(found.first[at] == numbers, found.turns[at], NONE)
    return result


def _three_cycle(engine: Engine, puzzle: Puzzle, effect: Least, seconds: float) -> list[Kept]:
    """Return the shortest three-cycle of a type that a search finds, if it finds one."""
    if puzzle.can_block:
        return _one_cycle(engine, puzzle, effect, seconds)
    number = effect.type
    own = _scope(puzzle, number)
    triples = cycles_of(puzzle, puzzle.types[number])
    if own is None:
        return []
    orbits = np.unique(frames.representatives(own, placed(own, triples)))
    shelves = engine.search(own, Goal(None, orbits, seconds)).shelves
    costs = _costs(own, shelves, triples)
    best = int(costs.argmin())
    if costs[best] >= NONE:
        return []
    [entry] = entries(own, shelves, [triples[best].tolist()], None, False)
    if entry is None:
        return []
    proven = claims.complete(own, shelves.half_length) or 0
    said = COMMUTATORS if proven >= entry.shortest.turns else ""
    kind = puzzle.types[number].name
    return [Kept(kind, CYCLE, entry.shortest.notation, entry.shortest.turns, said)]


def _one_cycle(engine: Engine, puzzle: Puzzle, effect: Least, seconds: float) -> list[Kept]:
    """Return the shortest sequence for one three-cycle where turns can be blocked."""
    [cycle] = effect.cycles(puzzle)
    names = [placement_name(puzzle, p) for p in cycle]
    wanted = request(puzzle, names, alike=False, bounds=Bounds(seconds=seconds))
    try:
        answers = engine.find(wanted).found.answers
    except (ImpossibleError, NoFormError, LimitError):
        return []
    best = min(answers, key=lambda answer: (answer.turns, answer.things), default=None)
    if best is None:
        return []
    return [Kept(puzzle.types[effect.type].name, CYCLE, best.notation, best.turns)]


def _others(engine: Engine, puzzle: Puzzle, effects: Iterable[Least], until: float) -> list[Kept]:
    wanted = frozenset((effect.type, effect.kind) for effect in effects)
    best = {}
    with _status() as tell:
        for looked in short_forms(puzzle, wanted, until - time.monotonic(), engine.stop):
            best = dict(looked.best)
            tell(f"{looked.stage}: {len(best)} of {len(wanted)} found")
    return [
        Kept(
            puzzle.types[number].name,
            kind,
            form.text,
            form.turns,
            ANY_FORM if form.shortest else "",
        )
        for (number, kind), form in sorted(best.items())
    ]


def _two_cycles(engine: Engine, puzzle: Puzzle, number: int, seconds: float) -> list[Kept]:
    """Return a pair of twists that two three-cycles of the same pieces make, the shortest known.

    A to B to C, then back with another twist: A and B stay where they are, twisted.
    """
    place = _scope(puzzle, number)
    if place is None or puzzle.can_block:
        return []
    shelves = engine.search(place, Goal(None, None, seconds)).shelves
    return _best_pair(puzzle, number, place, shelves)


def _best_pair(puzzle: Puzzle, number: int, place: Scope, shelves: Shelves) -> list[Kept]:
    kind = puzzle.types[number]
    if not len(shelves.first) or int(shelves.turns.min()) >= NONE:
        return []
    there = cycles_of(puzzle, kind)
    there = there[(puzzle.twist_of[there] == 0).all(axis=1)].astype(np.int64)
    # Each of the three may be the one that comes back untwisted.
    there = np.concatenate([there, there[:, [1, 2, 0]], there[:, [2, 0, 1]]])
    back, whole = [], []
    for x in range(1, kind.twists):
        back.append(np.stack([there[:, 1], there[:, 0] + x, there[:, 2] + x], axis=1))
        whole.append(there)
    first, second = np.concatenate(whole), np.concatenate(back)
    costs = _costs(place, shelves, first) + _costs(place, shelves, second)
    least = np.argsort(costs, kind="stable")[:PAIRS]
    least = least[costs[least] < NONE]
    found = []
    for k in least.tolist():
        both = entries(place, shelves, [first[k].tolist(), second[k].tolist()], None, False)
        if any(entry is None for entry in both):
            continue
        said = [entry.shortest for entry in both if entry is not None]
        word = normal(puzzle, [t for one in said for t in one.word])
        found.append((len(word), " ".join(one.notation for one in said)))
    if not found:
        return []
    turns, text = min(found)
    return [Kept(kind.name, TWISTS, text, turns)] if turns <= LONGEST * 2 else []


@contextlib.contextmanager
def _status() -> Iterator[Callable[[str], None]]:
    """Give what shows a line of progress on standard error while that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda text: None
        return
    from rich.console import Console

    with Console(stderr=True).status("") as shown:
        yield lambda text: shown.update(text)
