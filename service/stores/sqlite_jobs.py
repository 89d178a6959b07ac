"""Jobs in a SQLite file, in shards that are leased to workers of all processes."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence

from service.stores import sqlite_shards as shards
from service.stores.base import Figures, Job, JobLimits, Jobs, Lease, Shard, Signal, State
from service.stores.sqlite_file import SqliteFile
from service.stores.sqlite_line import line

_JOB = """
select key, run, kind, spec, state,
(select json_group_array(asker) from
 (select asker from wants where wants.job = job.number order by wants.number)),
stage, shards, recorded, spent, progress, outcome, error, version, created, began, ended, number
from job where key = ?
"""
_LAPSED = "select exists (select 1 from shard where state = 'leased' and expires <= ?)"
_OPEN = "select exists (select 1 from shard where state = 'open')"
_PLACE = """
select j.number, s.stage, s.number from job j
join shard s on s.job = j.number and s.stage = ? and s.number = ?
where j.key = ? and j.run = ? and s.epoch = ? and s.state = 'open'
"""
_RESULTS = """
select s.result from shard s join job j on j.number = s.job
where j.key = ? and j.run = ? and s.stage = ? and s.result is not null and exists
(select 1 from shard p where p.job = j.number and p.stage = ? and p.number = 0 and p.token = ?)
order by s.number
"""
_FIGURES = """
select
(select count(*) from job where closed = 0),
(select count(*) from shard where state = 'open'),
(select count(*) from shard where state = 'leased' and expires > :now),
(select count(*) from shard where state = 'leased' and expires <= :now),
(select min(opened) from shard where state = 'open'),
(select min(expires) from shard where state = 'leased'),
(select count(*) from worker where until > :now),
(select value from figure where name = 'lapsed'),
(select value from figure where name = 'failed')
"""


class SqliteJobs(Jobs):
    """Jobs in a file. The rows of ``shard`` are those of a job's stage and of the one before.

    What was submitted outlives a power failure at once. What was done since the last such moment
    may have to be done again after one, with the same outcome.
    """

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def submit(self, key: str, kind: str, spec: str, asker: str, limits: JobLimits) -> Job:
        known = self.job(key)
        if known is not None and _stays(known, asker):
            return known
        with self._file.writing(durable=True) as connection:
            now = self._file.now(connection)
            found = _row(connection, key)
            if found is not None:
                known, number = found
                if _stays(known, asker):
                    return known
                if known.state in (State.WAITING, State.RUNNING):
                    shards.allow(connection, asker, limits, False, now)
                    _want(connection, number, asker)
                    return _job(connection, key)
            shards.allow(connection, asker, limits, True, now)
            _begin(connection, key, kind, spec, asker, now)
            shards.make_room(connection, now)
            return _job(connection, key)

    def job(self, key: str) -> Job | None:
        with self._file.reading() as connection:
            found = _row(connection, key)
        return None if found is None else found[0]

    def stop(self, key: str, asker: str) -> Job | None:
        with self._file.writing() as connection:
            found = _row(connection, key)
            if found is None:
                return None
            job, number = found
            if job.state.over or asker not in job.askers:
                return job
            now = self._file.now(connection)
            connection.execute("delete from wants where job = ? and asker = ?", (number, asker))
            connection.execute("update job set version = version + 1 where number = ?", (number,))
            if len(job.askers) == 1:
                if job.state is State.WAITING:
                    shards.close(connection, number, State.STOPPED, "", "", now)
                else:
                    shards.stop_now(connection, number, job.stage, now)
            return _job(connection, key)

    def lease(self, worker: str, seconds: float, only: Shard | None = None) -> Lease | None:
        # A look before a write: workers that wait do not keep the others from writing.
        with self._file.reading() as connection:
            now = self._file.now(connection)
            if not (_true(connection, _OPEN) or _true(connection, _LAPSED, now)):
                return None
        with self._file.writing() as connection:
            now = self._file.now(connection)
            shards.take_back(connection, now)
            if only is not None:
                place = connection.execute(
                    _PLACE, (only.stage, only.number, only.job, only.run, only.epoch)
                ).fetchone()
            else:
                place = next((row[:3] for row in line(connection, 1)), None)
            if place is None:
                return None
            return shards.leased(connection, place, worker, seconds, now)

    def renew(self, lease: Lease, seconds: float, spent: float, progress: str = "") -> Signal:
        with self._file.writing() as connection:
            now = self._file.now(connection)
            held = shards.held(connection, lease, now)
            if held is None:
                return Signal.LOST
            connection.execute(
                "update shard set expires = ? where job = ? and stage = ? and number = ?",
                (now + seconds, held.job, held.stage, held.number),
            )
            shards.charge(connection, held.job, spent, now)
            _tell(connection, held.job, progress)
        return Signal.STOP if held.state is State.STOPPING else Signal.GO_ON

    def record(self, lease: Lease, result: bytes, spent: float, seconds: float) -> Lease | None:
        with self._file.writing() as connection:
            now = self._file.now(connection)
            held = shards.held(connection, lease, now)
            if held is None or not held.number:
                return None
            connection.execute(
                "update shard set state = 'done', result = ?, payload = '', token = null "
                "where job = ? and stage = ? and number = ?",
                (result, held.job, held.stage, held.number),
            )
            connection.execute(
                "update job set recorded = recorded + 1, version = version + 1 where number = ?",
                (held.job,),
            )
            shards.charge(connection, held.job, spent, now)
            if not shards.plan_if_none_left(connection, held.job, held.stage, now):
                return None
            place = (held.job, held.stage + 1, 0)
            return shards.leased(connection, place, held.worker, seconds, now)

    def results(self, lease: Lease) -> list[bytes]:
        shard = lease.shard
        with self._file.reading() as connection:
            rows = connection.execute(
                _RESULTS, (shard.job, shard.run, shard.stage - 1, shard.stage, lease.token)
            ).fetchall()
        return [bytes(row[0]) for row in rows]

    def plan(self, lease: Lease, parts: Sequence[bytes], spent: float, progress: str) -> Signal:
        if not parts:
            raise ValueError("a plan has at least one part")
        with self._file.writing() as connection:
            now = self._file.now(connection)
            held = shards.held(connection, lease, now)
            if held is None or held.number:
                return Signal.LOST
            shards.charge(connection, held.job, spent, now)
            _tell(connection, held.job, progress)
            if held.state is State.STOPPING:
                return Signal.STOP
            # With the plan, what it was made from has served its time.
            connection.execute("delete from shard where job = ?", (held.job,))
            shards.add_shards(connection, held.job, held.stage, parts, 1, now)
            connection.execute(
                "update job set shards = ?, recorded = 0, version = version + 1 where number = ?",
                (len(parts), held.job),
            )
        return Signal.GO_ON

    def end(self, lease: Lease, state: State, outcome: str, error: str, spent: float) -> bool:
        if not state.over:
            raise ValueError(f"a job that is {state} is not over")
        with self._file.writing() as connection:
            now = self._file.now(connection)
            held = shards.held(connection, lease, now)
            if held is None or (held.number and state is not State.FAILED):
                return False
            shards.charge(connection, held.job, spent, now)
            shards.close(connection, held.job, state, outcome, error, now)
        return True

    def give_back(self, lease: Lease, spent: float) -> None:
        self._let_go(lease, spent, None)

    def fail(self, lease: Lease, reason: str, spent: float) -> None:
        self._let_go(lease, spent, reason)

    def _let_go(self, lease: Lease, spent: float, reason: str | None) -> None:
        with self._file.writing() as connection:
            now = self._file.now(connection)
            held = shards.held(connection, lease, now)
            if held is not None:
                shards.charge(connection, held.job, spent, now)
                shards.open_again(connection, held, now, reason)

    def present(self, worker: str, seconds: float) -> None:
        with self._file.writing() as connection:
            now = self._file.now(connection)
            connection.execute("delete from worker where until <= ? or name = ?", (now, worker))
            if seconds > 0:
                connection.execute("insert into worker values (?, ?)", (worker, now + seconds))

    def waiting(self, most: int) -> list[Shard]:
        with self._file.reading() as connection:
            lapsed = _true(connection, _LAPSED, self._file.now(connection))
        if lapsed:
            with self._file.writing() as connection:
                shards.take_back(connection, self._file.now(connection))
        with self._file.snapshot() as connection:
            names: dict[int, tuple[str, int]] = {}
            found = []
            for number, stage, part, epoch in line(connection, most):
                if number not in names:
                    names[number] = connection.execute(
                        "select key, run from job where number = ?", (number,)
                    ).fetchone()
                found.append(Shard(*names[number], stage, part, epoch))
        return found

    def figures(self) -> Figures:
        with self._file.reading() as connection:
            now = self._file.now(connection)
            row = connection.execute(_FIGURES, {"now": now}).fetchone()
        jobs, waiting, at_work, ran_out, opened, expires, workers, lapsed, failed = row
        since = min(now if time is None else time for time in (opened, expires))
        return Figures(
            jobs,
            waiting + ran_out,
            at_work,
            max(0.0, now - since),
            workers,
            int(lapsed),
            int(failed),
        )


def _stays(job: Job, asker: str) -> bool:
    """Return whether a job is as it should be for somebody who asks for it."""
    return job.state is State.DONE or (
        job.state in (State.WAITING, State.RUNNING) and asker in job.askers
    )


def _row(connection: sqlite3.Connection, key: str) -> tuple[Job, int] | None:
    """Return a job and its number in the tables."""
    row = connection.execute(_JOB, (key,)).fetchone()
    if row is None:
        return None
    *fields, number = row
    fields[4], fields[5] = State(fields[4]), tuple(json.loads(fields[5]))
    return Job(*fields), number


def _job(connection: sqlite3.Connection, key: str) -> Job:
    found = _row(connection, key)
    assert found is not None
    return found[0]


def _begin(
    connection: sqlite3.Connection, key: str, kind: str, spec: str, asker: str, now: float
) -> None:
    """Make a job, or make one that is there new."""
    row = connection.execute("select number from job where key = ?", (key,)).fetchone()
    if row is not None:
        connection.execute("delete from shard where job = ?", row)
        connection.execute("delete from wants where job = ?", row)
        connection.execute(
            "update job set run = run + 1, kind = ?, spec = ?, state = ?, stage = 0, shards = 0, "
            "recorded = 0, spent = 0.0, doublings = 0, progress = '', outcome = '', error = '', "
            "created = ?, began = 0.0, ended = 0.0, closed = 0 where number = ?",
            (kind, spec, State.WAITING, now, *row),
        )
        number = int(row[0])
    else:
        number = (
            connection.execute(
                "insert into job (key, run, kind, spec, state, version, created) "
                "values (?, 1, ?, ?, ?, 0, ?)",
                (key, kind, spec, State.WAITING, now),
            ).lastrowid
            or 0
        )
    _want(connection, number, asker)
    shards.add_shards(connection, number, 0, [b""], 0, now)


def _want(connection: sqlite3.Connection, number: int, asker: str) -> None:
    connection.execute("insert into wants (job, asker) values (?, ?)", (number, asker))
    connection.execute("update job set version = version + 1 where number = ?", (number,))


def _tell(connection: sqlite3.Connection, number: int, progress: str) -> None:
    """Replace a job's progress, if there is anything to tell that was not told before."""
    if progress:
        connection.execute(
            "update job set progress = ?, version = version + 1 where number = ? and progress != ?",
            (progress, number, progress),
        )


def _true(connection: sqlite3.Connection, query: str, *values: float) -> bool:
    return bool(connection.execute(query, values).fetchone()[0])
