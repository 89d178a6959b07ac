"""The method of a puzzle: types in an order, what to do for each, and what has to be remembered.

1. Types that three-cycles cannot finish come first: those that only twist in their slots, and those
   of which not all three-cycles can be had (``method_solving.Lookup``).
2. The others follow in an order in which each is finished while the earlier ones stay, with the few
   sequences that do so (``method_sequences``, ``method_orders``).
3. Orders are compared by what there is to remember and by the turns of whole solves of random
   scrambles, in which nothing else is used (``method_trying``); those stay that no other beats in
   both.
4. What three-cycles leave alone, parities and sums of twists, is named with what mends it
   (``method_mending``), and where a sequence for two twisted pieces saves turns, it is
   (``method_twists``).

Where turns can be blocked, the way back to the home shape comes first (``method_blocked``).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from puzzles.kinship import Likeness
from puzzles.puzzle import Puzzle, Word
from puzzles.scrambles import scrambles
from search.kernels import jit
from search.method_blocked_home import Home
from search.method_blocked_units import Units
from search.method_joined import Joined, Shown, joinable
from search.method_joining import JoiningTried, joining_solver, joining_tried
from search.method_kinds import kinds, least_plan, order_of
from search.method_mending import Mend, instead, mends
from search.method_orders import Plan, evenly, plans, promising
from search.method_sequences import Sequences, Workshop
from search.method_solving import Lookup, method_solver
from search.method_trying import COUNTED, Tried, tried
from search.method_twists import Pair, TwistPair, pairs, saving
from search.solving_looks import Looks
from search.tools import Search, search_in_memory
from search.warming import warm

#: Seconds that a method may take: usually, and with more pieces than MANY_PIECES.
SECONDS, LONG_SECONDS, MANY_PIECES = 45.0, 240.0, 120
#: The share of them after which orders are no longer compared with sequences of their own.
ORDERS_SHARE = 0.45
#: The shares after which no more orders are tried, and no more ways to join pieces.
TRYING_SHARE, JOINING_SHARE = 0.7, 0.85
#: Known puzzles that are tried as the end of a method.
MOST_JOINED = 3
#: Scrambles that every order is tried on at first, and those that stay; the seed that they are
#: drawn with.
FIRST_SCRAMBLES, SCRAMBLES, SEED = 4, 20, 20_261
#: Orders that are tried, and those that are shown.
MOST_TRIED, MOST_SHOWN = 8, 3

#: Kinds of steps.
IN_PLACE, LOOKED_UP, CYCLES, FOLLOWS = "in place", "looked up", "three-cycles", "follows"
#: Those that there are only where turns can be blocked.
HOME, PRODUCTS = "home shape", "products"


@dataclass(frozen=True)
class MethodStep:
    """What puts some types right while those of earlier steps stay.

    ``kind`` is "in place" (pieces that only twist in their slots), "looked up" (few arrangements,
    each with its shortest word: ``arrangements`` of them, at most ``farthest`` turns),
    "three-cycles" or "follows" (nothing is left to do once the earlier types are right). ``left``
    is how many arrangements of all pieces, told apart, there are after it. Both numbers are None
    where the order of the group is not proven.

    Where turns can be blocked there are two more kinds, "home shape" (``arrangements`` shapes,
    ``home`` says how to come back) and "products" (too many arrangements to be known one by one);
    ``units`` are then what is put right, and ``types`` those of their pieces.
    """

    kind: str
    types: tuple[int, ...]
    sequences: tuple[Sequences, ...] = ()
    mends: tuple[Mend, ...] = ()
    twists: tuple[TwistPair, ...] = ()
    left: int | None = None
    arrangements: int | None = None
    farthest: int = 0
    units: tuple[Units, ...] = ()
    home: Home | None = None


@dataclass(frozen=True, eq=False)
class Method:
    """Steps in an order, and how solving by them went on sampled scrambles."""

    puzzle: Puzzle
    steps: tuple[MethodStep, ...]
    plan: Plan
    tried: Tried

    @property
    def words(self) -> tuple[Word, ...]:
        """All sequences that have to be remembered, in the order in which they are needed."""
        return self.plan.words

    @property
    def things(self) -> int:
        """How many turns there are to remember in all sequences."""
        return self.plan.things


@dataclass(frozen=True, eq=False)
class JoinedMethod:
    """A method that joins pieces, ends in a known puzzle, and how solving by it went.

    ``steps`` come before the known puzzle: the types that have to be right, then those that are
    joined wherever they are. ``ending`` is the known puzzle's own order with the least to remember,
    None where there is none; the solves of ``tried`` end with whatever is shortest there instead.
    """

    joined: Joined
    steps: tuple[MethodStep, ...]
    plan: Plan
    shown: tuple[Shown, ...]
    tried: JoiningTried
    ending: Plan | None = None


@dataclass(frozen=True, eq=False)
class Methods:
    """The best few methods, least to remember first; ``reason`` says why there is none, or fewer.

    ``start`` are the arrangements of all pieces, told apart; None where that is not proven.
    ``looks_alike`` are the types of which pieces that look the same absorb parity; ``joined`` are
    methods that end in a known puzzle; ``alike`` are types that move alike under other layers.
    """

    puzzle: Puzzle
    methods: tuple[Method, ...]
    start: int | None
    looks_alike: tuple[int, ...] = ()
    joined: tuple[JoinedMethod, ...] = ()
    reason: str = ""
    alike: tuple[Likeness, ...] = ()


def usual_seconds(puzzle: Puzzle) -> float:
    """Return how long the method of a puzzle may take unless somebody says otherwise."""
    return LONG_SECONDS if puzzle.slot_count > MANY_PIECES else SECONDS


def find_methods(
    puzzle: Puzzle,
    search: Search = search_in_memory,
    seconds: float | None = None,
    count: int = SCRAMBLES,
    tell: Callable[[str], None] = lambda text: None,
    stop: Callable[[], bool] = lambda: False,
) -> Methods:
    """Return the best few methods of a puzzle.

    ``seconds`` of computing bound it about, None for ``usual_seconds``; each method solves
    ``count`` scrambles; ``tell`` hears what is at work; when ``stop()`` says so, what was tried by
    then is returned.
    """
    limit = usual_seconds(puzzle) if seconds is None else seconds
    if puzzle.can_block:
        from search.method_blocked import find_blocked_methods

        return find_blocked_methods(puzzle, limit, count, tell, stop)
    return _Finding(puzzle, search, limit, count, tell, stop).methods()


class _Finding:
    def __init__(
        self,
        puzzle: Puzzle,
        search: Search,
        seconds: float,
        count: int,
        tell: Callable[[str], None],
        stop: Callable[[], bool],
    ) -> None:
        self.puzzle, self.seconds, self.scrambles = puzzle, seconds, count
        self.tell, self.stop = tell, stop
        self.workshop = Workshop(puzzle, search)
        self.looks = Looks(puzzle)
        # Not to be taken from the method's own time.
        if not jit.warm():
            self.tell("compiling the kernels, once on a machine")
            warm()
        self.begun = time.process_time()

    def over(self, share: float) -> bool:
        """Return whether so large a share of the time is over, or somebody stops."""
        return self.stop() or time.process_time() - self.begun > share * self.seconds

    def methods(self) -> Methods:
        """Return what there is to say."""
        puzzle = self.puzzle
        self.tell("what three-cycles there are")
        own = kinds(self.workshop)
        known = own.known
        found = plans(
            self.workshop, own.rest, own.before, lambda: self.over(ORDERS_SHARE), self.tell
        )
        alike = tuple(n for n in own.matters if self._absorbs(n))
        if not found:
            names = ", ".join(puzzle.types[n].name for n in own.rest)
            return Methods(
                puzzle,
                (),
                order_of(puzzle, own.matters),
                alike,
                reason=f"no order was found in which three-cycles finish all of {names}",
            )
        best = self._compared(found, known)
        methods = []
        for plan, tries in best:
            steps = self._steps(plan, own.single, own.hard, known, own.follows)
            methods.append(Method(puzzle, steps, plan, tries))
        joined = self._joined(own.matters)
        methods = self._mended(methods, known)
        reason = "" if methods else "no order solved the scrambles that were tried"
        start = order_of(puzzle, own.matters)
        like = self.workshop.sharing.alike
        return Methods(puzzle, tuple(methods), start, alike, joined, reason, like)

    def _joined(self, matters: tuple[int, ...]) -> tuple[JoinedMethod, ...]:
        """Return the methods that end in a known puzzle."""
        result = []
        for joined in joinable(self.puzzle, matters)[:MOST_JOINED]:
            if self.over(JOINING_SHARE):
                break
            self.tell(f"joining pieces to a {joined.known.name}")
            made = joining_solver(joined, self.workshop, matters)
            if made is None:
                continue
            solver, known = made
            states = (self.puzzle.effect(w) for w in scrambles(self.puzzle, self.scrambles, SEED))
            own = joining_tried(solver, states, lambda: self.over(JOINING_SHARE))
            if own.solved < own.count or not own.count:
                continue
            steps = self._steps(solver.plan, (), solver.plan.before, known, ())
            self.tell(f"what a {joined.known.name} takes to remember")
            hurry = partial(self.over, JOINING_SHARE)
            ending = least_plan(joined.known, self.workshop.search, hurry)
            shown = joined.shown()
            result.append(JoinedMethod(joined, steps, solver.plan, shown, own, ending))
        return tuple(result)

    def _absorbs(self, number: int) -> bool:
        """Return whether some pieces of a type look the same, so that parity does not show."""
        own = self.looks.kind[list(self.puzzle.types[number].slots)].tolist()
        return len(set(own)) < len(own)

    def _compared(self, found: list[Plan], known: Lookup | None) -> list[tuple[Plan, Tried]]:
        """Return the plans that no other beats in both measures, with how solving by them went."""
        chosen = evenly(promising(found), MOST_TRIED)
        chosen += evenly([p for p in found if p not in chosen], MOST_TRIED - len(chosen))
        results: list[tuple[Plan, Tried]] = []
        for number, plan in enumerate(chosen, 1):
            if results and self.over(TRYING_SHARE):
                break
            self.tell(f"solving scrambles, order {number} of {len(chosen)}")
            results.append((plan, self._try(plan, known, FIRST_SCRAMBLES, 0)))
        best = _with_order(undominated(results)[:MOST_SHOWN], results)
        refined = []
        for number, (plan, own) in enumerate(best, 1):
            self.tell(f"solving {self.scrambles} scrambles, order {number} of {len(best)}")
            over = self.over(TRYING_SHARE)
            refined.append((plan, own if over else self._try(plan, known, self.scrambles)))
        return _with_order(undominated(refined), refined)

    def _try(self, plan: Plan, known: Lookup | None, count: int, counted: int = COUNTED) -> Tried:
        solver = method_solver(self.puzzle, plan.order, plan.words, known)
        enough = self.over
        return tried(solver, count, SEED, lambda: enough(TRYING_SHARE), counted)

    def _steps(
        self,
        plan: Plan,
        single: tuple[int, ...],
        hard: tuple[int, ...],
        known: Lookup | None,
        follows: tuple[int, ...],
    ) -> tuple[MethodStep, ...]:
        steps: list[MethodStep] = []
        if hard and known is not None:
            arrangements = order_of(self.puzzle, hard)
            steps.append(
                MethodStep(LOOKED_UP, hard, arrangements=arrangements, farthest=known.most)
            )
        if single:
            steps.append(MethodStep(IN_PLACE, single))
        if plan.together:
            types = tuple(own.type for own in plan.steps)
            steps.append(MethodStep(CYCLES, types, plan.steps))
        else:
            steps += [MethodStep(CYCLES, (own.type,), (own,)) for own in plan.steps]
        if follows:
            steps.append(MethodStep(FOLLOWS, follows))
        whole = order_of(self.puzzle, tuple(n for n, own in enumerate(self.looks.matters) if own))
        done: tuple[int, ...] = ()
        result = []
        for step in steps:
            done = (*done, *step.types)
            there = order_of(self.puzzle, done)
            left = None if whole is None or there is None else whole // there
            result.append(replace(step, left=left))
        return tuple(result)

    def _mended(self, methods: list[Method], known: Lookup | None) -> list[Method]:
        """Return methods that say what mends parities, and which sequences twist pairs.

        Each is searched for once; no more are once the time is over.
        """
        over = self.over
        found: dict[tuple[int, frozenset[int]], tuple[Mend, ...]] = {}
        twisting: dict[tuple[int, frozenset[int]], tuple[Pair, ...]] = {}
        result = []
        for method in methods:
            solver = method_solver(self.puzzle, method.plan.order, method.words, known)
            before: tuple[int, ...] = ()
            steps = []
            for step in method.steps:
                own: list[Mend] = []
                twists: list[TwistPair] = []
                before = (*before, *step.types)
                for number in step.types if step.kind == CYCLES else ():
                    key, name = (number, frozenset(before)), self.puzzle.types[number].name
                    if key not in found:
                        self.tell(f"what mends odd {name}")
                        found[key] = mends(self.puzzle, number, before, lambda: over(1.0))
                    own += [instead(solver, mend) for mend in found[key]]
                    if key not in twisting:
                        self.tell(f"what twists two {name}")
                        twisting[key] = pairs(self.looks, number, before, lambda: over(1.0))
                    twists += saving(solver, before, twisting[key], lambda: over(1.0))
                steps.append(replace(step, mends=tuple(own), twists=tuple(twists)))
            result.append(replace(method, steps=tuple(steps)))
        return result


def _with_order(
    best: list[tuple[Plan, Tried]], row: list[tuple[Plan, Tried]]
) -> list[tuple[Plan, Tried]]:
    """Return what is best, and where nothing of that goes type by type the best that does."""
    if not best or any(not plan.together for plan, _ in best):
        return best
    ordered = undominated([(plan, own) for plan, own in row if not plan.together])
    return [*best, *ordered[:1]]


def undominated(row: list[tuple[Plan, Tried]]) -> list[tuple[Plan, Tried]]:
    """Return what solves everything and is beaten by nothing, least to remember first."""
    whole = [(plan, own) for plan, own in row if own.solved == own.count and own.count]
    result: list[tuple[Plan, Tried]] = []
    for plan, own in sorted(whole, key=lambda r: (r[0].things, len(r[0].words), r[1].median)):
        if not result or own.median < result[-1][1].median:
            result.append((plan, own))
    return result
