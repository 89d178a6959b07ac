"""What a reader does: turns questions into jobs and results into answers, one message at a time.

A reader is a process beside the API with limits of its own, so that the API neither loads a puzzle
nor ranks. ``python -m service.reading`` is one: it reads messages from its standard input and
writes what came of them, in frames, to its standard output, until the input ends.
"""

from __future__ import annotations

import json
import logging
import os
import resource
import signal
import struct
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, BinaryIO

from puzzles.errors import TrefoilError
from service.blame import blamed
from service.parents import leave_with
from service.questions import (
    AtlasQuestion,
    FindQuestion,
    FinishQuestion,
    MethodQuestion,
    PartsQuestion,
    Question,
    SolveQuestion,
)
from service.stores.base import Store, StoreError

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from service.desk import Desk

#: The head and the body of a frame are preceded by their lengths in bytes.
LENGTHS = struct.Struct(">II")
#: Variables that tell a reader its limits: megabytes, and seconds for one message.
MEMORY, SECONDS = "TREFOIL_READER_MEMORY", "TREFOIL_READER_SECONDS"
#: Seconds after its limit until a reader ends itself, if nobody has ended it before.
GRACE = 3.0
#: What is loaded before a reader is ready.
USUAL = "3x3x3"

QUESTIONS: dict[
    str,
    type[FindQuestion]
    | type[AtlasQuestion]
    | type[PartsQuestion]
    | type[FinishQuestion]
    | type[SolveQuestion]
    | type[MethodQuestion],
] = {
    "find": FindQuestion,
    "atlas": AtlasQuestion,
    "parts": PartsQuestion,
    "finish": FinishQuestion,
    "solve": SolveQuestion,
    "method": MethodQuestion,
}

log = logging.getLogger("trefoil.reader")

Message = Mapping[str, Any]


class NotThereError(Exception):
    """Something that was asked for by its name and is not there; the text says what."""


@dataclass(frozen=True)
class Reply:
    """What came of a message: a few words about it, and what is sent on as it is."""

    head: dict[str, Any] = field(default_factory=dict)
    body: bytes = b""


class RefusedError(Exception):
    """A message of which nothing came.

    ``kind`` is "refused" (what was asked is wrong, in the field ``field`` if that is known),
    "missing" (what was named is not there), "outdated" or "memory".
    """

    def __init__(self, kind: str, text: str, where: str = "") -> None:
        super().__init__(text)
        self.kind = kind
        self.where = where


def kind_of(question: Question) -> str:
    """Return the word for a kind of question."""
    return next(word for word, own in QUESTIONS.items() if isinstance(question, own))


def reply_to(store: Store, message: Message) -> Reply:
    """Return what comes of a message; raises RefusedError and StoreError."""
    from service.desk import Desk

    try:
        return _DOES[message["do"]](Desk(store), store, message)
    except (StoreError, RefusedError):
        raise
    except NotThereError as error:
        raise RefusedError("missing", str(error)) from None
    except MemoryError:
        raise RefusedError("memory", "this needs more memory than one reader is given") from None
    except TrefoilError as error:
        if type(error).__name__ == "OutdatedError":
            raise RefusedError("outdated", str(error)) from None
        raise RefusedError("refused", str(error), blamed(store, message, error)) from None


def _ask(desk: Desk, store: Store, message: Message) -> Reply:
    asked = desk.ask(_question(message))
    body = getattr(asked, "body", None)
    head = {"kind": asked.kind, "key": asked.key, "spec": asked.spec, "final": body is not None}
    return Reply(head | _facts(body), body or b"")


def _answer(desk: Desk, store: Store, message: Message) -> Reply:
    outcome = message["outcome"]
    body = desk.answer(_question(message), _content(store, outcome["result"]), outcome)
    return Reply(_facts(body), body)


def _partial(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.partial(_question(message), message["progress"]))


def _result(desk: Desk, store: Store, message: Message) -> Reply:
    from service import options

    content = _content(store, message["digest"])
    try:
        weights = options.weights(message["weights"])
    except TrefoilError as error:
        raise RefusedError("refused", str(error), "weights") from None
    shown = message["most"], message["left_handed"], weights, message.get("effect")
    return Reply({}, desk.result(content, message["cycle"], *shown))


def _effect(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.effect(message["puzzle"], message["sequence"]))


def _reading(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.reading(message["puzzle"], message["sequence"]))


def _cover(desk: Desk, store: Store, message: Message) -> Reply:
    from service.covering import cover

    return Reply({}, cover(store, message))


def _entry(desk: Desk, store: Store, message: Message) -> Reply:
    from service.finishing import entry
    from service.questions import FinishEntry

    puzzle = _loaded(store, message["puzzle"])
    return Reply({}, entry(puzzle, FinishEntry.model_validate(message["entry"])))


def _bench(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.bench(message["puzzle"], message["turns"], message.get("insert", "")))


def _pairs(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.pairs(message["puzzle"]))


def _puzzle(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.puzzle(message["puzzle"]))


def _type_of(desk: Desk, store: Store, message: Message) -> Reply:
    """Return nothing, if there is such a puzzle and, where one is named, such a type of piece."""
    from puzzles.names import read_type

    puzzle = _loaded(store, message["puzzle"])
    if message.get("type") is not None:
        read_type(puzzle, message["type"])
    return Reply()


def _picture(desk: Desk, store: Store, message: Message) -> Reply:
    cycle, sequence, kind = (message.get(name) for name in ("cycle", "sequence", "type"))
    behind, after, effect = message.get("behind", True), message.get("after"), message.get("effect")
    own = desk.picture(message["puzzle"], cycle, sequence, kind, behind, after, effect)
    return Reply({}, own)


def _step_picture(desk: Desk, store: Store, message: Message) -> Reply:
    from service.step_pictures import picture

    return Reply({}, picture(store, message["digest"], message["step"]))


def _drawing(desk: Desk, store: Store, message: Message) -> Reply:
    return Reply({}, desk.drawing(message["puzzle"]))


def _sheet(desk: Desk, store: Store, message: Message) -> Reply:
    from service.sheets import said

    return Reply({}, said(store, message))


def _practice(desk: Desk, store: Store, message: Message) -> Reply:
    from service.practice import said

    return Reply({}, said(store, message))


def _drafted(desk: Desk, store: Store, message: Message) -> Reply:
    from service.drafting import done

    return Reply({}, done(message))


def _about(desk: Desk, store: Store, message: Message) -> Reply:
    """Return which puzzle and type a result is about; a cycle or effect is to be its own."""
    from service import results

    content = _content(store, message["digest"])
    if message.get("cycle") or message.get("effect"):
        desk.result(content, message.get("cycle"), 1, effect=message.get("effect"))
    spec = results.read(content).spec
    puzzle = _loaded(store, spec.puzzle)
    triples = getattr(spec, "triples", ())
    number = puzzle.type_of[puzzle.slot_of[triples[0][0]]] if triples else getattr(spec, "type", -1)
    kind = {} if number < 0 else {"type": puzzle.types[int(number)].name}
    return Reply({"puzzle": spec.puzzle, **kind})


def _catalogue(desk: Desk, store: Store, message: Message) -> Reply:
    from service.catalogue_report import catalogue

    return Reply({}, json.dumps(catalogue(store)).encode())


_DOES: dict[str, Callable[[Desk, Store, Message], Reply]] = {
    "ask": _ask,
    "answer": _answer,
    "partial": _partial,
    "result": _result,
    "effect": _effect,
    "reading": _reading,
    "cover": _cover,
    "finish-entry": _entry,
    "bench": _bench,
    "pairs": _pairs,
    "puzzle": _puzzle,
    "type": _type_of,
    "picture": _picture,
    "step-picture": _step_picture,
    "drawing": _drawing,
    "sheet": _sheet,
    "grid": _sheet,
    "kept": _practice,
    "cases": _practice,
    "about": _about,
    "catalogue": _catalogue,
    **dict.fromkeys(("able", "draft", "draft-picture", "ranges", "depths"), _drafted),
}


def _question(message: Message) -> Question:
    return QUESTIONS[message["kind"]].model_validate_json(json.dumps(message["question"]))


def _content(store: Store, digest: str) -> bytes:
    content = store.things.get("result", digest)
    if content is None:
        raise NotThereError("there is no result with this digest")
    return content


def _facts(body: bytes | None) -> dict[str, Any]:
    """Return what a search says beside its answer."""
    if not body:
        return {}
    told = json.loads(body)
    return {"impossible": told.get("impossible"), "reason": told.get("reason")}


def _loaded(store: Store, name: str) -> Puzzle:
    from service.puzzle_shelf import load

    return load(store, name)


# --- The process --------------------------------------------------------------------------------


class _Opened:
    """The store of a reader, opened when it is first needed and again after it was away."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._store: Store | None = None

    def __call__(self) -> Store:
        if self._store is None:
            from service.stores import open_store

            self._store = open_store(self._address)
        return self._store


def main() -> None:
    """Answer messages until there are no more."""
    from service.logs import configure

    configure()
    read, write = _channels()
    # The channel that closes is seen between two messages only.
    leave_with(os.getppid())
    _confine()
    opened = _Opened(os.environ["TREFOIL_STORE"])
    _warm_up()
    _send(write, {"ready": True}, b"")
    limit = float(os.environ.get(SECONDS, "20")) + GRACE
    while (message := _received(read)) is not None:
        signal.setitimer(signal.ITIMER_REAL, limit)
        head, body = _done(opened, message)
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        _send(write, head, body)


def _done(opened: _Opened, message: Message) -> tuple[dict[str, Any], bytes]:
    """Return the frame for a message, whatever happens."""
    try:
        reply = reply_to(opened(), message)
    except StoreError as error:
        return {"error": "store", "text": str(error), "after": error.retry_after}, b""
    except RefusedError as error:
        return {"error": error.kind, "text": str(error), "where": error.where}, b""
    except Exception:
        log.exception("a reader met an unexpected error")
        return {"error": "unexpected", "text": ""}, b""
    return {"head": reply.head}, reply.body


def _channels() -> tuple[BinaryIO, BinaryIO]:
    """Return the input and output of messages; what else is printed goes to standard error."""
    read = os.fdopen(os.dup(0), "rb")
    write = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    return read, write


def _confine() -> None:
    memory = int(os.environ.get(MEMORY, "2000")) * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    # The process that started this one says when to end: by closing the channel.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)


def _warm_up() -> None:
    """Load what the first message would wait for."""
    from puzzles import load
    from search import answers, frames, impossible, ranking, reasons, request
    from service import desk, reports

    del answers, frames, impossible, ranking, reasons, request, desk, reports
    load(USUAL)


def _received(read: BinaryIO) -> Message | None:
    lengths = read.read(LENGTHS.size)
    if len(lengths) < LENGTHS.size:
        return None
    head, _ = LENGTHS.unpack(lengths)
    message: Message = json.loads(read.read(head))
    return message


def _send(write: BinaryIO, head: Mapping[str, Any], body: bytes) -> None:
    text = json.dumps(head).encode()
    write.write(LENGTHS.pack(len(text), len(body)) + text)
    write.write(body)
    write.flush()


if __name__ == "__main__":
    try:
        main()
    except (BrokenPipeError, KeyboardInterrupt):
        sys.exit(0)
