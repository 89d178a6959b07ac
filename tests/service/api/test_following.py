"""Jobs that are followed: one look for all, and never back to what was seen before."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from service.api import following
from service.api.following import Following
from service.stores.base import Job, State, StoreError

JOB = Job("key", 1, "find", "{}", State.WAITING, (), 0, 1, 0, 0.0, "", "", "", 1, 0.0, 0.0, 0.0)
DONE = replace(JOB, state=State.DONE, version=2)


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(following, "LOOK_SECONDS", 0.01)
    monkeypatch.setattr(following, "AWAY_SECONDS", 0.01)


def test_many_who_follow_are_one_look() -> None:
    looks = []

    async def look(key: str) -> Job:
        looks.append(key)
        return DONE if len(looks) > 3 else JOB

    async def work() -> None:
        own = Following(look)
        jobs = await asyncio.gather(*(own.over("key", 5.0) for _ in range(20)))
        assert jobs == [DONE] * 20
        assert len(looks) == 4
        await asyncio.sleep(0.05)
        assert len(looks) == 4, "nobody follows it any more"

    asyncio.run(work())


def test_a_look_that_began_before_is_not_taken() -> None:
    """The job had ended as stopped; while that is fetched, somebody begins it anew."""
    stopped = replace(JOB, state=State.STOPPED, version=5)
    anew = replace(JOB, run=2, version=6)
    fetching, told = asyncio.Event(), asyncio.Event()

    async def look(key: str) -> Job:
        if not told.is_set():
            fetching.set()
            await told.wait()
            return stopped
        return anew

    async def work() -> None:
        own = Following(look)
        waiting = asyncio.create_task(own.over("key", 0.3))
        await fetching.wait()
        await own.tell("key", anew)
        told.set()
        assert await waiting == anew

    asyncio.run(work())


def test_a_store_that_is_away_is_waited_for() -> None:
    tries = []

    async def look(key: str) -> Job:
        tries.append(key)
        if len(tries) < 3:
            raise StoreError("away")
        return DONE

    async def work() -> None:
        assert await Following(look).over("key", 5.0) == DONE

    asyncio.run(work())


def test_a_look_that_fails_in_any_way_is_taken_again() -> None:
    tries = []

    async def look(key: str) -> Job:
        tries.append(key)
        if len(tries) < 3:
            raise ValueError("what nobody thought of")
        return DONE

    async def work() -> None:
        assert await Following(look).over("key", 5.0) == DONE

    asyncio.run(work())


def test_leaving_lets_nobody_wait() -> None:
    async def look(key: str) -> Job:
        return JOB

    async def work() -> None:
        own = Following(look)
        waiting = asyncio.create_task(own.over("key", 60.0))
        await asyncio.sleep(0.05)
        await own.leave()
        assert await asyncio.wait_for(waiting, 1.0) == JOB
        await own.close()

    asyncio.run(work())
