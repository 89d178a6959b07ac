"""Jobs in a Redis server; ``lua/shards.lua`` and ``lua/jobs.lua`` do what must happen at once."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Any

from service.settings import MOST_ATTEMPTS, MOST_JOBS
from service.stores.base import (
    Figures,
    Job,
    JobLimits,
    Jobs,
    Lease,
    Shard,
    Signal,
    State,
    TooManyError,
)
from service.stores.redis import Server
from service.stores.wording import LAPSED, too_many_of_all, too_many_own, too_much_computing

#: Times are whole microseconds in the scripts.
_SECOND = 1_000_000


class RedisJobs(Jobs):
    """See ``stores.base.Jobs``; every method is one script."""

    def __init__(self, server: Server) -> None:
        self._script = server.script("shards", "jobs")

    def submit(self, key: str, kind: str, spec: str, asker: str, limits: JobLimits) -> Job:
        said = self._call(
            "submit",
            key,
            kind,
            spec,
            asker,
            limits.open_each,
            limits.open_all,
            _micro(limits.spent_each),
        )
        if len(said) == 3:
            raise _too_many(said, limits)
        job = _job(key, said)
        assert job is not None
        return job

    def job(self, key: str) -> Job | None:
        return _job(key, self._call("job", key))

    def stop(self, key: str, asker: str) -> Job | None:
        return _job(key, self._call("stop", key, asker))

    def lease(self, worker: str, seconds: float, only: Shard | None = None) -> Lease | None:
        given: list[str | int] = [_micro(seconds), _token()]
        if only is not None:
            given += [only.job, only.run, only.stage, only.number, only.epoch]
        return _lease(self._call("lease", *given), given[1])

    def renew(self, lease: Lease, seconds: float, spent: float, progress: str = "") -> Signal:
        said = self._call("renew", lease.token, _micro(seconds), _micro(spent), progress)
        return Signal(said.decode())

    def record(self, lease: Lease, result: bytes, spent: float, seconds: float) -> Lease | None:
        token = _token()
        said = self._call(
            "record",
            lease.token,
            result,
            _micro(spent),
            _micro(seconds),
            token,
        )
        return _lease(said, token)

    def results(self, lease: Lease) -> list[bytes]:
        said = self._call("results", lease.token)
        by_number = {int(number): data for number, data in _pairs(said)}
        return [by_number[number] for number in sorted(by_number)]

    def plan(self, lease: Lease, parts: Sequence[bytes], spent: float, progress: str) -> Signal:
        if not parts:
            raise ValueError("a plan has at least one part")
        said = self._call("plan", lease.token, _micro(spent), progress, *parts)
        return Signal(said.decode())

    def end(self, lease: Lease, state: State, outcome: str, error: str, spent: float) -> bool:
        if not state.over:
            raise ValueError(f"a job does not end {state.value}")
        said = self._call("end", lease.token, state.value, outcome, error, _micro(spent))
        return bool(said)

    def give_back(self, lease: Lease, spent: float) -> None:
        self._call("give_back", lease.token, _micro(spent))

    def fail(self, lease: Lease, reason: str, spent: float) -> None:
        self._call("fail", lease.token, reason, _micro(spent))

    def present(self, worker: str, seconds: float) -> None:
        self._call("present", worker, _micro(seconds))

    def waiting(self, most: int) -> list[Shard]:
        lines = self._call("waiting", most)
        return [
            Shard(job.decode(), int(run), int(stage), int(number), int(epoch))
            for job, run, stage, number, epoch in lines
        ]

    def figures(self) -> Figures:
        jobs, opened, leased, oldest, workers, lapsed, failed = map(int, self._call("figures"))
        return Figures(jobs, opened, leased, oldest / _SECOND, workers, lapsed, failed)

    def _call(self, command: str, *given: bytes | str | int) -> Any:
        return self._script(command, MOST_ATTEMPTS, LAPSED, MOST_JOBS, *given)


def _micro(seconds: float) -> int:
    return round(seconds * _SECOND)


def _token() -> str:
    return secrets.token_hex(16)


def _pairs(flat: list[bytes]) -> list[tuple[bytes, bytes]]:
    return list(zip(flat[::2], flat[1::2], strict=True))


def _job(key: str, said: Any) -> Job | None:
    fields = {name.decode(): value.decode() for name, value in _pairs(said[0])}
    if not fields:
        return None
    return Job(
        key=key,
        run=int(fields["run"]),
        kind=fields["kind"],
        spec=fields["spec"],
        state=State(fields["state"]),
        askers=tuple(asker.decode() for asker in said[1]),
        stage=int(fields["stage"]),
        shards=int(fields["shards"]),
        recorded=int(fields["recorded"]),
        spent=int(fields["spent"]) / _SECOND,
        progress=fields["progress"],
        outcome=fields["outcome"],
        error=fields["error"],
        version=int(fields["version"]),
        created=_time(fields["created"]),
        began=_time(fields["began"]),
        ended=_time(fields["ended"]),
    )


def _lease(said: Any, token: str | int) -> Lease | None:
    if not said:
        return None
    job, run, stage, number, epoch, kind, spec, payload, attempt, *times = said
    began, spent, now, expires = map(_time, times)
    return Lease(
        shard=Shard(job.decode(), int(run), int(stage), int(number), int(epoch)),
        kind=kind.decode(),
        spec=spec.decode(),
        payload=payload,
        token=str(token),
        attempt=int(attempt),
        began=began,
        spent=spent,
        now=now,
        expires=expires,
    )


def _time(micro: bytes | str | int) -> float:
    # Through float: a score comes back as text such as 1.7e+15 where it is long.
    return float(micro) / _SECOND


def _too_many(said: list[Any], limits: JobLimits) -> TooManyError:
    which, there, first = said
    if which == b"each":
        return too_many_own(there, limits.open_each)
    if which == b"all":
        return too_many_of_all(there, limits.open_all)
    return too_much_computing(there / _SECOND, limits.spent_each, first // _SECOND + 1)
