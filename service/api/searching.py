"""From a question to a search: known and answered, or a job that workers do; and what is shown."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from typing import Any

from service.api import beginning
from service.api.context import Service, progress_of
from service.api.problems import ProblemError
from service.api.results import message_of
from service.api.room import SEARCH
from service.clubs import ASKS
from service.questions import (
    FindQuestion,
    FinishQuestion,
    MethodQuestion,
    PartsQuestion,
    Question,
    SolveQuestion,
)
from service.reading import QUESTIONS, Reply, kind_of
from service.stores.base import Job, State

#: The word for the kind of search that compiles a posted puzzle.
COMPILE = "compile"
#: Questions that have no bounds of their own.
_UNBOUNDED = PartsQuestion | FinishQuestion | SolveQuestion | MethodQuestion
#: How long it is watched how a stopped search ends, in seconds.
STOP_WATCHED = 30.0

Asker = Callable[[], Awaitable[str]]


@dataclass(frozen=True)
class Record:
    """What the store keeps of a search; ``key`` is its job's, empty where none is needed."""

    id: str
    kind: str
    question: dict[str, Any]
    key: str

    @property
    def href(self) -> str:
        """Its address."""
        return f"/api/searches/{self.id}"

    def data(self) -> bytes:
        """Return what is stored."""
        return json.dumps(
            {"kind": self.kind, "question": self.question, "key": self.key}, sort_keys=True
        ).encode()

    @staticmethod
    def of(number: str, data: bytes) -> Record:
        """Return what was stored."""
        told = json.loads(data)
        return Record(number, told["kind"], told["question"], told["key"])


@dataclass(frozen=True)
class Seen:
    """A search as it stands: ``job`` is None where none was needed, ``answer`` where none is known.

    ``body`` is the search as JSON, ``tag`` another one whenever that can be seen to have changed.
    ``waited``: the wish to wait, if there was one, was honoured.
    """

    record: Record
    job: Job | None
    answer: Reply | None
    body: bytes
    tag: str
    waited: bool = True

    @property
    def done(self) -> bool:
        """Whether it has come to its end."""
        return self.job is None or self.job.state is State.DONE


class Searches:
    """The searches of a service."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def ask(self, question: Question, asker: Asker, wait: int | None) -> Seen:
        """Return the search for a question, after ``wait`` seconds if it is not over before.

        Raises ProblemError, StoreError and TooManyError.
        """
        question = self._usual(question)
        known = self._kept(question.digest)
        if known is not None:
            return known
        said = question.model_dump(mode="json", exclude_defaults=True)
        kind = kind_of(question)
        asked = await self._asked(kind, self._bounded(question))
        final = bool(asked.head["final"])
        record = Record(question.digest, kind, said, "" if final else asked.head["key"])
        if final:
            if await self._has_room(record):
                await self._keep(record)
            return await self.seen(record)
        job = await self._service.job(record.key)
        if job is not None and job.state is not State.DONE and not beginning.allowed():
            # To join it or to go on with it would be to ask for it.
            return await self.seen(record, job)
        if job is None or job.state is not State.DONE:
            job = await self.submit(record, asked.head["kind"], asked.head["spec"], asker)
            await self._keep(record)
        elif await self._has_room(record):
            await self._keep(record)
        job, waited = await self._awaited(job, wait)
        return replace(await self.seen(record, job), waited=waited)

    async def compile(self, text: str, address: str, asker: Asker, wait: int | None) -> Seen:
        """Return the search that compiles a puzzle file, which is to have an address."""
        number = compiling(address)
        spec = json.dumps({"file": text})
        key = hashlib.sha256(f"compile|{text}".encode()).hexdigest()[:32]
        record = Record(number, COMPILE, {"puzzle": address}, key)
        job = await self.submit(record, COMPILE, spec, asker)
        await self._keep(record)
        job, waited = await self._awaited(job, wait)
        return replace(await self.seen(record, job), waited=waited)

    async def submit(self, record: Record, kind: str, spec: str, asker: Asker) -> Job:
        """Return the job of a search, which the asker wants from now on."""
        beginning.check()
        own = self._service
        if not await self._has_room(record):
            text = (
                f"{own.limits.stored:,} searches are kept, none of which is over; try again later"
            )
            raise ProblemError(429, text, retry_after=60)
        who = await asker()
        if who.startswith(ASKS):
            await own.together.add(own.address, record.key)
        submit = own.store.jobs.submit
        job = await own.call(submit, record.key, kind, spec, who, own.limits.jobs)
        own.measuring.begun(job)
        await own.following.tell(record.key, job)
        return job

    async def record(self, number: str) -> Record:
        """Return what is kept of a search; raises ProblemError for one that there is not."""
        kept = self._service.kept.get(("record", number))
        data = (
            kept.body
            if kept
            else await self._service.call(self._service.store.things.get, SEARCH, number)
        )
        if data is None:
            text = "there is no search at this address; it was never begun or has made room"
            raise ProblemError(404, text)
        self._service.kept.put(("record", number), Reply({}, data))
        return Record.of(number, data)

    async def get(self, number: str) -> Seen:
        """Return a search as it stands; raises ProblemError for one that there is not."""
        known = self._kept(number)
        return known if known is not None else await self.seen(await self.record(number))

    async def stop(self, number: str, asker: Asker) -> Seen:
        """Take back that somebody wants a search, and return it.

        Raises ProblemError for who does not want it while others do.
        """
        record = await self.record(number)
        if not record.key:
            return await self.seen(record)
        who = await asker()
        before = await self._service.job(record.key)
        wanted = before is not None and before.state in (State.WAITING, State.RUNNING)
        if before is not None and wanted and who not in before.askers:
            text = "it is not you who wants this search; it goes on for those who asked for it"
            raise ProblemError(409, text)
        began = time.monotonic()
        job = await self._service.call(self._service.store.jobs.stop, record.key, who)
        self._service.together.remove(self._service.address, record.key)
        if job is None:
            raise self._lost()
        await self._service.following.tell(record.key, job)
        if job.state is State.STOPPING and before and before.state is not State.STOPPING:
            self._service.spawn(self._measure_stop(record.key, began))
        return await self.seen(record, job)

    async def seen(self, record: Record, job: Job | None = None) -> Seen:
        """Return a search as it stands, or as a job says that it does."""
        if not record.key:
            asked = await self._asked(record.kind, _read(record))
            return self._finished(Seen(record, None, asked, _body(record, None, asked), tag(None)))
        job = job or await self._service.job(record.key)
        if job is None:
            raise self._lost()
        answer = await self._answer(record, job)
        return self._finished(Seen(record, job, answer, _body(record, job, answer), tag(job)))

    def plain(self, record: Record, job: Job) -> bytes:
        """Return a search as JSON without an answer."""
        return _body(record, job, None)

    async def _answer(self, record: Record, job: Job) -> Reply | None:
        """Return the answer of a job, the best so far, or None for nothing yet."""
        if record.kind == COMPILE:
            return None
        own = self._service
        said = {"kind": record.kind, "question": _dumped(_read(record))}
        if job.state.over:
            outcome = json.loads(job.outcome) if job.outcome else {}
            if not outcome.get("result"):
                return None
            digest = outcome["result"]
            message = {"do": "answer", **said, "outcome": {"result": digest}}
            asked = record.question
            # By weights there are answers without end: those would drive out all others.
            usual = not asked.get("weights")
            reply = await own.rendered(message, store=usual)
            if record.kind == "find" and usual:
                # The link to the result gives the same, also while the store is away.
                names = ("most", "left_handed", "effect")
                shown = {name: asked[name] for name in names if name in asked}
                own.keep(message_of(digest, asked.get("cycle"), **shown), reply.body)
            return reply
        progress = progress_of(job)
        if not progress.get("words"):
            return None
        # What does not change the answer would only make it be rendered again.
        telling = {key: progress.get(key) for key in ("words", "half_length", "complete")}
        return await own.rendered({"do": "partial", **said, "progress": telling}, store=False)

    async def _asked(self, kind: str, question: Question) -> Reply:
        """Return the job for a question, or that it needs none."""
        message = {"do": "ask", "kind": kind, "question": _dumped(question)}
        return await self._service.rendered(message, store=False)

    async def _awaited(self, job: Job, wait: int | None) -> tuple[Job, bool]:
        """Return a job when it is over, or as it is after so many seconds; and whether one waited.

        Who has too many streams is not made to wait, since the search is accepted already.
        """
        if not wait or job.state.over:
            return job, True
        # By the address: whoever has the links of many clubs has no more streams for that.
        who = self._service.address
        if self._service.crowded(who) is not None:
            return job, False
        with self._service.stream(who):
            return await self._service.following.over(job.key, wait) or job, True

    async def _keep(self, record: Record) -> None:
        """Keep a search; after a change of the sources its job is another one."""
        own, things = self._service, self._service.store.things
        data = record.data()
        if not await own.call(things.put, SEARCH, record.id, data):
            there = await own.call(things.get, SEARCH, record.id)
            if there != data:
                await own.call(things.remove, SEARCH, record.id)
                await own.call(things.put, SEARCH, record.id, data)
        own.kept.put(("record", record.id), Reply({}, data))

    async def _has_room(self, record: Record) -> bool:
        """Return whether a search may be kept, for which others that are over may have gone."""
        return await self._service.call(self._service.room.made, record.id)

    def _usual(self, question: Question) -> Question:
        """Return a question whose usual values, where nothing else was said, are within limits."""
        shown = self._service.limits.shown
        said = "most" in question.model_fields_set
        if said or not isinstance(question, FindQuestion) or question.most <= shown:
            return question
        return question.model_copy(update={"most": shown})

    def _bounded(self, question: Question) -> Question:
        """Return a question within the limits; raises ProblemError."""
        limits = self._service.limits
        if isinstance(question, SolveQuestion) and question.learned is not None:
            lines = question.learned.splitlines()
            known = sum(bool(line.split("#", 1)[0].strip()) for line in lines)
            if known > limits.learned:
                text = f"learned: at most {limits.learned:,} sequences were expected, not {known:,}"
                raise ProblemError(422, text, pointer="#/learned")
        if isinstance(question, _UNBOUNDED):
            return question
        for name, most in limits.fields.items():
            asked = getattr(question, name, None)
            if asked is not None and asked > most:
                text = f"{name}: at most {most:,} was expected, not {asked:,}"
                raise ProblemError(422, text, pointer=f"#/{name}")
        if question.seconds is None and (question.turns or question.half_length):
            # Other bounds alone could keep workers busy for days.
            return question.model_copy(update={"seconds": limits.seconds})
        return question

    def _kept(self, number: str) -> Seen | None:
        """Return a search that is done and kept at hand."""
        reply = self._service.kept.get(("done", number))
        if reply is None:
            return None
        self._service.metrics.hits.labels("memory").inc()
        return Seen(
            Record.of(number, reply.head["record"]),
            None,
            reply.head["answer"],
            reply.body,
            reply.head["tag"],
        )

    def _finished(self, seen: Seen) -> Seen:
        """Keep a search at hand if it is done, and return it."""
        if seen.done and seen.record.kind != COMPILE:
            # The parts and methods of a puzzle are shown without the search that they come from.
            answer = seen.answer if seen.record.kind in ("parts", "method") else None
            head = {"record": seen.record.data(), "answer": answer, "tag": seen.tag}
            reply = Reply(head, seen.body)
            self._service.kept.put(("done", seen.record.id), reply)
        return seen

    async def _measure_stop(self, key: str, began: float) -> None:
        job = await self._service.following.over(key, STOP_WATCHED)
        if job is not None and job.state.over:
            self._service.metrics.stop_seconds.observe(time.monotonic() - began)

    def _lost(self) -> ProblemError:
        return ProblemError(404, "the store has lost this search; asking again begins it anew")


def compiling(address: str) -> str:
    """Return what names the search that compiles the puzzle at an address."""
    return hashlib.sha256(f"compile {address}".encode()).hexdigest()[:32]


def _read(record: Record) -> Question:
    return QUESTIONS[record.kind].model_validate(record.question)


def tag(job: Job | None) -> str:
    """Return what changes whenever a search can be seen to change, fixed where it has no job."""
    return "0-0" if job is None else f"{job.run}-{job.version}"


def _dumped(question: Question) -> dict[str, Any]:
    return question.model_dump(mode="json", exclude_defaults=True)


#: The fields of a job's progress that are shown.
SHOWN = ("step", "working", "half_length", "complete", "share", "best", "left")


def _body(record: Record, job: Job | None, answer: Reply | None) -> bytes:
    """Return a search as JSON; the answer, which may be long, is put in as it is."""
    # What was told last is no news any more when all is over.
    progress = progress_of(job) if job is not None and not job.state.over else {}
    facts = answer.head if answer is not None else {}
    result = _result(record, job)
    reason = facts.get("reason") or (job.error if job is not None else None) or None
    told = {
        "id": record.id,
        "href": record.href,
        "question": record.question,
        "state": str(job.state) if job is not None else "done",
        "askers": len(job.askers) if job is not None else 0,
        "progress": {name: progress.get(name) for name in SHOWN} if progress else None,
        "impossible": facts.get("impossible"),
        "reason": reason,
        "result": result,
        "page": result and result.removeprefix("/api"),
        "events": f"{record.href}/events",
    }
    own = answer.body if answer is not None else b"null"
    return json.dumps(told).encode()[:-1] + b', "answer": ' + own.strip() + b"}"


def _result(record: Record, job: Job | None) -> str | None:
    """Return where the result of a job stays, as this question has it."""
    from urllib.parse import urlencode

    if job is None or not job.state.over or not job.outcome:
        return None
    outcome = json.loads(job.outcome)
    if record.kind == COMPILE:
        puzzle = outcome.get("puzzle")
        return f"/api/puzzles/{puzzle}" if puzzle else None
    digest = outcome.get("result")
    if not digest:
        return None
    said = record.question
    query: dict[str, str] = {}
    if record.kind == "find":
        if "cycle" in said:
            query["cycle"] = ",".join(said["cycle"])
        if "effect" in said:
            query["effect"] = said["effect"]
        if "most" in said:
            query["most"] = str(said["most"])
        if said.get("left_handed"):
            query["left_handed"] = "true"
        if said.get("weights"):
            query["weights"] = ",".join(f"{k}={v:g}" for k, v in sorted(said["weights"].items()))
    text = urlencode(query, safe=",@.")
    return f"/api/results/{digest}" + (f"?{text}" if text else "")
