"""Which open shards are next, inside a transaction: fair shares, then short jobs before long."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator
from itertools import groupby

#: A shard as it stands in the tables: number of the job, stage, number, epoch.
Row = tuple[int, int, int, int]

_STOPPING = """
select s.job, s.stage, s.number, s.epoch from job j join shard s on s.job = j.number
where j.state = 'stopping' and s.state = 'open'
order by j.doublings, j.created, j.number, s.number limit ?
"""
#: How many leases there are for each asker. A lease counts for everybody who wants the job.
_LEASES = """
select w.asker, count(*) from shard s join wants w on w.job = s.job
where s.state = 'leased' group by w.asker
"""
#: Jobs with something to do, and who wants them. Read row by row: often the first is the one.
_JOBS = """
select j.number, w.asker from job j indexed by job_line cross join wants w on w.job = j.number
where j.closed = 0 and j.state != 'stopping'
and exists (select 1 from shard s where s.job = j.number and s.state = 'open')
order by j.doublings, j.created, j.number
"""
_NEXT_ASKER = "select min(asker) from wants where closed = 0 and asker > ?"
_HAS_OPEN = """
select 1 from wants w where w.closed = 0 and w.asker = ?
and exists (select 1 from shard s where s.job = w.job and s.state = 'open') limit 1
"""
_OPEN = """
select job, stage, number, epoch from shard where job = ? and state = 'open'
order by number limit ?
"""


class _Waiting:
    """A job with open shards: who wants it, and those that are next."""

    def __init__(self, connection: sqlite3.Connection, job: int, askers: list[str]) -> None:
        self._connection = connection
        self._job = job
        self.askers = askers
        self._rows: list[Row] | None = None

    def take(self, most: int) -> Row:
        if self._rows is None:
            self._rows = self._connection.execute(_OPEN, (self._job, most)).fetchall()
            self._rows.reverse()
        return self._rows.pop()

    @property
    def empty(self) -> bool:
        return not self._rows


def line(connection: sqlite3.Connection, most: int) -> list[Row]:
    """Return the open shards that are next, at most so many, as if each were leased in turn."""
    found: list[Row] = connection.execute(_STOPPING, (most,)).fetchall()
    if len(found) == most:
        return found
    leases = Counter[str](dict(connection.execute(_LEASES)))
    loaded: list[_Waiting] = []
    cursor = connection.execute(_JOBS)
    rest = (
        _Waiting(connection, job, [asker for _, asker in rows])
        for job, rows in groupby(cursor, key=lambda row: int(row[0]))
    )
    while len(found) < most:
        best = _best(loaded, rest, leases, _fewest(connection, leases))
        if best is None:
            break
        found.append(best.take(most))
        if best.empty:
            loaded.remove(best)
        leases.update(best.askers)
    cursor.close()
    return found


def _best(
    loaded: list[_Waiting], rest: Iterator[_Waiting], leases: Counter[str], least: int
) -> _Waiting | None:
    """Return the first job of those whose askers have the fewest leases, None for no job.

    ``least``: no asker with something to do has fewer.
    """
    best, fewest = None, 0
    for job in _each(loaded, rest):
        count = min(leases[asker] for asker in job.askers)
        if best is None or count < fewest:
            best, fewest = job, count
        if count <= least:
            break
    return best


def _fewest(connection: sqlite3.Connection, leases: Counter[str]) -> int:
    """Return the fewest leases of anybody for whom there is something to do.

    Whoever wants a job that is not over, and has no lease, has an open shard. Askers are looked up
    one after the other in the index, as many as have leases and one.
    """
    asker = ""
    while True:
        [asker] = connection.execute(_NEXT_ASKER, (asker,)).fetchone()
        if asker is None:
            break
        if not leases[asker]:
            return 0
    for asker, count in sorted(leases.items(), key=lambda item: item[1]):
        if connection.execute(_HAS_OPEN, (asker,)).fetchone():
            return count
    return 0


def _each(loaded: list[_Waiting], rest: Iterator[_Waiting]) -> Iterator[_Waiting]:
    """Give what was loaded, then load what is left, one at a time."""
    yield from loaded
    for job in rest:
        loaded.append(job)
        yield job
