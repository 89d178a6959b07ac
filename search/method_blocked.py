"""The method of a puzzle on which turns can be blocked.

1. Back to the home shape, with parities and sums of twists (``method_blocked_home``).
2. Kinds of units that three-cycles cannot finish: their arrangements, each with its shortest word
   if they are few (``method_blocked_few``), else products of loops.
3. The other kinds in an order, each with the few sequences that, in setups, reach all of its
   three-cycles while the earlier kinds stay (``method_blocked_sequences``).

Orders are compared as everywhere: what there is to remember, and the turns of whole solves.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle
from search.method import (
    CYCLES,
    FIRST_SCRAMBLES,
    HOME,
    LOOKED_UP,
    MOST_SHOWN,
    MOST_TRIED,
    ORDERS_SHARE,
    PRODUCTS,
    SEED,
    TRYING_SHARE,
    Method,
    Methods,
    MethodStep,
    undominated,
)
from search.method_blocked_few import Few
from search.method_blocked_home import Home, Homeward
from search.method_blocked_sequences import BlockedSequences, BlockedWorkshop
from search.method_blocked_solving import BlockedMethodSolver, blocked_tried
from search.method_blocked_units import Units, looks_of, units_of
from search.method_orders import PUT_RIGHT, Plan
from search.method_trying import Tried
from search.solving_blocked_near import MOST_STATES, Near
from search.solving_blocked_order import MOST_ORDERED
from search.solving_blocked_products import Products
from search.solving_blocked_shapes import shapes
from search.solving_blocked_ways import WaysHome

#: Choices of sequences that are put together for one order.
MOST_TOGETHER = 200


@dataclass(frozen=True, eq=False)
class BlockedPlan(Plan):
    """Kinds in an order with their sequences; ``before`` is empty, ``steps`` are for kinds."""

    counts: tuple[int, ...] = ()

    @cached_property
    def estimate(self) -> float:
        """About how many turns three-cycles take, if nothing stands right before."""
        pairs = zip(self.steps, self.counts, strict=True)
        return sum(own.mean * count / PUT_RIGHT for own, count in pairs)


def find_blocked_methods(
    puzzle: Puzzle,
    seconds: float,
    count: int,
    tell: Callable[[str], None] = lambda text: None,
    stop: Callable[[], bool] = lambda: False,
    most: int = MOST_STATES,
) -> Methods:
    """Return the best few methods of a puzzle on which turns can be blocked.

    As ``find_methods``; the reason why there is none where what is fastened together can stand in
    too many ways. ``most``: so many states near home are looked at.
    """
    begun = time.process_time()
    tell("how what is fastened together can stand")
    try:
        near = Near(shapes(puzzle), most)
        ways = WaysHome(near.shapes, near.invariants)
        return _Finding(near, ways, seconds, begun, count, tell, stop).methods()
    except LimitError as error:
        return Methods(puzzle, (), None, reason=str(error))


class _Finding:
    def __init__(
        self,
        near: Near,
        ways: WaysHome,
        seconds: float,
        begun: float,
        count: int,
        tell: Callable[[str], None],
        stop: Callable[[], bool],
    ) -> None:
        self.near, self.ways, self.puzzle = near, ways, near.shapes.puzzle
        self.seconds, self.begun, self.scrambles = seconds, begun, count
        self.tell, self.stop = tell, stop
        self.workshop = BlockedWorkshop(near, stop)
        self.homeward = Homeward(near, ways)
        self.units = units_of(near.shapes)
        #: A kind with one slot is right with its twist sum.
        self.kinds = tuple(n for n, kind in enumerate(near.shapes.kinds) if kind.count > 1)

    def over(self, share: float) -> bool:
        """Return whether so large a share of the time is over, or somebody stops."""
        return self.stop() or time.process_time() - self.begun > share * self.seconds

    def methods(self) -> Methods:
        """Return what there is to say."""
        puzzle = self.puzzle
        home = self.homeward.home()
        self.tell("what three-cycles there are")
        stubborn, orders = self._orders()
        few = products = None
        if stubborn:
            self.tell(f"arrangements of {self._named(stubborn)}")
            few = Few(self.near, stubborn)
            products = Products(self.near, stubborn)
            few = few if few.complete else None
        rest = tuple(kind for kind in self.kinds if kind not in stubborn)
        alike = self._alike()
        found = self._plans(stubborn, orders)
        if not found:
            why = f"no order was found in which three-cycles finish all {self._named(rest)}"
            return Methods(puzzle, (), None, alike, reason="it was stopped" if self.stop() else why)
        results: list[tuple[Plan, Tried]] = []
        chosen = _spread(found)
        for number, plan in enumerate(chosen, 1):
            if results and self.over(TRYING_SHARE):
                break
            self.tell(f"solving scrambles, order {number} of {len(chosen)}")
            solver = self._solver(plan, few, products)
            results.append((plan, blocked_tried(solver, FIRST_SCRAMBLES, SEED)))
        refined = []
        best = undominated(results)[:MOST_SHOWN]
        for number, (plan, own) in enumerate(best, 1):
            self.tell(f"solving {self.scrambles} scrambles, order {number} of {len(best)}")
            if not self.over(TRYING_SHARE):
                solver = self._solver(plan, few, products)
                own = blocked_tried(solver, self.scrambles, SEED, lambda: self.over(TRYING_SHARE))
            refined.append((plan, own))
        methods = tuple(
            Method(puzzle, self._steps(plan, home, stubborn, few), plan, own)
            for plan, own in undominated(refined)
        )
        return Methods(puzzle, methods, self._start(stubborn, few), alike)

    def _named(self, kinds: tuple[int, ...]) -> str:
        return ", ".join(self.units[kind].names for kind in kinds)

    def _alike(self) -> tuple[int, ...]:
        """Return the types of pieces that may change places unseen, so that parity is absorbed."""
        own = self.near.shapes
        reps = [own.reps[kind.units[0]] for kind in own.kinds if kind.has_alike]
        return tuple(sorted({int(self.puzzle.type_of[rep]) for rep in reps}))

    # --- orders -------------------------------------------------------------------------------

    def _orders(self) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]:
        """Return the kinds that three-cycles do not finish, and orders of the others."""
        while True:
            # Some kind must come last.
            if any(self.workshop.full(kind, self.kinds).complete for kind in self.kinds):
                found = self._able((), self.kinds)
                if found:
                    return (), found
            if not self.kinds or self.stop() or not self.workshop.more():
                break
        left, row = list(self.kinds), list[int]()
        while able := [kind for kind in left if self.workshop.full(kind, left).complete]:
            row.append(min(able, key=lambda kind: self.workshop.full(kind, left).mean))
            left.remove(row[-1])
        return tuple(left), self._able(tuple(left), tuple(reversed(row)))

    def _able(self, before: tuple[int, ...], kinds: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """Return the orders of kinds in which every three-cycle can be had; one if of many."""
        full = self.workshop.full
        if len(kinds) > MOST_ORDERED:
            every: Iterator[tuple[int, ...]] = iter((self._from_the_end(before, kinds),))
        else:
            every = itertools.permutations(kinds)
        result = []
        for order in every:
            # From the end: the more is kept, the sooner there is none.
            places = reversed([*enumerate(order)])
            if all(full(kind, (*before, *order[:k])).complete for k, kind in places):
                result.append(order)
            if result and self.over(ORDERS_SHARE):
                break
        return tuple(result)

    def _from_the_end(self, before: tuple[int, ...], kinds: tuple[int, ...]) -> tuple[int, ...]:
        """Return an order in which the kind that is cheapest with all others kept is the last."""
        left, row = list(kinds), list[int]()
        while left:
            costs = {kind: self.workshop.full(kind, (*before, *left)) for kind in left}
            row.append(min(left, key=lambda kind: (not costs[kind].complete, costs[kind].mean)))
            left.remove(row[-1])
        return tuple(reversed(row))

    def _plans(self, stubborn: tuple[int, ...], orders: tuple[tuple[int, ...], ...]) -> list[Plan]:
        """Return orders with sequences, none of which another beats by what it promises."""
        found: list[BlockedPlan] = []
        for order in orders:
            if self.stop() or (found and self.over(ORDERS_SHARE)):
                break
            rows: list[tuple[BlockedSequences, ...]] = []
            for k, kind in enumerate(order):
                before = (*stubborn, *order[:k])
                keeps = f" that keep {self._named(before)}" if before else ""
                self.tell(f"sequences for {self.units[kind].names}{keeps}")
                rows.append(self.workshop.sequences(kind, before))
            counts = tuple(self.near.shapes.kinds[kind].count for kind in order)
            others = len(self.kinds) - 1
            whole = len(rows) > 1 and all(
                len(one.stays) == others for choices in rows for one in choices
            )
            every = itertools.islice(itertools.product(*rows), MOST_TOGETHER)
            found += [
                BlockedPlan(self.puzzle, (), steps, together=whole, counts=counts)
                for steps in every
            ]
        result: list[Plan] = []
        for plan in sorted(found, key=lambda p: (p.things, p.estimate, len(p.words))):
            if not result or plan.estimate < result[-1].estimate - 1e-9:
                result.append(plan)
        return result

    def _solver(
        self, plan: Plan, few: Few | None, products: Products | None
    ) -> BlockedMethodSolver:
        reaches = tuple(
            self.workshop.reach(own.unit, own.stays, own.words) for own in _sequences(plan)
        )
        return BlockedMethodSolver(self.homeward, few, products, reaches)

    # --- what is said ---------------------------------------------------------------------------

    def _steps(
        self, plan: Plan, home: Home, stubborn: tuple[int, ...], few: Few | None
    ) -> tuple[MethodStep, ...]:
        """Return the steps of a plan, each with what is left after it."""
        rest = [own.unit for own in _sequences(plan)]
        types = {int(self.puzzle.type_of[slot]) for own in self.puzzle.bonds for slot in own}
        everything = looks_of(self.near, tuple(rest), 1)
        if few is not None:
            after: int | None = everything * few.arrangements
            # They are looked up with these kinds.
            home = replace(home, values=1, sums=())
        else:
            after = None if stubborn else everything
        steps = [
            MethodStep(
                HOME,
                tuple(sorted(types)),
                left=after,
                arrangements=home.shapes,
                farthest=home.most,
                units=self.units,
                home=home,
            )
        ]
        if stubborn:
            units = tuple(self.units[kind] for kind in stubborn)
            steps.append(
                MethodStep(
                    PRODUCTS if few is None else LOOKED_UP,
                    _types(units),
                    left=everything,
                    arrangements=None if few is None else few.arrangements,
                    farthest=0 if few is None else few.farthest,
                    units=units,
                )
            )
        for own in _sequences(plan):
            rest = rest[1:]
            units = (self.units[own.unit],)
            left = looks_of(self.near, tuple(rest), 1)
            steps.append(MethodStep(CYCLES, _types(units), (own,), left=left, units=units))
        return tuple(steps)

    def _start(self, stubborn: tuple[int, ...], few: Few | None) -> int | None:
        """Return how many states there are, told apart by looks; None where that is not known."""
        rest = tuple(kind for kind in range(len(self.near.shapes.kinds)) if kind not in stubborn)
        if not stubborn:
            return looks_of(self.near, rest, int((self.ways.turns >= 0).sum()))
        return None if few is None else looks_of(self.near, rest, few.states)


def _sequences(plan: Plan) -> tuple[BlockedSequences, ...]:
    return tuple(own for own in plan.steps if isinstance(own, BlockedSequences))


def _types(units: tuple[Units, ...]) -> tuple[int, ...]:
    return tuple(sorted({number for own in units for number in own.types}))


def _spread(found: list[Plan]) -> list[Plan]:
    """Return some of the plans evenly, both ends among them."""
    last = len(found) - 1
    chosen = sorted({round(k * last / (MOST_TRIED - 1)) for k in range(MOST_TRIED)})
    return [found[k] for k in chosen]
