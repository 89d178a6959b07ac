"""Readers as real processes: they answer, are limited in time and memory, and are replaced."""

from __future__ import annotations

import asyncio
import json
import os
import signal
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from service import readers as module
from service.questions import FindQuestion
from service.readers import BusyError, GoneError, Readers, TooLongError
from service.reading import RefusedError, Reply, reply_to
from service.stores.base import StoreError
from service.stores.sqlite import SqliteStore

EFFECT = {"do": "effect", "puzzle": "3x3x3", "sequence": "R U R' U'"}
QUESTION = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"]}


def run(
    work: Callable[[Readers], Coroutine[Any, Any, None]],
    folder: Path,
    size: int = 1,
    seconds: float = 20.0,
    memory: int = 2_000,
    queue: int = 50,
) -> None:
    """Run work with readers that are ready."""

    async def own() -> None:
        pool = Readers(str(folder / "store.sqlite"), size, seconds, memory, queue)
        await pool.start()
        try:
            await ready(pool, size)
            await work(pool)
        finally:
            await pool.close()

    asyncio.run(own())


async def ready(pool: Readers, size: int) -> None:
    async with asyncio.timeout(40):
        while pool.ready < size:
            await asyncio.sleep(0.02)


def processes(pool: Readers) -> list[int]:
    return [reader._process.pid for reader in pool._all]


def test_a_reader_reads_what_a_desk_does(tmp_path: Path) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")

    async def work(pool: Readers) -> None:
        for message in (
            EFFECT,
            {"do": "ask", "kind": "find", "question": QUESTION},
            {"do": "catalogue"},
            {"do": "picture", "puzzle": "2x2x2", "cycle": "UFR,UBL,DFR", "sequence": None},
        ):
            assert await pool.reply(message) == reply_to(store, message)

    run(work, tmp_path)
    store.close()


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"puzzle": "../../etc/passwd"}, "puzzle"),
        ({"puzzle": "p-0123456789abcdef"}, "puzzle"),
        ({"layers": ["U", "Q"]}, "layers"),
        ({"keep": ["edge"], "free": ["corner"]}, "keep"),
        ({"keep": ["wing"]}, "keep"),
        ({"free": ["wing"]}, "free"),
        ({"cycle": ["UFR", "UFR", "DFL"]}, "cycle"),
        ({"cycle": ["<script>", "UBL", "DFL"]}, "cycle"),
        ({"weights": {"beauty": 1}}, "weights"),
    ],
)
def test_what_is_wrong_is_pointed_at(tmp_path: Path, change: dict[str, Any], field: str) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    question = FindQuestion.model_validate({**QUESTION, **change})
    message = {"do": "ask", "kind": "find", "question": question.model_dump(exclude_defaults=True)}
    with pytest.raises(RefusedError) as caught:
        reply_to(store, message)
    assert (caught.value.kind, caught.value.where) == ("refused", field)
    store.close()


def test_what_takes_too_long_is_ended_and_the_reader_replaced(tmp_path: Path) -> None:
    async def work(pool: Readers) -> None:
        (before,) = processes(pool)
        os.kill(before, signal.SIGSTOP)
        with pytest.raises(TooLongError):
            await pool.reply(EFFECT)
        await ready(pool, 1)
        (after,) = processes(pool)
        assert after != before
        assert json.loads((await pool.reply(EFFECT)).body)["order"] == 6
        with pytest.raises(ProcessLookupError):
            os.kill(before, 0)

    run(work, tmp_path, seconds=1.5)


def test_a_reader_that_died_is_replaced_and_nobody_notices(tmp_path: Path) -> None:
    async def work(pool: Readers) -> None:
        for victim in processes(pool):
            os.kill(victim, signal.SIGKILL)
        assert json.loads((await pool.reply(EFFECT)).body)["order"] == 6

    run(work, tmp_path)


def test_a_message_that_kills_readers_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def work(pool: Readers) -> None:
        async def dies(self: Any, message: Any) -> None:
            self._process.kill()
            raise ConnectionResetError

        with monkeypatch.context() as patch:
            patch.setattr(module._Reader, "exchange", dies)
            with pytest.raises(GoneError):
                await pool.reply(EFFECT)
        assert json.loads((await pool.reply(EFFECT)).body)["order"] == 6

    run(work, tmp_path)


def test_only_so_many_wait(tmp_path: Path) -> None:
    async def work(pool: Readers) -> None:
        (only,) = processes(pool)
        os.kill(only, signal.SIGSTOP)
        waiting = [asyncio.create_task(pool.reply(EFFECT)) for _ in range(3)]
        await asyncio.sleep(0.1)
        with pytest.raises(BusyError):
            await pool.reply(EFFECT)
        os.kill(only, signal.SIGCONT)
        done = await asyncio.gather(*waiting)
        assert all(isinstance(reply, Reply) for reply in done)

    run(work, tmp_path, queue=2)


def test_who_has_most_in_the_queue_is_refused_and_nobody_else(tmp_path: Path) -> None:
    async def work(pool: Readers) -> None:
        os.kill(processes(pool)[0], signal.SIGSTOP)
        doing = [asyncio.create_task(pool.reply(EFFECT, "one")) for _ in range(4)]
        await asyncio.sleep(0.05)
        other = asyncio.create_task(pool.reply(EFFECT, "other"))
        await asyncio.sleep(0.05)
        os.kill(processes(pool)[0], signal.SIGCONT)
        assert isinstance(await other, Reply)
        told = await asyncio.gather(*doing, return_exceptions=True)
        assert [isinstance(one, BusyError) for one in told] == [False, False, False, True]

    run(work, tmp_path, queue=3)


def test_a_reader_that_the_system_refuses_is_started_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begin = asyncio.create_subprocess_exec
    refused = [OSError(11, "no more processes"), ValueError("no more file descriptors")]

    async def hindered(*args: Any, **more: Any) -> asyncio.subprocess.Process:
        if refused:
            raise refused.pop()
        return await begin(*args, **more)

    monkeypatch.setattr(module, "FIRST_PAUSE", 0.01)
    monkeypatch.setattr(asyncio, "create_subprocess_exec", hindered)

    async def work(pool: Readers) -> None:
        assert isinstance(await pool.reply(EFFECT), Reply)

    run(work, tmp_path)
    assert not refused


def test_who_leaves_takes_no_reader_along(tmp_path: Path) -> None:
    async def work(pool: Readers) -> None:
        (before,) = processes(pool)
        leaving = asyncio.create_task(pool.reply(EFFECT))
        await asyncio.sleep(0)
        leaving.cancel()
        with pytest.raises(asyncio.CancelledError):
            await leaving
        other = {**EFFECT, "sequence": "U"}
        assert json.loads((await pool.reply(other)).body)["order"] == 4
        assert processes(pool) == [before]

    run(work, tmp_path)


def test_memory_is_limited(tmp_path: Path) -> None:
    """A store in a file that cannot be read is told; the limit is that of the system."""

    async def work(pool: Readers) -> None:
        (only,) = processes(pool)
        limits = Path(f"/proc/{only}/limits").read_text().splitlines()
        (line,) = [line for line in limits if line.startswith("Max address space")]
        assert line.split()[3] == "1500000000"

    run(work, tmp_path, memory=1_500)


def test_a_store_that_is_away_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "store.sqlite").write_text("this is no database, and never was one " * 50)

    async def work(pool: Readers) -> None:
        with pytest.raises(StoreError):
            await pool.reply({"do": "puzzle", "puzzle": "p-0123456789abcdef"})
        assert json.loads((await pool.reply(EFFECT)).body)["order"] == 6

    run(work, tmp_path)


def test_a_reader_runs_no_code_of_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "numpy.py").write_text("raise SystemExit(1)")
    monkeypatch.chdir(tmp_path)

    async def work(pool: Readers) -> None:
        assert (await pool.reply(EFFECT)).body

    run(work, tmp_path)
