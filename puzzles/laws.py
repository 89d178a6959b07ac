"""What no turn can change: parities and sums of twists that are tied, and the words for it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.puzzle import Puzzle, Table

Vector = tuple[int, ...]


@dataclass(frozen=True)
class Part:
    """Slots of one piece type that can reach each other, by their numbers, and their words.

    ``words`` is such as "the corners", or names the slots where they are not the whole type.
    """

    type: int
    slots: tuple[int, ...]
    words: str

    @property
    def single(self) -> bool:
        return len(self.slots) == 1


@dataclass(frozen=True)
class Law:
    """Something that holds for every sequence, as a sentence; ``types`` are numbers of types.

    ``kind`` is "parity", "twist" or "parity and twist" (a sum of these, see ``Sums``), "fewer" (a
    type that makes only some of its arrangements), "in step" (one type follows another) or "tied".
    ``factor`` is the number of times fewer arrangements there are because of it.
    """

    kind: str
    types: tuple[int, ...]
    factor: int
    text: str
    coefficients: Vector = ()


def joined(words: Sequence[str]) -> str:
    """Return "a", "a and b" or "a, b and c"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def plural(name: str, count: int = 2) -> str:
    """Return the word for several pieces of a type: "corners", "edge1 pieces"."""
    if count == 1:
        return name
    return name + "s" if name[-1].isalpha() and name[-1] != "s" else name + " pieces"


def parts(puzzle: Puzzle, moves: Table, types: Iterable[int]) -> tuple[Part, ...]:
    """Return the sets of slots that permutations of placements join, for types by number."""
    images = puzzle.slot_of[moves[:, puzzle.home]]
    label = np.arange(puzzle.slot_count)
    while True:
        # Labels sink along every turn and against it until nothing changes.
        old = label.copy()
        for row in images:
            np.minimum.at(label, row, label)
            label = np.minimum(label, label[row])
        if np.array_equal(old, label):
            break
    result = []
    for number in types:
        kind = puzzle.types[number]
        own = label[kind.first_slot : kind.first_slot + kind.count]
        for first in sorted(set(own.tolist())):
            slots = tuple(int(k) + kind.first_slot for k in np.flatnonzero(own == first))
            result.append(Part(number, slots, _words(puzzle, number, slots)))
    return tuple(result)


def _words(puzzle: Puzzle, number: int, slots: tuple[int, ...]) -> str:
    from puzzles.names import slot_names

    kind = puzzle.types[number]
    name = plural(kind.name, len(slots))
    if len(slots) == kind.count:
        return f"the {name}"
    names = slot_names(puzzle)
    shown = [names[k] for k in slots[: 4 if len(slots) <= 4 else 3]]
    if len(shown) < len(slots):
        shown.append(f"{len(slots) - len(shown)} more")
    return f"the {name} {joined(shown)}"


class Sums:
    """The parity of each part's rearrangement and the sum of its twists, as one vector.

    The entries are numbers modulo ``moduli``, and the vector of a product is the sum of the
    vectors: a homomorphism to an abelian group. The image of the turns is a subgroup; a law is a
    character that is trivial on it: coefficients c with sum(c[k] v[k] / m[k]) an integer for the
    vector v of every turn.
    """

    def __init__(self, puzzle: Puzzle, parts: tuple[Part, ...]) -> None:
        self._puzzle = puzzle
        self.entries: list[tuple[Part, str]] = []
        moduli = []
        for part in parts:
            if not part.single:
                self.entries.append((part, "parity"))
                moduli.append(2)
            twists = puzzle.types[part.type].twists
            if twists > 1:
                self.entries.append((part, "twist"))
                moduli.append(twists)
        self.moduli: Vector = tuple(moduli)

    def vector(self, effect: Table) -> Vector:
        """Return the vector of an effect that carries each part to itself."""
        puzzle = self._puzzle
        images = effect[puzzle.home]
        slots, twists = puzzle.slot_of[images].tolist(), puzzle.twist_of[images]
        result = []
        for (part, what), modulus in zip(self.entries, self.moduli, strict=True):
            if what == "twist":
                result.append(int(twists[list(part.slots)].sum()) % modulus)
            else:
                result.append(_parity(part.slots, slots))
        return tuple(result)

    def laws(self, vectors: Iterable[Vector]) -> tuple[Law, ...]:
        """Return laws from which all others follow, those that name few parts first."""
        rows = sorted(set(vectors))
        result = []
        for p in _primes(self.moduli):
            for c, factor in _characters(p, self.moduli, rows):
                result.append(self._law(p, c, factor))
        return tuple(sorted(result, key=lambda law: (len(law.types), law.types)))

    def broken(self, law: Law, vector: Vector) -> bool:
        """Return whether an effect with this vector breaks a law."""
        n = math.lcm(*self.moduli)
        total = sum(
            c * v * (n // m) for c, v, m in zip(law.coefficients, vector, self.moduli, strict=True)
        )
        return total % n != 0

    def _law(self, p: int, c: Vector, factor: int) -> Law:
        """Word a law: c[k] is a multiple of the part of modulus k that is prime to p."""
        used = [(*self.entries[k], c[k], self.moduli[k]) for k in range(len(c)) if c[k]]
        types = tuple(sorted({part.type for part, *_ in used}))
        odd = [part.words for part, what, *_ in used if what == "parity"]
        twisted = [(part, x, m) for part, what, x, m in used if what == "twist"]
        if not twisted:
            return Law("parity", types, factor, _parity_text(odd), c)
        order = max(m // math.gcd(x, m) for _, x, m in twisted)
        total = _total(self._puzzle, twisted, order)
        one = len(twisted) == 1 and twisted[0][0].single
        verb = "is" if one else "add up to"
        if odd:
            when = (
                f"the rearrangement of {odd[0]} is odd"
                if len(odd) == 1
                else f"an odd number of the rearrangements of {joined(odd)} is odd"
            )
            text = f"{total} {verb} an odd number of steps exactly when {when}"
            if order > 2:
                text = (
                    f"{total}, and {order // 2} more steps when {when}, {verb} a multiple of "
                    f"{order} steps"
                )
            return Law("parity and twist", types, factor, _sentence(text), c)
        whole = all(m == order for _, _, m in twisted) and " counted " not in total
        if one and whole:
            text = f"{twisted[0][0].words} is never twisted"
        elif len(twisted) == 1 and order == 2 and whole:
            text = f"an even number of {twisted[0][0].words} is flipped"
        else:
            text = f"{total} always {verb} " + (
                "a whole turn" if whole else f"a multiple of {order} steps"
            )
        return Law("twist", types, factor, _sentence(text), c)


def _total(puzzle: Puzzle, twisted: list[tuple[Part, int, int]], order: int) -> str:
    """Return words for a sum of twists: parts, each with the number x of m, in parts of order."""
    sums: dict[str, int] = {}
    for part, x, m in twisted:
        kind = puzzle.types[part.type]
        own = [slot for p, y, _ in twisted if p.type == part.type and x == y for slot in p.slots]
        times = x * order // m
        word = f"the twist of {part.words}" if part.single else f"the twists of {part.words}"
        if len(own) == kind.count > 1:
            # All pieces of a type count alike, also where they do not share slots.
            word = f"the twists of the {plural(kind.name)}"
        sums[word] = times - order if times > order // 2 else times
    if next(iter(sums.values())) < 0:
        sums = {word: -times for word, times in sums.items()}
    words = [
        word + (f" counted {abs(times)} times" if abs(times) > 1 else "")
        for word, times in sums.items()
    ]
    signs = ["minus" if times < 0 else "plus" for times in sums.values()]
    return words[0] + "".join(f" {s} {w}" for s, w in zip(signs[1:], words[1:], strict=True))


def _parity_text(parts: list[str]) -> str:
    if len(parts) == 1:
        text = f"{parts[0]} are always rearranged evenly: two of them are never swapped alone"
    elif len(parts) == 2:
        text = f"an odd rearrangement of {parts[0]} always comes with an odd one of {parts[1]}"
    else:
        text = f"of the rearrangements of {joined(parts)}, an even number is odd"
    return _sentence(text)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."


def _parity(slots: tuple[int, ...], images: list[int]) -> int:
    seen: set[int] = set()
    odd = 0
    for slot in slots:
        length = 0
        while slot not in seen:
            seen.add(slot)
            slot = images[slot]
            length += 1
        odd += max(length - 1, 0)
    return odd % 2


def _primes(moduli: Vector) -> list[int]:
    top = max(moduli, default=1)
    return [p for p in range(2, top + 1) if any(m % p == 0 for m in moduli) and _is_prime(p)]


def _is_prime(p: int) -> bool:
    return all(p % q for q in range(2, math.isqrt(p) + 1))


def _characters(p: int, moduli: Vector, vectors: list[Vector]) -> list[tuple[Vector, int]]:
    """Return generators of the characters of p-power order that are trivial on vectors.

    Each comes with the number by which it makes the group of characters larger. The kernel of a
    matrix over Z/p^E is found by column operations: the entry with the fewest factors p clears
    the others in its row, and its own column lives on as the multiple that vanishes there.
    """
    shares = [_share(p, m) for m in moduli]
    size = max(shares)
    rest = [m // q for m, q in zip(moduli, shares, strict=True)]
    columns = [
        [int(k == j) * (size // q) for j in range(len(moduli))] for k, q in enumerate(shares)
    ]
    columns = [c for c, q in zip(columns, shares, strict=True) if q > 1]
    for v in vectors:
        # In c the entry k is counted in parts of p^E: c[k] v[k] / p^E is the angle.
        angles = [sum(x * y for x, y in zip(c, v, strict=True)) % size for c in columns]
        columns = _vanishing(size, columns, angles)
    columns = _sparse(size, columns)
    result: list[tuple[Vector, int]] = []
    kept: list[list[int]] = []
    before = 1
    for c in columns:
        after = _span(size, [*kept, c])
        if after > before:
            kept.append(c)
            own = [x // (size // q) * r for x, q, r in zip(c, shares, rest, strict=True)]
            result.append((tuple(own), after // before))
            before = after
    return result


def _share(p: int, m: int) -> int:
    q = 1
    while m % (q * p) == 0:
        q *= p
    return q


def _vanishing(size: int, columns: list[list[int]], values: list[int]) -> list[list[int]]:
    """Return generators of the combinations of columns whose combined value is 0 mod size."""
    if not any(values):
        return columns
    best = min(
        (k for k in range(len(columns)) if values[k]), key=lambda k: math.gcd(values[k], size)
    )
    g = math.gcd(values[best], size)
    unit = pow(values[best] // g, -1, size // g) if size // g > 1 else 1
    result = []
    for k, c in enumerate(columns):
        if k != best:
            q = values[k] // g * unit
            result.append([(x - q * y) % size for x, y in zip(c, columns[best], strict=True)])
    result.append([x * (size // g) % size for x in columns[best]])
    return [c for c in result if any(c)]


def _span(size: int, rows: list[list[int]]) -> int:
    """Return the order of the subgroup of (Z/size)^r that rows generate, size a power of p."""
    total = 1
    for k in range(len(rows[0]) if rows else 0):
        g = math.gcd(size, *(row[k] for row in rows)) if rows else size
        total *= size // g
        rows = _vanishing(size, rows, [row[k] for row in rows])
    return total


def _sparse(size: int, rows: list[list[int]]) -> list[list[int]]:
    """Add rows to each other while that makes one of them name fewer parts."""

    def weight(row: list[int]) -> int:
        return sum(x != 0 for x in row)

    better = True
    while better:
        better = False
        for i in range(len(rows)):
            for j in range(len(rows)):
                for q in range(1, size):
                    if i == j:
                        continue
                    new = [(x + q * y) % size for x, y in zip(rows[i], rows[j], strict=True)]
                    if any(new) and weight(new) < weight(rows[i]):
                        rows[i], better = new, True
    return sorted((r for r in rows if any(r)), key=weight)
