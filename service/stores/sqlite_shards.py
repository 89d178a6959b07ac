"""What happens to jobs and shards inside a transaction on a SQLite file."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from service.settings import MOST_ATTEMPTS, MOST_JOBS
from service.stores.base import JobLimits, Lease, Shard, State, doublings
from service.stores.wording import (
    LAPSED,
    too_many_of_all,
    too_many_own,
    too_much_computing,
)

#: How many minutes of an asker's computing are counted together.
HOUR = 60

_FIND = """
select j.number, j.state, s.failures, s.worker from job j
join shard s on s.job = j.number and s.stage = ? and s.number = ?
where j.key = ? and j.run = ? and s.state = 'leased' and s.token = ? and s.expires > ?
"""


@dataclass(frozen=True)
class Held:
    """A shard under a lease that is in force; ``job`` is the job's number in the tables."""

    job: int
    state: State
    stage: int
    number: int
    failures: int
    worker: str


def held(connection: sqlite3.Connection, lease: Lease, now: float) -> Held | None:
    """Return what a lease is on, None if it is no more in force."""
    shard = lease.shard
    row = connection.execute(
        _FIND, (shard.stage, shard.number, shard.job, shard.run, lease.token, now)
    ).fetchone()
    if row is None:
        return None
    return Held(row[0], State(row[1]), shard.stage, shard.number, row[2], row[3])


def leased(
    connection: sqlite3.Connection,
    place: tuple[int, int, int],
    worker: str,
    seconds: float,
    now: float,
) -> Lease:
    """Lease the shard at a place: its job's number, its stage, its own number."""
    token = secrets.token_hex(16)
    epoch, failures, payload = connection.execute(
        "update shard set state = 'leased', token = ?, worker = ?, expires = ? "
        "where job = ? and stage = ? and number = ? returning epoch, failures, payload",
        (token, worker, now + seconds, *place),
    ).fetchone()
    job, stage, number = place
    connection.execute(
        "update job set state = ?, began = ?, version = version + 1 where number = ? and state = ?",
        (State.RUNNING, now, job, State.WAITING),
    )
    key, run, kind, spec, began, spent = connection.execute(
        "select key, run, kind, spec, began, spent from job where number = ?", (job,)
    ).fetchone()
    shard = Shard(key, run, stage, number, epoch)
    return Lease(
        shard, kind, spec, bytes(payload), token, failures + 1, began, spent, now, now + seconds
    )


def take_back(connection: sqlite3.Connection, now: float) -> None:
    """Open again what is leased and ran out."""
    rows = connection.execute(
        "select j.number, j.state, s.stage, s.number, s.failures, s.worker from shard s "
        "join job j on j.number = s.job where s.state = 'leased' and s.expires <= ?",
        (now,),
    ).fetchall()
    for job, state, stage, number, failures, worker in rows:
        count(connection, "lapsed")
        shard = Held(job, State(state), stage, number, failures, worker)
        if _is_leased(connection, shard):
            open_again(connection, shard, now, LAPSED)


def _is_leased(connection: sqlite3.Connection, shard: Held) -> bool:
    """Return whether a shard is there still: its job may have failed with the one before."""
    row = connection.execute(
        "select state from shard where job = ? and stage = ? and number = ?",
        (shard.job, shard.stage, shard.number),
    ).fetchone()
    return row is not None and row[0] == "leased"


def open_again(connection: sqlite3.Connection, shard: Held, now: float, reason: str | None) -> None:
    """Open a shard whose lease ended without a result; ``reason`` where that counts as a failure.

    Too many failures end the job. A part of a job that is STOPPING is dropped.
    """
    place = (shard.job, shard.stage, shard.number)
    if shard.state is State.STOPPING and shard.number:
        connection.execute("delete from shard where job = ? and stage = ? and number = ?", place)
        plan_if_none_left(connection, shard.job, shard.stage, now)
        return
    failures = shard.failures + (reason is not None)
    if reason is not None and failures >= MOST_ATTEMPTS:
        close(connection, shard.job, State.FAILED, "", reason, now)
        return
    connection.execute(
        "update shard set state = 'open', epoch = epoch + 1, failures = ?, opened = ?, "
        "token = null, worker = null where job = ? and stage = ? and number = ?",
        (failures, now, *place),
    )


def plan_if_none_left(connection: sqlite3.Connection, job: int, stage: int, now: float) -> bool:
    """Open the next stage's plan if nothing of a stage is to be done; return whether it is."""
    for state in ("open", "leased"):
        # The state stands in the text, so that the index of those in this state is taken.
        if connection.execute(
            f"select 1 from shard where job = ? and state = '{state}' limit 1", (job,)
        ).fetchone():
            return False
    add_shards(connection, job, stage + 1, [b""], 0, now)
    connection.execute(
        "update job set stage = ?, shards = 0, recorded = 0, version = version + 1 "
        "where number = ?",
        (stage + 1, job),
    )
    return True


def add_shards(
    connection: sqlite3.Connection,
    job: int,
    stage: int,
    payloads: Sequence[bytes],
    first: int,
    now: float,
) -> None:
    """Open shards with these payloads, numbered from ``first``."""
    connection.executemany(
        "insert into shard (job, stage, number, opened, payload) values (?, ?, ?, ?, ?)",
        [(job, stage, first + k, now, payload) for k, payload in enumerate(payloads)],
    )


def stop_now(connection: sqlite3.Connection, job: int, stage: int, now: float) -> None:
    """Make a job STOPPING: its open parts are dropped, and the plan follows the last lease."""
    connection.execute("update job set state = ? where number = ?", (State.STOPPING, job))
    connection.execute("delete from shard where job = ? and state = 'open' and number > 0", (job,))
    plan_if_none_left(connection, job, stage, now)


def close(
    connection: sqlite3.Connection, job: int, state: State, outcome: str, error: str, now: float
) -> None:
    """End a job."""
    connection.execute("delete from shard where job = ?", (job,))
    connection.execute(
        "update job set state = ?, spec = '', outcome = ?, error = ?, ended = ?, closed = 1, "
        "version = version + 1 where number = ?",
        (state, outcome, error, now, job),
    )
    connection.execute("update wants set closed = 1 where job = ?", (job,))
    if state is State.FAILED:
        count(connection, "failed")


def count(connection: sqlite3.Connection, name: str) -> None:
    """Count one more of something."""
    connection.execute("update figure set value = value + 1 where name = ?", (name,))


def charge(connection: sqlite3.Connection, job: int, spent: float, now: float) -> None:
    """Add seconds of computing to a job and to everybody who wants it."""
    if spent <= 0:
        return
    total, known = connection.execute(
        "update job set spent = spent + ? where number = ? returning spent, doublings",
        (spent, job),
    ).fetchone()
    if doublings(total) != known:
        connection.execute("update job set doublings = ? where number = ?", (doublings(total), job))
    connection.execute(
        "insert into spending select asker, ?, ? from wants where job = ? "
        "on conflict do update set seconds = seconds + excluded.seconds",
        (_minute(now), spent, job),
    )


def allow(
    connection: sqlite3.Connection, asker: str, limits: JobLimits, new: bool, now: float
) -> None:
    """Raise TooManyError if an asker may not want one job more; ``new`` if it is to be begun."""
    each = connection.execute(
        "select count(*) from wants where asker = ? and closed = 0", (asker,)
    ).fetchone()[0]
    if each >= limits.open_each:
        raise too_many_own(each, limits.open_each)
    if new:
        every = connection.execute("select count(*) from job where closed = 0").fetchone()[0]
        if every >= limits.open_all:
            raise too_many_of_all(every, limits.open_all)
    spent, first = connection.execute(
        "select total(seconds), min(minute) from spending where asker = ? and minute > ?",
        (asker, _minute(now) - HOUR),
    ).fetchone()
    if spent >= limits.spent_each:
        again = int((first + HOUR) * 60 - now) + 1 if first is not None else 0
        raise too_much_computing(spent, limits.spent_each, again)


def make_room(connection: sqlite3.Connection, now: float) -> None:
    """Forget the jobs that ended first where there are too many, and computing of long ago."""
    connection.execute("delete from spending where minute <= ?", (_minute(now) - HOUR,))
    there = connection.execute("select count(*) from job").fetchone()[0]
    if there <= MOST_JOBS:
        return
    rows = connection.execute(
        "select number from job where closed = 1 order by ended, number limit ?",
        (there - MOST_JOBS,),
    ).fetchall()
    connection.executemany("delete from wants where job = ?", rows)
    connection.executemany("delete from job where number = ?", rows)


def _minute(now: float) -> int:
    return int(now // 60)
