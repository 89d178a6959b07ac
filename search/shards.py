"""A step of a search in parts that anybody can do, put together to what one process gives.

A step meets the rings of a list of words A in order, word by word and, within a word, by the arms
that are looked up (``search.rings``). A part is a range of that order; its rings do not depend on
the others. A shelf holds the first K by (cost, other, when they came) of all different words that
were put on it (``kernels.shelving.put``), among those that the limits let through, which follow
from the shelves before the step alone (``atlas.Filling``).

*Together.* Let F stand on a shelf before the step, and let P1, P2, ... be the words of the parts,
in order. Each part puts its own on a copy of F, and hands on what is there and not in F, in the
shelf's order. Putting these on F, part by part, gives what one process gives, to the byte: let w be
among the first K of F, P1, P2, ... together, and come first in Pi (or F). Less than K different
words stand before it, so less than K of those of F and Pi do, and w is handed on. What is handed on
keeps its order, since words of equal cost stand there as they came, and a word that comes again
later is equal to one that stands before it. And each word that is handed on was met, so that
nothing else gets among the first K. []

How many rings were of use depends on the limits alone, and adds up.
"""

from __future__ import annotations

import io
import itertools
import json
import math
import threading
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from search import atlas, rings
from search.atlas import Words
from search.columns import columns
from search.coverage import FAMILIES, LongStep
from search.encoding import Scope
from search.kernels.arms import begin_word
from search.kernels.arrays import LONGEST
from search.kernels.join import FAR
from search.plan import Step
from search.rings import Part
from search.shelves import Shelves

#: A part looks at about so many conjugates, as ``rings.part_weight`` counts them, which takes about
#: a second (measured: 0.3 to 2 s on one core of a small machine).
PART_CONJUGATES = 20_000_000.0
#: Conjugates of long steps give many more rings each, which take their time on the shelves.
LONG_CONJUGATES = 20_000.0
#: The most parts of a step.
MOST_PARTS = 1_000
#: How the payload of a part begins that was done before it was dealt; its result follows.
DONE = b"="


@dataclass(frozen=True, eq=False)
class Given:
    """What some parts of a step have given, ``first`` and the ``count`` - 1 after it, of ``of``.

    ``number`` names the shelves from which the step sets out, ``astray`` is theirs. ``whole`` is
    false where they were broken off, ``limit`` says why if that was for want of memory.
    """

    number: int
    astray: bool
    first: int
    count: int
    of: int
    whole: bool
    rings: int
    shortest: Words
    easiest: Words
    limit: str = ""

    def to_bytes(self) -> bytes:
        """Return it as one block of bytes, the same for the same contents."""
        head = np.array(
            [self.number, self.astray, self.first, self.count, self.of, self.whole, self.rings],
            dtype=np.int64,
        )
        arrays: dict[str, Any] = {"head": head, "limit": np.array([self.limit], dtype=np.str_)}
        for name, words in (("shortest", self.shortest), ("easiest", self.easiest)):
            longest = int(words.lengths.max(initial=0))
            arrays |= {f"{name}_{k}": v for k, v in words._asdict().items()}
            arrays[f"{name}_words"] = words.words[:, :longest]
        stream = io.BytesIO()
        np.savez_compressed(stream, **arrays)
        return stream.getvalue()

    @staticmethod
    def from_bytes(data: bytes) -> Given:
        """Return what ``to_bytes`` wrote; raises ValueError for other bytes."""
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as found:
                number, astray, first, count, of, whole, met = found["head"].tolist()
                short, easy = (_words(found, name) for name in ("shortest", "easiest"))
                limit = str(found["limit"][0])
        except (ValueError, KeyError, OSError, EOFError, zipfile.BadZipFile) as error:
            raise ValueError("these bytes are not the result of a part") from error
        own = first, count, of, bool(whole), met
        return Given(number, bool(astray), *own, short, easy, limit)


def _words(found: Any, name: str) -> Words:
    some = found[f"{name}_words"]
    words = np.zeros((len(some), LONGEST), dtype=np.uint8)
    words[:, : some.shape[1]] = some
    orbits, costs, others, lengths = (found[f"{name}_{k}"] for k in Words._fields[:4])
    return Words(orbits, costs, others, lengths, words)


@dataclass(frozen=True)
class Payload:
    """One part of a step: joins in order, and which part of how many; JSON both ways.

    ``number`` names the shelves from which the step sets out, ``astray`` is theirs. ``share`` is
    where in the step the part begins and ends, from 0 to 1.
    """

    number: int
    astray: bool
    step: Step
    place: int
    of: int
    share: tuple[float, float]
    work: tuple[Part, ...]

    def to_bytes(self) -> bytes:
        """Return it as JSON."""
        long = self.step.long
        said = {
            "number": self.number,
            "astray": self.astray,
            "step": [self.step.half_length, self.step.conjugates, self.step.cost],
            "long": None if long is None else [long.family, long.radius1, long.radius2],
            "place": self.place,
            "of": self.of,
            "share": self.share,
            "work": [
                [
                    part.length,
                    part.cyclic,
                    part.radius1,
                    part.least_radius,
                    part.most_radius,
                    part.begin,
                    part.end,
                    part.first_block,
                    part.last_block,
                ]
                for part in self.work
            ],
        }
        return json.dumps(said, separators=(",", ":")).encode()

    @staticmethod
    def from_bytes(data: bytes) -> Payload:
        """Return what ``to_bytes`` wrote; raises ValueError for other bytes."""
        try:
            said = json.loads(data)
            long = None if said["long"] is None else LongStep(*said["long"])
            family = None if long is None else FAMILIES[long.family]
            work = []
            for length, cyclic, radius1, least, most, begin, end, first, last in said["work"]:
                arms = radius1, least, most
                work.append(Part(length, cyclic, *arms, begin, end, family, first, last))
            half_length, conjugates, cost = said["step"]
            step = Step(half_length, conjugates, cost, long)
            low, high = said["share"]
            own = said["number"], said["astray"], step, said["place"], said["of"]
            return Payload(*own, (low, high), tuple(work))
        except (ValueError, KeyError, TypeError) as error:
            raise ValueError("these bytes are not a part of a search") from error


def deal(scope: Scope, found: Shelves, step: Step) -> list[bytes]:
    """Return the payloads of a step's parts, in order; who does them makes no difference.

    The words A should be listed before (``Step.listing``), which takes a while.
    """
    pieces = list(_pieces(scope, step))
    total = math.fsum(weight for _, weight in pieces) or 1.0
    target = max(_target(step), total / MOST_PARTS)
    groups: list[list[Part]] = [[]]
    weights = [0.0]
    for part, weight in pieces:
        if weights[-1] and weights[-1] + weight > target:
            groups.append([])
            weights.append(0.0)
        groups[-1].append(part)
        weights[-1] += weight
    edges = np.minimum(np.cumsum([0.0, *weights]) / total, 1.0).tolist()
    base = found.number, found.astray, step
    return [
        Payload(*base, place, len(groups), (begin, end), tuple(group)).to_bytes()
        for place, (group, (begin, end)) in enumerate(
            zip(groups, itertools.pairwise(edges), strict=True)
        )
    ]


def large(step: Step) -> bool:
    """Return whether a step is so much work that it should be dealt out at once."""
    return step.conjugates > 4 * _target(step)


def _target(step: Step) -> float:
    return PART_CONJUGATES if step.long is None else LONG_CONJUGATES


def _pieces(scope: Scope, step: Step) -> Iterator[tuple[Part, float]]:
    """Yield what a step is cut into, none much more than a part, with what it weighs."""
    work = step.parts(scope)
    weights = [rings.part_weight(scope, part) for part in work]
    if step.long is not None:
        # Of words of a family, counting alone does not know how many cuts they have.
        weights = [step.conjugates for _ in work]
    target = max(_target(step), math.fsum(weights) / MOST_PARTS)
    for part, weight in zip(work, weights, strict=True):
        count = part.end - part.begin
        each = weight / max(count, 1)
        if each <= target:
            size = max(1, int(target / max(each, 1e-9) / 2))
            for begin in range(part.begin, part.end, size):
                end = min(begin + size, part.end)
                yield replace(part, begin=begin, end=end), each * (end - begin)
            continue
        for number in range(part.begin, part.end):
            yield from _ranges(scope, replace(part, begin=number, end=number + 1), each, target)


def _ranges(scope: Scope, part: Part, weight: float, target: float) -> Iterator[tuple[Part, float]]:
    """Cut the arms of a single word, which are looked up block by block, into ranges."""
    groups = _blocks(scope, part)
    worked = sum(count for count, looked_up in groups if looked_up)
    pieces = min(worked, math.ceil(weight / target))
    if pieces < 2:
        yield part, weight
        return
    # The blocks that are looked up, counted from 0, stand at these places among all.
    places = np.concatenate(
        [
            np.arange(begin, begin + count)
            for (count, looked_up), begin in zip(
                groups, np.cumsum([0, *(count for count, _ in groups)]).tolist(), strict=False
            )
            if looked_up
        ]
    )
    edges = np.linspace(0, worked, pieces + 1).astype(int).tolist()
    for begin, end in itertools.pairwise(edges):
        first, last = int(places[begin]), int(places[end - 1]) + 1
        yield replace(part, first_block=first, last_block=last), weight * (end - begin) / worked


def _blocks(scope: Scope, part: Part) -> list[tuple[int, bool]]:
    """Return, in the order of the join, numbers of blocks, and whether those are looked up.

    The blocks of a cut by the first turn of their arms (``kernels.arms.next_arm``).
    """
    enc, work = scope.arrays, rings.scratch(scope)
    base = len(columns(scope).start) - 2
    long = part.radius1 - min(part.radius1, base)
    word = rings.words_of(scope, part)[part.begin]
    cuts = begin_word(enc, work, word, part.cyclic, part.radius1 >= FAR)
    if long == 0:
        return [(1, True)] * cuts
    result = []
    for cut in range(cuts):
        closed = int(work.closed[cut])
        for turn, layer in enumerate(enc.turn_layer.tolist()):
            if closed >> layer & 1 or work.shut[cut, turn]:
                continue
            bit = 1 << layer
            then = bit | int(enc.passes[layer]) & (bit - 1 | closed)
            count = rings.word_counts(scope, long - 1, then)[-1]
            result.append((count, bool(work.least[cut, turn])))
    return result


_local = threading.local()


def _joiner(scope: Scope) -> rings.Joiner:
    """Return this thread's joiner, whose tables serve as long as parts are about the same word."""
    joiner: rings.Joiner | None = getattr(_local, "joiner", None)
    if joiner is None or joiner.scope is not scope:
        joiner = _local.joiner = rings.Joiner(scope)
    return joiner


def doing(filling: atlas.Filling, payload: Payload) -> Iterator[float]:
    """Do one part: put its rings on; yield the share of it that is done, some 0.1 s apart.

    ``filling`` sets out from the shelves that the payload names. Raises LimitError.
    """
    scope = filling.scope
    for _ in payload.step.listing(scope):
        yield 0.0
    for piece in rings.joined(scope, list(payload.work), 1, _joiner(scope)):
        for _ in filling.putting(piece.records):
            yield piece.share
        yield piece.share


def given(
    filling: atlas.Filling, payload: Payload, count: int, whole: bool, limit: str = ""
) -> bytes:
    """Return what a filling holds as the result of ``count`` parts, up to the payload's."""
    shortest, easiest = filling.new_words()
    met = filling.rings - filling.found.rings
    first = payload.place - count + 1
    return Given(
        payload.number,
        payload.astray,
        first,
        count,
        payload.of,
        whole,
        met,
        shortest,
        easiest,
        limit,
    ).to_bytes()


def nothing(payload: Payload) -> bytes:
    """Return the result of a part that was not begun."""
    none = atlas.no_words()
    own = payload.number, payload.astray, payload.place, 1, payload.of
    return Given(*own, False, 0, none, none).to_bytes()


def done_up_to(results: Iterable[Given]) -> int:
    """Return how many parts of a step, from the first on and without a gap, results are all of."""
    following = 0
    for one in sorted(results, key=lambda one: one.first):
        if not one.whole or one.first != following:
            break
        following += one.count
    return following


def gathering(filling: atlas.Filling, results: Iterable[Given]) -> Iterator[None]:
    """Put what parts gave on the shelves of their step; yield now and then."""
    for one in sorted(results, key=lambda one: one.first):
        filling.put_words(one.shortest, one.easiest, one.rings)
        yield
