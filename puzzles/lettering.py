"""Which faces name a slot, which sticker its first letter says, and which slots letters fit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from puzzles.puzzle import PieceType, Puzzle


@dataclass(frozen=True, eq=False)
class Lettering:
    """What names are made of; ``groups`` and ``stickers`` by slot, the rest by type number.

    ``count`` says how many groups name a slot, ``short`` whether the first letter says the
    sticker, ``main`` the class that names placements. ``shown`` has the sticker of each class and
    placement.
    """

    groups: tuple[tuple[tuple[int, ...], ...], ...]
    count: tuple[int, ...]
    stickers: tuple[tuple[int, ...], ...]
    short: tuple[bool, ...]
    main: tuple[int, ...]
    shown: dict[tuple[int, int], int]


@lru_cache(maxsize=64)
def lettering(puzzle: Puzzle) -> Lettering:
    groups = tuple(tuple(puzzle.body.nearest(d)) for d in puzzle.directions)
    stickers: list[list[int]] = [[] for _ in groups]
    shown: dict[tuple[int, int], int] = {}
    for number, sticker in enumerate(puzzle.stickers):
        stickers[sticker.slot].append(number)
        if sticker.placement >= 0:
            shown.setdefault((sticker.kind, sticker.placement), number)
    count, short, main = [], [], []
    for kind in puzzle.types:
        most = max(len(groups[slot]) for slot in kind.slots)
        different = [len({groups[slot][:n] for slot in kind.slots}) for n in range(1, most + 1)]
        count.append(1 + different.index(max(different)))
        short.append(all(_first_letters(puzzle, groups[s], stickers[s]) for s in kind.slots))
        classes = sorted({puzzle.stickers[n].kind for slot in kind.slots for n in stickers[slot]})
        full = (c for c in classes if all((c, p) in shown for p in kind.placements))
        main.append(next(full, -1))
    return Lettering(
        groups,
        tuple(count),
        tuple(tuple(numbers) for numbers in stickers),
        tuple(short),
        tuple(main),
        shown,
    )


def _first_letters(
    puzzle: Puzzle, groups: tuple[tuple[int, ...], ...], stickers: list[int]
) -> bool:
    """Whether the nearest faces are exactly those with a sticker, each with one."""
    faces = [puzzle.stickers[n].face for n in stickers]
    shows = all(puzzle.stickers[n].placement >= 0 for n in stickers)
    return shows and sorted(faces) == sorted(groups[0])


def fitting(puzzle: Puzzle, letters: str, kind: PieceType | None) -> list[int]:
    """Return the slots that the letters fit best, from the outside in.

    First come slots named by one group that is all of the letters, then slots whose groups the
    letters name, then slots named with more groups than needed, then with fewer.
    """
    own = lettering(puzzle)
    numbers = {face.name: number for number, face in enumerate(puzzle.body.faces)}
    chunks = [[numbers[letter] for letter in part] for part in letters.split(".")]
    ranks: dict[int, list[int]] = {}
    for slot in kind.slots if kind else range(puzzle.slot_count):
        groups = own.groups[slot]
        used = _named(groups, chunks[0]) if len(chunks) == 1 else _dotted(groups, chunks)
        if used:
            wanted = own.count[int(puzzle.type_of[slot])]
            rank = (1 if used > 1 else 0) if used == wanted else 2 if used > wanted else 3
            ranks.setdefault(rank, []).append(slot)
    if not ranks:
        return []
    return sorted(ranks[min(ranks)], key=lambda slot: _outside_in(puzzle, slot))


def _outside_in(puzzle: Puzzle, slot: int) -> tuple[float | int, ...]:
    """Sort key: the farthest from the centre first, then the nearest to its nearest faces."""
    towards = [
        -round(float(puzzle.body.faces[group[0]].normal @ puzzle.directions[slot]), 6)
        for group in lettering(puzzle).groups[slot]
    ]
    return (-round(float(puzzle.depths[slot]), 6), *towards, slot)


def _named(groups: tuple[tuple[int, ...], ...], faces: list[int]) -> int:
    """Return how many groups the faces name in order, 0 if they do not."""
    place = 0
    for used, group in enumerate(groups, 1):
        if sorted(faces[place : place + len(group)]) != list(group):
            return 0
        place += len(group)
        if place == len(faces):
            return used
    return 0


def _dotted(groups: tuple[tuple[int, ...], ...], chunks: list[list[int]]) -> int:
    """Return how many groups there are if the first ones are the chunks, else 0."""
    same = len(chunks) <= len(groups) and all(
        sorted(chunk) == list(group) for chunk, group in zip(chunks, groups, strict=False)
    )
    return len(chunks) if same else 0
