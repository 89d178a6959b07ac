"""Searches step by step: small ones wholly in a plan, large steps dealt out in parts."""

from __future__ import annotations

import json
import time
from abc import abstractmethod
from collections import OrderedDict
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle
from search import atlas, deepening, shards
from search.encoding import Scope
from search.goals import Goal
from search.plan import Step
from search.shards import Given, Payload
from search.shelves import Shelves
from service import results, stored
from service.endings import PERSON, TIME
from service.representatives import bounds_of
from service.specs import AtlasSpec, FindSpec
from service.stores.base import State, Store
from service.works.aside import aside
from service.works.base import Deal, End, Tick, Work
from service.works.telling import Teller

#: A plan that was at work for so many seconds deals the rest of its step out to others.
INLINE_SECONDS = 1.5
#: The most parts that are dealt out at once: when the time is over, each is still given back.
STAGE_PARTS = 100
#: So many searches stay open in a worker, so that parts of the same one need not begin anew.
OPEN = 4


@dataclass(frozen=True, eq=False)
class Opened:
    """A job that a worker has in hand; ``note`` is said of it where its time is over."""

    spec: FindSpec | AtlasSpec
    puzzle: Puzzle
    scope: Scope
    goal: Goal
    note: str

    @property
    def key(self) -> str:
        """What names the job."""
        return self.spec.key(self.puzzle.digest, stored.version())


class Clock:
    """Seconds of computing on a job, and whether its time is over.

    What a search finds within its time should not depend on what else its workers have to do.
    """

    def __init__(self, spent: float, limit: float | None) -> None:
        self.limit = limit
        self._zero = time.process_time() - spent

    @property
    def now(self) -> float:
        """Seconds of computing so far: before this lease by all, and under it here."""
        return time.process_time() - self._zero

    @property
    def left(self) -> float | None:
        """Seconds that are left, None for any number."""
        return None if self.limit is None else max(0.0, self.limit - self.now)

    @property
    def over(self) -> bool:
        """Whether no time is left."""
        return self.left == 0.0


class SteppingWork(Work):
    """A search of levels and long steps, whose outcome does not depend on who did which part.

    Only where it is stopped, or its time is over, it does: then it is what was found until then.
    """

    def __init__(self) -> None:
        self._open: OrderedDict[str, Opened] = OrderedDict()
        self._lock = Lock()

    @abstractmethod
    def opened(self, store: Store, spec: dict[str, Any]) -> Opened:
        """Return what a job is about; may take a while, and is done beside a ticking thread."""

    @abstractmethod
    def result(self, own: Opened, shelves: Shelves, stopped_by: str | None, note: str) -> bytes:
        """Return the result of a job from its shelves."""

    @abstractmethod
    def teller(self, own: Opened, store: Store, clock: Clock, tick: Tick) -> Teller:
        """Return what tells how far a job is."""

    def key(self, store: Store, spec: dict[str, Any], tick: Tick) -> str | None:
        return self._opened(store, spec, tick).key

    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        spent: float,
        tick: Tick,
    ) -> Deal | End:
        clock = Clock(spent, None)
        own = self._opened(store, spec, tick)
        clock.limit = own.goal.seconds
        return _Plan(self, own, store, clock, tick).done([Given.from_bytes(p) for p in parts])

    def part(
        self, store: Store, spec: dict[str, Any], payload: bytes, spent: float, tick: Tick
    ) -> bytes:
        clock = Clock(spent, None)
        head, _, body = payload.partition(b"\n")
        if body.startswith(shards.DONE):
            return body[len(shards.DONE) :]
        own = self._opened(store, spec, tick)
        clock.limit = own.goal.seconds
        said = json.loads(head)
        one = Payload.from_bytes(body)
        if clock.over:
            return shards.nothing(one)
        teller = self.teller(own, store, clock, tick)
        found, whole = _base(own, store, one.number, teller)
        filling = atlas.Filling(own.scope, found)
        limit = ""
        teller.begin(found, one.step, said["best"], said["began"], said["share"])
        begin, end = one.share
        try:
            if whole:
                for share in shards.doing(filling, one):
                    if not teller.go_on(begin + share * (end - begin), filling) or clock.over:
                        whole = False
                        break
        except LimitError as error:
            whole, limit = False, str(error)
        return shards.given(filling, one, 1, whole, limit)

    def _opened(self, store: Store, spec: dict[str, Any], tick: Tick) -> Opened:
        name = json.dumps(spec, sort_keys=True)
        with self._lock:
            known = self._open.get(name)
        if known is None:
            known = aside(lambda news: self.opened(store, spec), tick)
        with self._lock:
            self._open[name] = known
            self._open.move_to_end(name)
            while len(self._open) > OPEN:
                self._open.popitem(last=False)
        return known


def opened(spec: FindSpec | AtlasSpec, puzzle: Puzzle, scope: Scope, goal: Goal) -> Opened:
    """Return a job in hand, with a goal that fits memory; raises LimitError."""
    atlas.empty(scope)
    goal, note = stored.within_memory(scope, goal, bounds_of(spec))
    return Opened(spec, puzzle, scope, goal, note)


def _base(own: Opened, store: Store, number: int, teller: Teller) -> tuple[Shelves, bool]:
    """Return the shelves that a number names, and True; False if there was no time to.

    A store may have lost them, which costs the time to search them again.
    """
    key = stored.levels_key(own.scope)
    found = stored.read(store.levels.get(key, number)) if number else None
    if found is not None and found.number == number:
        return found, True
    shelves = atlas.empty(own.scope)
    while shelves.number != number:
        step, astray = deepening.step_after(own.scope, shelves, own.goal)
        if step is None or shelves.number > number:
            raise LookupError(f"no search of this kind comes by the shelves with number {number}")
        filling = atlas.Filling(own.scope, shelves)
        teller.begin(shelves, step)
        for share in deepening.fill(own.scope, filling, step):
            if not teller.go_on(share, filling) or teller.clock.over:
                return shelves, False
        shelves = atlas.finish(deepening.settling(filling, step, astray))
        store.levels.put(key, shelves.number, shelves.to_bytes())
    return shelves, True


class _Plan:
    """One plan of a job at work: puts together what was given, and goes on until it deals."""

    def __init__(
        self, work: SteppingWork, own: Opened, store: Store, clock: Clock, tick: Tick
    ) -> None:
        self.work, self.own, self.store, self.clock, self.tick = work, own, store, clock, tick
        self.teller = work.teller(own, store, clock, tick)
        self.started = time.monotonic()
        self.note = ""
        #: Whether somebody stopped the job.
        self.stopped = not tick(None)
        #: Whether a step was broken off, by somebody or by the time.
        self.broken = False

    def done(self, given: list[Given]) -> Deal | End:
        """Return what comes of the plan."""
        begun = self._together(given) if given else self._stored()
        if isinstance(begun, Deal):
            return begun
        shelves = begun
        while not (self.stopped or self.broken or self.note):
            if self._reached(shelves):
                break
            if self.clock.over:
                break
            try:
                step, astray = self._step_after(shelves)
            except LimitError as error:
                self._limit(str(error))
                break
            if step is None:
                break
            following = self._step(shelves, step, astray)
            if isinstance(following, Deal):
                return following
            shelves = following
        return self._end(shelves)

    def _tick(self, told: dict[str, Any] | None) -> bool:
        """Tick on, and remember if the job is to stop."""
        self.stopped |= not self.tick(told)
        return not self.stopped

    def _limit(self, text: str) -> None:
        """Note that there is not enough memory; raises LimitError where a half-length was given."""
        if self.own.goal.half_length is not None:
            raise LimitError(text)
        self.note = text

    def _stored(self) -> Shelves:
        own = self.own
        found = stored.deepest(self.store.levels, own.scope, own.goal)
        return atlas.empty(own.scope) if found is None else found

    def _reached(self, shelves: Shelves) -> bool:
        own = self.own
        return aside(lambda news: own.goal.reached(own.scope, shelves), self._tick)

    def _step_after(self, shelves: Shelves) -> tuple[Step | None, bool]:
        own = self.own
        return aside(lambda news: deepening.step_after(own.scope, shelves, own.goal), self._tick)

    def _together(self, given: list[Given]) -> Shelves | Deal:
        """Return the shelves that the parts of the stage before make, or deal out the next ones."""
        own = self.own
        found, known = _base(own, self.store, given[0].number, self.teller)
        if not known:
            self.broken = True
            return found
        # A search with a bound may have stored the same levels before, as its own.
        found = replace(found, astray=given[0].astray)
        step, astray = self._step_after(found)
        filling = atlas.Filling(own.scope, found)
        for _ in shards.gathering(filling, given):
            self._tick(None)
        done, of = shards.done_up_to(given), given[0].of
        if done == of:
            shelves = self._settled(deepening.settling(filling, step, astray))
            self._keep(shelves)
            return shelves
        whole = all(one.whole for one in given) and not (self.stopped or self.clock.over)
        if whole and step is not None and self._listed(found, step):
            payloads = shards.deal(own.scope, found, step)
            return self._dealt(payloads, done, filling, astray)
        self.broken = True
        for limit in [one.limit for one in given if one.limit][:1]:
            self._limit(limit)
        return self._settled(deepening.settling(filling, None, astray))

    def _settled(self, work: Any) -> Shelves:
        while True:
            try:
                next(work)
            except StopIteration as end:
                shelves: Shelves = end.value
                return shelves
            self._tick(None)

    def _keep(self, shelves: Shelves) -> None:
        key = stored.levels_key(self.own.scope)
        self.store.levels.put(key, shelves.number, shelves.to_bytes())
        self.teller.complete(shelves)

    def _step(self, shelves: Shelves, step: Step, astray: bool) -> Shelves | Deal:
        """Do a step, or deal out what is left of it when it takes longer."""
        own, clock = self.own, self.clock
        if not self._listed(shelves, step):
            return shelves
        payloads = shards.deal(own.scope, shelves, step)
        filling = atlas.Filling(own.scope, shelves)
        if shards.large(step):
            return self._dealt(payloads, 0, filling, astray)
        try:
            for place, data in enumerate(payloads):
                if place and time.monotonic() - self.started > INLINE_SECONDS:
                    return self._dealt(payloads, place, filling, astray)
                one = Payload.from_bytes(data)
                begin, end = one.share
                for share in shards.doing(filling, one):
                    if not self.teller.go_on(begin + share * (end - begin), filling) or clock.over:
                        self.broken = True
                        break
                if self.broken:
                    break
        except LimitError as error:
            self.broken = True
            self._limit(str(error))
        self.stopped |= self.teller.stopped
        done = None if self.broken else step
        following = self._settled(deepening.settling(filling, done, astray))
        if not self.broken:
            self._keep(following)
        return following

    def _listed(self, shelves: Shelves, step: Step) -> bool:
        """List the words of a step; return whether there was time to."""
        self.teller.begin(shelves, step)
        for _ in step.listing(self.own.scope):
            if not self.teller.go_on(0.0) or self.clock.over:
                self.stopped |= self.teller.stopped
                self.broken = True
                break
        return not self.broken

    def _dealt(
        self, payloads: list[bytes], done: int, filling: atlas.Filling, astray: bool
    ) -> Shelves | Deal:
        """Deal the next parts of a step, after some that are done, which a filling holds.

        Where the job is to stop, return the shelves with what is done instead.
        """
        one = Payload.from_bytes(payloads[done])
        if not self.teller.go_on(one.share[0], filling):
            self.stopped = self.broken = True
            return self._settled(deepening.settling(filling, None, astray))
        following = payloads[done : done + STAGE_PARTS]
        found = None
        if done:
            before = Payload.from_bytes(payloads[done - 1])
            found = shards.given(filling, before, done, True)
            following.insert(0, shards.DONE + found)
        said = {
            "best": self.teller.best,
            "began": round(self.clock.now, 3),
            "share": self.teller.share,
        }
        head = json.dumps(said).encode()
        return Deal([head + b"\n" + data for data in following], self.teller.news(), found)

    def _end(self, shelves: Shelves) -> End:
        own = self.own
        by, note = None, self.note
        if self.stopped:
            by = PERSON
        elif not note and not self._reached(shelves):
            why = stored.why_over(own.scope, own.goal, shelves)
            by, note = (TIME, own.note) if why is None else (None, why)
        content = aside(lambda news: self.work.result(own, shelves, by, note), self._tick)
        outcome = {
            "result": results.keep(self.store, content),
            "stopped_by": by,
            "note": note,
        }
        return End(State.STOPPED if by == PERSON else State.DONE, outcome)
