"""Which faces name a slot, which sticker its first letter says, and which slots letters fit."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.puzzle import PieceType, Puzzle

#: Directions closer than this are the same.
CLOSE = 1e-6

#: The faces by angle from a slot, nearest first, those that are named together as a group.
Groups = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, eq=False)
class Lettering:
    """What names are made of; ``groups`` and ``stickers`` by slot, the rest by type number.

    ``count`` says how many groups name a slot, ``short`` whether the first letter says the
    sticker, ``main`` the class that names placements. ``shown`` has the sticker of each class and
    placement. ``angles`` and ``fewest`` are groups and count by angle alone, within a type: names
    written so are read as well.
    """

    groups: tuple[Groups, ...]
    count: tuple[int, ...]
    angles: tuple[Groups, ...]
    fewest: tuple[int, ...]
    stickers: tuple[tuple[int, ...], ...]
    short: tuple[bool, ...]
    main: tuple[int, ...]
    shown: dict[tuple[int, int], int]


@lru_cache(maxsize=64)
def lettering(puzzle: Puzzle) -> Lettering:
    angles = tuple(tuple(puzzle.body.nearest(d)) for d in puzzle.directions)
    stickers: list[list[int]] = [[] for _ in angles]
    shown: dict[tuple[int, int], int] = {}
    for number, sticker in enumerate(puzzle.stickers):
        stickers[sticker.slot].append(number)
        if sticker.placement >= 0:
            shown.setdefault((sticker.kind, sticker.placement), number)
    groups = list(angles)
    fewest, count, short, main = [], [], [], []
    for kind in puzzle.types:
        joined = [_own_faces_first(puzzle, angles[s], stickers[s]) for s in kind.slots]
        if len(set(joined)) == len({angles[s] for s in kind.slots}):
            groups[kind.slots.start : kind.slots.stop] = joined
        fewest.append(_fewest([angles[s] for s in kind.slots]))
        count.append(_fewest([groups[s] for s in kind.slots]))
        short.append(all(_first_letters(puzzle, angles[s], stickers[s]) for s in kind.slots))
        classes = sorted({puzzle.stickers[n].kind for slot in kind.slots for n in stickers[slot]})
        full = (c for c in classes if all((c, p) in shown for p in kind.placements))
        main.append(next(full, -1))
    return Lettering(
        tuple(groups),
        tuple(_told_apart(puzzle, groups, count)),
        angles,
        tuple(fewest),
        tuple(tuple(numbers) for numbers in stickers),
        tuple(short),
        tuple(main),
        shown,
    )


def _own_faces_first(puzzle: Puzzle, groups: Groups, stickers: list[int]) -> Groups:
    """Return the groups with all faces that bear stickers as the first, if they are nearest.

    On a flat box the faces of a corner are not equally near, and yet it is named by all three.
    """
    own = sorted({puzzle.stickers[n].face for n in stickers})
    for used in range(2, len(groups) + 1):
        if sorted(face for group in groups[:used] for face in group) == own:
            return (tuple(own), *groups[used:])
    return groups


def _fewest(groups: list[Groups]) -> int:
    """Return how many groups tell the slots of a type apart, as far as that can be."""
    most = max(len(own) for own in groups)
    different = [len({own[:n] for own in groups}) for n in range(1, most + 1)]
    return 1 + different.index(max(different))


def _told_apart(puzzle: Puzzle, groups: list[Groups], fewest: list[int]) -> list[int]:
    """Return the counts by type, made larger where types would else be named by the same groups.

    Types that no number of groups tells apart keep theirs. A name of one group is left to the type
    that lies in the middle of its faces, if there is one.
    """
    count = list(fewest)
    pairs = list(itertools.combinations(puzzle.types, 2))
    middle = [_in_the_middle(puzzle, groups, kind) for kind in puzzle.types]
    for kind in puzzle.types:
        own = {groups[s][:1] for s in kind.slots}
        if count[kind.number] > 1 or middle[kind.number] or len(groups[kind.first_slot]) < 2:
            continue
        for other in puzzle.types:
            if middle[other.number] and own & {groups[s][:1] for s in other.slots}:
                count[kind.number], count[other.number] = 2, fewest[other.number]
    changed = True
    while changed:
        changed = False
        for pair in pairs:
            if not _shared(groups, pair, [count[kind.number] for kind in pair]):
                continue
            most = max(len(groups[s]) for kind in pair for s in kind.slots)
            apart = next((n for n in range(1, most + 1) if not _shared(groups, pair, [n, n])), 0)
            for kind in pair:
                changed = changed or apart > count[kind.number]
                count[kind.number] = max(apart, count[kind.number])
    return count


def _in_the_middle(puzzle: Puzzle, groups: list[Groups], kind: PieceType) -> bool:
    """Return whether every slot of a type lies in the middle of its nearest faces."""
    for slot in kind.slots:
        toward = sum(puzzle.body.faces[face].normal for face in groups[slot][0])
        length = float(np.linalg.norm(toward))
        if length < CLOSE or float(toward @ puzzle.directions[slot]) < length * (1 - CLOSE):
            return False
    return True


def _shared(groups: list[Groups], pair: tuple[PieceType, PieceType], count: list[int]) -> bool:
    """Return whether slots of two types are named by the same groups, with so many of them."""
    first, second = (
        {groups[s][:n] for s in kind.slots} for kind, n in zip(pair, count, strict=True)
    )
    return bool(first & second)


def _first_letters(puzzle: Puzzle, groups: Groups, stickers: list[int]) -> bool:
    """Whether the nearest faces are exactly those with a sticker, each with one."""
    faces = [puzzle.stickers[n].face for n in stickers]
    shows = all(puzzle.stickers[n].placement >= 0 for n in stickers)
    return shows and sorted(faces) == sorted(groups[0])


def fitting(puzzle: Puzzle, letters: str, kind: PieceType | None) -> list[int]:
    """Return the slots that the letters fit best, from the outside in.

    First come slots named by one group that is all of the letters, then slots whose groups the
    letters name, then slots named with more groups than needed, then with fewer; last the same by
    angles alone, letters in any order that are the nearest faces, and letters of some faces with
    stickers of a single slot.
    """
    own = lettering(puzzle)
    numbers = {face.name: number for number, face in enumerate(puzzle.body.faces)}
    chunks = [[numbers[letter] for letter in part] for part in letters.split(".")]
    slots = kind.slots if kind else range(puzzle.slot_count)
    ranks: dict[int, list[int]] = {}
    for later, (all_groups, count) in enumerate(
        ((own.groups, own.count), (own.angles, own.fewest))
    ):
        for slot in slots:
            groups = all_groups[slot]
            used = _named(groups, chunks[0]) if len(chunks) == 1 else _dotted(groups, chunks)
            if used:
                wanted = count[int(puzzle.type_of[slot])]
                rank = (1 if used > 1 else 0) if used == wanted else 2 if used > wanted else 3
                ranks.setdefault(rank + 4 * later, []).append(slot)
        if ranks:
            break
    else:
        if len(chunks) == 1:
            ranks[8] = [slot for slot in slots if _nearest(own.angles[slot], chunks[0])]
            if not ranks[8]:
                some = [slot for slot in slots if _on(puzzle, own.stickers[slot], chunks[0])]
                ranks[8] = some if len(some) == 1 else []
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


def _on(puzzle: Puzzle, stickers: tuple[int, ...], faces: list[int]) -> bool:
    """Return whether different faces all bear some of the stickers."""
    own = {puzzle.stickers[n].face for n in stickers}
    return len(set(faces)) == len(faces) and set(faces) <= own


def _nearest(groups: Groups, faces: list[int]) -> bool:
    """Return whether the faces, in any order, are the first groups."""
    for used in range(1, len(groups) + 1):
        near = sorted(face for group in groups[:used] for face in group)
        if len(near) >= len(faces):
            return near == sorted(faces)
    return False


def _named(groups: Groups, faces: list[int]) -> int:
    """Return how many groups the faces name in order, 0 if they do not."""
    place = 0
    for used, group in enumerate(groups, 1):
        if sorted(faces[place : place + len(group)]) != list(group):
            return 0
        place += len(group)
        if place == len(faces):
            return used
    return 0


def _dotted(groups: Groups, chunks: list[list[int]]) -> int:
    """Return how many groups there are if the first ones are the chunks, else 0."""
    same = len(chunks) <= len(groups) and all(
        sorted(chunk) == list(group) for chunk, group in zip(chunks, groups, strict=False)
    )
    return len(chunks) if same else 0
