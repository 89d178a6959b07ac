"""Turns: fair between askers, and nothing is lost by those who leave."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, rule

from service.turns import CrowdedError, Turns


def test_a_crowd_of_one_does_not_keep_others_waiting() -> None:
    async def work() -> None:
        own: Turns[str] = Turns()
        own.add("a")
        own.add("b")
        first = [await own.take("crowd"), await own.take("crowd")]
        crowd = [asyncio.create_task(own.take("crowd")) for _ in range(50)]
        await asyncio.sleep(0)
        other = asyncio.create_task(own.take("other"))
        await asyncio.sleep(0)
        assert own.waiting == 51
        own.give_back(first[0], "crowd")
        assert await other == first[0]
        assert not any(one.done() for one in crowd)
        own.give_back(first[0], "other")
        await asyncio.sleep(0)
        assert sum(one.done() for one in crowd) == 1
        for one in crowd:
            one.cancel()
        await asyncio.gather(*crowd, return_exceptions=True)
        assert own.waiting == 0

    asyncio.run(work())


def test_who_has_most_wishes_makes_room_for_others() -> None:
    async def work() -> None:
        own: Turns[str] = Turns()
        crowd = [asyncio.create_task(own.take("crowd")) for _ in range(3)]
        await asyncio.sleep(0)
        assert not own.make_room("crowd")
        assert own.make_room("other")
        other = asyncio.create_task(own.take("other"))
        await asyncio.sleep(0)
        with pytest.raises(CrowdedError):
            await crowd[2]
        # Both would have two of them then, so that nobody has most.
        assert not own.make_room("other")
        for thing in "abc":
            own.add(thing)
        assert sorted([await other, await crowd[0], await crowd[1]]) == ["a", "b", "c"]
        assert own.waiting == 0

    asyncio.run(work())


def test_what_is_there_while_somebody_leaves_is_for_the_next() -> None:
    async def work() -> None:
        own: Turns[str] = Turns()
        leaving = asyncio.create_task(own.take("one"))
        staying = asyncio.create_task(own.take("two"))
        await asyncio.sleep(0)
        leaving.cancel()
        own.add("a")
        assert await staying == "a"
        await asyncio.gather(leaving, return_exceptions=True)
        assert own.waiting == 0

    asyncio.run(work())


class Machine(RuleBasedStateMachine):
    """Takes, gives back and leaves in any order; no thing may be lost or doubled."""

    wishes = Bundle("wishes")
    whos = st.sampled_from(["one", "two", "three"])

    def __init__(self) -> None:
        super().__init__()
        self.loop = asyncio.new_event_loop()
        self.turns: Turns[int] = Turns()
        self.things = 0
        self.held: list[tuple[asyncio.Task[int], str]] = []

    def settle(self) -> None:
        for _ in range(3):
            self.loop.run_until_complete(asyncio.sleep(0))

    @rule()
    def add(self) -> None:
        self.loop.call_soon(self.turns.add, self.things)
        self.things += 1
        self.settle()

    @rule(target=wishes, who=whos)
    def take(self, who: str) -> Any:
        task = self.loop.create_task(self.turns.take(who))
        self.held.append((task, who))
        self.settle()
        return task, who

    @rule(wish=consumes(wishes))
    def leave_or_give_back(self, wish: tuple[asyncio.Task[int], str]) -> None:
        task, who = wish
        if task.done():
            self.turns.give_back(task.result(), who)
        else:
            task.cancel()
        self.held.remove(wish)
        self.settle()

    @invariant()
    def nothing_is_lost(self) -> None:
        taken = [task.result() for task, _ in self.held if task.done()]
        assert sorted([*taken, *self.turns._free]) == list(range(self.things))
        assert self.turns.waiting == sum(not task.done() for task, _ in self.held)
        assert not self.turns.waiting or not self.turns._free

    def teardown(self) -> None:
        for task, _ in self.held:
            task.cancel()
        self.settle()
        self.loop.close()


TestTurns = Machine.TestCase
TestTurns.settings = settings(max_examples=50, stateful_step_count=30, deadline=None)


def test_who_leaves_as_it_is_granted_gives_it_back() -> None:
    async def work() -> None:
        own: Turns[str] = Turns()
        leaving = asyncio.create_task(own.take("one"))
        await asyncio.sleep(0)
        own.add("a")
        leaving.cancel()
        await asyncio.gather(leaving, return_exceptions=True)
        assert leaving.cancelled()
        assert await own.take("other") == "a"

    asyncio.run(work())
