"""All rings of one half-length, in slices: which words A with which radii, and the join of each."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from search.classes import classes, listed
from search.columns import columns
from search.coverage import Family
from search.encoding import Scope
from search.kernels.arms import FILLED, NEEDED, Room, Scratch
from search.kernels.arrays import LONGEST
from search.kernels.join import NO_ROOM, join
from search.kernels.records import LONGEST_PART, RECORD
from search.kernels.words import MOST_CUTS, count_words
from search.nested import words as family_words

#: The most bytes that one join may take for its entries; more is refused before it starts.
MOST_BYTES = 400_000_000
#: Records of rings that one slice has room for; a slice that finds more is cut in two.
ROOM_FOR_RECORDS = 20_000
#: A slice of work ends after about so many seconds; how many conjugates and agreeing pairs that
#: are depends on the puzzle and on the machine, and is found out while working.
SLICE_SECONDS = 0.06
FIRST_SLICE, LEAST_SLICE, MOST_SLICE = 200_000, 20_000, 4_000_000
#: With threads, a slice comes after so many seconds at the latest, be it without rings.
BEAT_SECONDS = 0.1
#: Where a word's blocks of arms end if all of them are looked up.
EVERY_BLOCK = 1 << 62


@dataclass(frozen=True)
class Part:
    """One join: words A of a length, cyclic or linear, from begin to end, and lengths of arms.

    Arms of ``radius1`` turns meet those of ``least_radius`` to ``most_radius``. The words are all
    of their length, or those of a ``family``, whose equal conjugates are met once. Of a word alone
    the arms that are looked up may be those of some blocks, ``first_block`` to ``last_block``.
    """

    length: int
    cyclic: bool
    radius1: int
    least_radius: int
    most_radius: int
    begin: int
    end: int
    family: Family | None = None
    first_block: int = 0
    last_block: int = EVERY_BLOCK


@dataclass(frozen=True, eq=False)
class Slice:
    """What a slice of work gave: records of rings (n, RECORD), and how much of its level it did."""

    records: NDArray[np.uint8]
    conjugates: int
    pairs: int
    share: float


def _radii(half_length: int) -> Iterator[tuple[int, bool, int, int, int]]:
    """Yield the joins that a level adds: length of A, cyclic, and the lengths of arms of a Part.

    A = X Y takes the two shorter arcs, |A| <= 2 H / 3, and may be cyclic, or linear where X is
    empty and |A| <= |Z|. A length of A that is new at this level is joined with all |Z| that fit:
    where arcs meet inside a turn, |Z| may be short (``search.claims`` says why). |Z| is split
    between the two arms.
    """
    for length in range(1, 2 * half_length // 3 + 1):
        most = half_length - length
        fresh = length > 2 * (half_length - 1) // 3
        for cyclic in (True, False):
            least = 1 if fresh else most
            if not cyclic:
                least = max(least, length)
            if least > most:
                continue
            # |Z| = 2 r - 1 and 2 r meet arms of r turns with arms of r - 1 and of r.
            for radius in range((least + 1) // 2, (most + 1) // 2 + 1):
                shortest = max(least - radius, radius - 1)
                yield length, cyclic, radius, shortest, min(most - radius, radius)


def parts(scope: Scope, half_length: int) -> list[Part]:
    """Return the joins that a level adds: all |A| and |Z| that no level before had."""
    found = []
    for length, cyclic, radius, least, most in _radii(half_length):
        count = len(classes(scope, length, cyclic))
        if count:
            found.append(Part(length, cyclic, radius, least, most, 0, count))
    return found


def level_cost(scope: Scope, half_length: int) -> float:
    """Return about how many conjugates a level looks at, from counts of words alone.

    Of the words of a length, one in 2 |A| times the symmetries is the first of its class.
    """
    counts = word_counts(scope, half_length)
    images = 2 * len(scope.symmetries)
    total = 0.0
    for length, cyclic, radius, least, most in _radii(half_length):
        if cyclic:
            arms = counts[radius] + sum(counts[least : most + 1])
            total += counts[length] / images * arms
    return total


def word_counts(scope: Scope, most: int, state: int = 0) -> list[int]:
    """Return how many words in normal form of 0 to ``most`` turns there are from a state."""
    enc = scope.arrays
    amounts, passes = np.bincount(enc.turn_layer).tolist(), enc.passes.tolist()
    states, result = {state: 1}, [1]
    for _ in range(most):
        following: dict[int, int] = {}
        for state, count in states.items():
            for layer, turns in enumerate(amounts):
                if not state >> layer & 1:
                    bit = 1 << layer
                    then = bit | passes[layer] & (bit - 1 | state)
                    following[then] = following.get(then, 0) + count * turns
        states = following
        result.append(sum(states.values()))
    return result


def memory(scope: Scope, half_length: int) -> int:
    """Return about how many bytes the largest join of a half-length needs, or more than allowed.

    A word A of one turn has the longest arms, and others a cut for every turn; both are looked at
    with ever longer arms until one is too large, since counting itself takes time.
    """
    enc = scope.arrays
    most = 0
    for length in range(2 * half_length // 3, 0, -1):
        radius = (half_length - length) // 2
        entries = length * int(count_words(radius, np.uint64(0), enc.turn_layer, enc.passes))
        most = max(most, table_bytes(entries, entries // 8, len(enc.wanted)))
        if most > MOST_BYTES:
            break
    return most


def table_bytes(entries: int, blocks: int, joins: int) -> int:
    """Return how many bytes the tables of a join take."""
    return (
        entries * (16 + 20 * joins)
        + blocks * (8 * LONGEST_PART + 8)
        + 4 * joins * _buckets(entries)
    )


def _buckets(entries: int) -> int:
    buckets = 4096
    while buckets < 2 * entries:
        buckets *= 2
    return buckets


def room(scope: Scope, entries: int, blocks: int) -> Room:
    """Return scratch with room for a number of conjugates in so many blocks; raises LimitError."""
    joins = len(scope.arrays.wanted)
    buckets = _buckets(entries)
    if table_bytes(entries, blocks, joins) > MOST_BYTES:
        raise LimitError(
            f"this search would need tables for {entries:,} conjugates at once, more than "
            f"{MOST_BYTES // 1_000_000} MB; a smaller half-length or fewer layers would fit"
        )
    return Room(
        np.empty((joins, buckets), dtype=np.int32),
        np.empty((joins, entries), dtype=np.int32),
        np.empty((joins, entries), dtype=np.uint64),
        np.empty(entries, dtype=np.uint64),
        np.empty((entries, 2), dtype=np.int32),
        np.empty((blocks, LONGEST_PART), dtype=np.int64),
        np.empty(blocks, dtype=np.int32),
        np.empty(blocks, dtype=np.int32),
        np.empty((joins, entries), dtype=np.uint64),
        np.zeros(FILLED, dtype=np.int64),
    )


def scratch(scope: Scope) -> Scratch:
    """Return what a join works in, for arms from the scope's columns."""
    enc, start = scope.arrays, columns(scope).start
    width = int(np.diff(start).max())
    slots, joins = len(enc.home), len(enc.wanted)
    return Scratch(
        sums=np.empty((len(enc.channel_type), width), dtype=np.uint64),
        whole=np.empty(width, dtype=np.uint64),
        keys=np.empty((joins, width), dtype=np.uint64),
        able=np.empty(width + 1, dtype=np.int64),
        cuts=np.zeros((MOST_CUTS, LONGEST), dtype=np.int64),
        origin=np.zeros((MOST_CUTS, 2), dtype=np.int64),
        cut_rows=np.zeros((MOST_CUTS, slots), dtype=np.int64),
        closed=np.zeros(MOST_CUTS, dtype=np.uint64),
        shut=np.zeros((MOST_CUTS, len(enc.turn_layer)), dtype=np.bool_),
        least=np.zeros((MOST_CUTS, len(enc.turn_layer)), dtype=np.bool_),
        bounds=np.zeros(len(enc.type_slot), dtype=np.int64),
        rows=np.zeros((LONGEST + 1, slots), dtype=np.int64),
        prefix=np.zeros(LONGEST, dtype=np.int64),
        states=np.zeros(LONGEST + 1, dtype=np.uint64),
        at=np.zeros(1, dtype=np.int64),
        place=np.zeros(6, dtype=np.int64),
        one=np.zeros(slots, dtype=np.int64),
        two=np.zeros(slots, dtype=np.int64),
        seen=np.zeros(slots + 1, dtype=np.int64),
        there=np.zeros(slots, dtype=np.int64),
        arm1=np.zeros(LONGEST, dtype=np.int64),
        arm2=np.zeros(LONGEST, dtype=np.int64),
    )


class Joiner:
    """One worker's scratch and tables, kept from part to part; they only ever grow.

    Tables that are filled for a word are used again where the next part is about the same word.
    """

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self.room = room(scope, 512, 512)
        self.work = scratch(scope)
        self.out = np.zeros((ROOM_FOR_RECORDS, RECORD), dtype=np.uint8)
        self.tables: object = None
        self.most = FIRST_SLICE

    def run(self, part: Part) -> Iterator[tuple[NDArray[np.uint8], NDArray[np.int64], int]]:
        """Do a part in slices; yield records, tally, and how many words are done so far."""
        table = columns(self.scope)
        words = words_of(self.scope, part)
        at, resume = part.begin, part.first_block
        tables = part.length, part.cyclic, part.family, part.least_radius, part.most_radius
        if tables != self.tables:
            self.tables = tables
            self.room.filled[:] = 0
        self.work.place[:] = 0
        self.most = FIRST_SLICE
        while at < part.end:
            tally = np.zeros(2, dtype=np.int64)
            started = time.perf_counter()
            after, block, written, needed = join(
                self.scope.arrays,
                table,
                self.room,
                self.work,
                words,
                at,
                part.end,
                part.cyclic,
                part.radius1,
                part.least_radius,
                part.most_radius,
                part.family is not None,
                resume,
                part.last_block,
                self.most,
                self.out,
                tally,
            )
            records = self.out[:written].copy()
            self._adapt(time.perf_counter() - started)
            if needed > 0:
                blocks = int(self.room.filled[NEEDED])
                roomy = needed + needed // 2, blocks + blocks // 2
                fits = table_bytes(*roomy, len(self.scope.arrays.wanted)) <= MOST_BYTES
                self.room = room(self.scope, *(roomy if fits else (needed, blocks)))
            elif needed == NO_ROOM:
                self.out = np.zeros((2 * len(self.out), RECORD), dtype=np.uint8)
            at, resume = after, block
            yield records, tally, at - part.begin

    def _adapt(self, seconds: float) -> None:
        """Let a slice do more or less, after one that took so long."""
        if seconds > SLICE_SECONDS:
            self.most = max(LEAST_SLICE, int(self.most * max(SLICE_SECONDS / seconds, 0.1)))
        elif seconds < SLICE_SECONDS / 2:
            self.most = min(MOST_SLICE, 2 * self.most)


def words_of(scope: Scope, part: Part) -> NDArray[np.uint8]:
    """Return the words A that a part is about, all from its begin to its end among them."""
    if part.family is None:
        return classes(scope, part.length, part.cyclic)
    return family_words(scope, part.family)


def level(scope: Scope, half_length: int, threads: int = 1) -> Iterator[Slice]:
    """Do all joins of one half-length, see ``joined``."""
    nothing = np.zeros((0, RECORD), dtype=np.uint8)
    for _ in listing(scope, half_length):
        yield Slice(nothing, 0, 0, 0.0)
    yield from joined(scope, parts(scope, half_length), threads)


def listing(scope: Scope, half_length: int) -> Iterator[None]:
    """List the words A of a half-length, which is done once; yield now and then."""
    for length in range(1, 2 * half_length // 3 + 1):
        for cyclic in (True, False):
            if cyclic or length <= half_length // 2:
                yield from listed(scope, length, cyclic)


def joined(
    scope: Scope, work: list[Part], threads: int = 1, joiner: Joiner | None = None
) -> Iterator[Slice]:
    """Do joins; yield a slice of work at a time, about 0.1 s each.

    Stop by closing the iterator. With more than one thread the parts are dealt out; the rings come
    in the same order for any number of threads, so that shelves do not depend on it, and slices
    without rings come while there is none to hand on. A single thread may work with a ``joiner``
    that was used before. Raises LimitError.
    """
    nothing = np.zeros((0, RECORD), dtype=np.uint8)
    work = _dealt(scope, work, threads)
    weights = [part_weight(scope, part) for part in work]
    total = sum(weights) or 1.0
    done = 0.0
    if threads == 1:
        joiner = joiner or Joiner(scope)
        for part, weight in zip(work, weights, strict=True):
            for records, tally, count in joiner.run(part):
                share = (done + weight * count / (part.end - part.begin)) / total
                yield Slice(records, int(tally[0]), int(tally[1]), share)
            done += weight
        return
    joiners = [Joiner(scope) for _ in range(threads)]
    stopped = False

    def run(number: int) -> list[tuple[NDArray[np.uint8], int, int]]:
        result = []
        joiner = joiners.pop()
        try:
            for records, tally, _ in joiner.run(work[number]):
                if stopped:
                    break
                result.append((records, int(tally[0]), int(tally[1])))
        finally:
            joiners.append(joiner)
        return result

    # One turn alone has the longest arms and most of the pairs, so it begins; then what is largest.
    urgent = sorted(range(len(work)), key=lambda n: (work[n].length > 2, -weights[n]))
    with ThreadPoolExecutor(threads) as pool:
        tasks = {number: pool.submit(run, number) for number in urgent}
        try:
            for number in range(len(work)):
                while not tasks[number].done():
                    wait([tasks[number]], timeout=BEAT_SECONDS)
                    done = sum(weights[k] for k, task in tasks.items() if task.done())
                    yield Slice(nothing, 0, 0, done / total)
                for records, conjugates, pairs in tasks[number].result():
                    yield Slice(records, conjugates, pairs, done / total)
        finally:
            stopped = True
            for task in tasks.values():
                task.cancel()


def part_weight(scope: Scope, part: Part) -> float:
    """Return about how many conjugates a part looks at."""
    enc = scope.arrays
    arms = sum(
        int(count_words(radius, np.uint64(0), enc.turn_layer, enc.passes))
        for radius in (part.radius1, *range(part.least_radius, part.most_radius + 1))
    )
    return float((part.end - part.begin) * arms * (part.length if part.cyclic else 1))


def _dealt(scope: Scope, work: list[Part], threads: int) -> list[Part]:
    """Cut parts, in order, so that no piece holds more than a share of the work, for threads."""
    if threads == 1:
        return work
    total = sum(part_weight(scope, part) for part in work)
    result = []
    for part in work:
        # A word with long arms is much work, and there are few of them: each is a task.
        alone = part.length == 1 or part.family is not None
        pieces = part.end - part.begin if alone else 0
        pieces = pieces or max(
            1, min(part.end - part.begin, round(part_weight(scope, part) / total * 16 * threads))
        )
        edges = np.linspace(part.begin, part.end, pieces + 1).astype(int).tolist()
        for begin, end in itertools.pairwise(edges):
            result.append(replace(part, begin=begin, end=end))
    return result
