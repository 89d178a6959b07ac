"""The tables of a store in one SQLite file: made in a new one, recognised, brought up to date."""

from __future__ import annotations

import contextlib
import random
import sqlite3
import time
from collections.abc import Iterator

from service import settings

#: Goes up when the tables change; a file of a version that is not known is left alone.
VERSION = 2
#: Marks the file as ours, in SQLite's application_id.
APPLICATION = 0x7EF01

#: How long SQLite itself waits for a turn to write before it is asked anew, in milliseconds.
_LOOKS_MS = 8
#: What each version adds to the one before.
_ADDED: dict[int, tuple[str, ...]] = {
    1: (
        """
        create table level (
            key text not null,
            half_length integer not null,
            digest blob not null,
            data blob not null,
            used integer not null,
            primary key (key, half_length)
        )
        """,
    ),
    2: (
        # ``number`` is the order in which they came; ``closed`` is 1 when a job is over.
        """
        create table job (
            number integer primary key,
            key text not null unique,
            run integer not null,
            kind text not null,
            spec text not null,
            state text not null,
            stage integer not null default 0,
            shards integer not null default 0,
            recorded integer not null default 0,
            spent real not null default 0.0,
            doublings integer not null default 0,
            progress text not null default '',
            outcome text not null default '',
            error text not null default '',
            version integer not null default 1,
            created real not null,
            began real not null default 0.0,
            ended real not null default 0.0,
            closed integer not null default 0
        )
        """,
        "create index job_line on job (doublings, created, number) where closed = 0",
        "create index job_stopping on job (doublings, created, number) where state = 'stopping'",
        "create index job_over on job (ended, number) where closed = 1",
        # Who wants a job, in the order in which they came.
        """
        create table wants (
            number integer primary key,
            job integer not null,
            asker text not null,
            closed integer not null default 0,
            unique (job, asker)
        )
        """,
        "create index wants_asker on wants (asker) where closed = 0",
        # ``state`` is open, leased or done; ``failures`` counts leases that ran out or failed.
        """
        create table shard (
            job integer not null,
            stage integer not null,
            number integer not null,
            epoch integer not null default 0,
            state text not null default 'open',
            failures integer not null default 0,
            opened real not null,
            expires real not null default 0.0,
            token text,
            worker text,
            payload blob not null,
            result blob,
            primary key (job, stage, number)
        )
        """,
        "create index shard_open on shard (job, number) where state = 'open'",
        "create index shard_opened on shard (opened) where state = 'open'",
        "create index shard_leased on shard (job) where state = 'leased'",
        "create index shard_expires on shard (expires) where state = 'leased'",
        # Seconds of computing for each asker, by minutes since 1970.
        """
        create table spending (
            asker text not null,
            minute integer not null,
            seconds real not null,
            primary key (asker, minute)
        ) without rowid
        """,
        "create index spending_minute on spending (minute)",
        "create table worker (name text primary key, until real not null) without rowid",
        # ``number`` is the order in which they were put.
        """
        create table thing (
            number integer primary key,
            kind text not null,
            name text not null,
            used integer not null,
            size integer not null,
            data blob not null,
            unique (kind, name)
        )
        """,
        "create index thing_kind on thing (kind)",
        "create index thing_used on thing (kind, used)",
        "create table club (number text primary key, name text not null, created real not null, "
        "last integer not null default 0) without rowid",
        "create table link (hash text primary key, club text not null, role text not null, "
        "unique (club, role)) without rowid",
        """
        create table item (
            club text not null,
            number integer not null,
            added real not null,
            data text not null,
            primary key (club, number)
        )
        """,
        # What is counted since the store began.
        "create table figure (name text primary key, value real not null) without rowid",
        "insert into figure values ('lapsed', 0), ('failed', 0), ('evicted bytes', 0), "
        "('checked', 0)",
    ),
}


class NotOursError(sqlite3.DatabaseError):
    """The file is no store of ours, or one of a version that is not known."""


def prepare(connection: sqlite3.Connection) -> None:
    """Make the tables in a new file, or add what an older version lacks; raises sqlite3.Error."""
    if version_of(connection) == VERSION:
        return
    with immediate(connection):
        # Another process may have done it in between.
        there = version_of(connection)
        if there == VERSION:
            return
        for version in range(there + 1, VERSION + 1):
            for statement in _ADDED[version]:
                connection.execute(statement)
        connection.execute(f"pragma application_id = {APPLICATION}")
        connection.execute(f"pragma user_version = {VERSION}")


def version_of(connection: sqlite3.Connection) -> int:
    """Return the version of the tables, 0 for a new file; raises NotOursError."""
    # The tables are counted first: where there are some, the rest was written with them.
    tables, version, application = (
        int(connection.execute(query).fetchone()[0])
        for query in (
            "select count(*) from sqlite_master",
            "pragma user_version",
            "pragma application_id",
        )
    )
    if not tables:
        return 0
    if application != APPLICATION:
        raise NotOursError("it is a database of another program")
    if not 1 <= version <= VERSION:
        raise NotOursError(
            f"it was written by another version of trefoil ({version}, this one has {VERSION})"
        )
    return version


@contextlib.contextmanager
def immediate(connection: sqlite3.Connection, patient: bool = True) -> Iterator[None]:
    """Write all of what is inside, or nothing of it.

    Who is not ``patient`` does not wait for others that write.
    """
    _begin(connection, settings.BUSY_SECONDS if patient else 0.0)
    try:
        yield
        connection.execute("commit")
    except BaseException:
        # Some errors, a full disk among them, have rolled back already.
        if connection.in_transaction:
            connection.execute("rollback")
        raise


def _begin(connection: sqlite3.Connection, seconds: float) -> None:
    """Wait for the turn to write, at most so long; raises sqlite3.OperationalError.

    SQLite looks ever more seldom, at last ten times a second, and then may never come between
    others that write all the time. So it is asked anew every few milliseconds.
    """
    until = time.monotonic() + seconds
    while True:
        connection.execute(f"pragma busy_timeout = {_LOOKS_MS if seconds else 0}")
        try:
            connection.execute("begin immediate")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() >= until:
                raise
            # Not all at the same moment.
            time.sleep(random.random() * 0.001)
        finally:
            connection.execute(f"pragma busy_timeout = {round(settings.BUSY_SECONDS * 1000)}")
