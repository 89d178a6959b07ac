"""A plain simulator that shares no code with the compiled tables: points on a body, turned.

It reads a puzzle's description only (the faces of the body; axis, depths and steps of the layers).
Many points are sampled on the surface. A turn rotates exactly those points whose depth along the
layer's axis lies between the layer's ends at that moment. A *patch* is what the cut planes leave of
a face, a *piece* all patches on the same side of every plane; both are told by signs alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from puzzles.file import PuzzleModel, catalogue, read
from puzzles.puzzle import Puzzle

if TYPE_CHECKING:
    from tests.plain_ball import PlainBall

#: Points nearer than this to a cut or to the rim of a face are not used.
MARGIN = 1e-3
#: A point that was carried back is this near to its home, and farther from its cut planes.
NEAR = 1e-6

Points = NDArray[np.float64]
Numbers = NDArray[np.int64]
#: Turns from left to right: the layer's name, and how many steps clockwise as seen from outside.
Turns = Iterable[tuple[str, int]]


class PlainPuzzle:
    """Sampled points of a solved puzzle; what turns do to them is returned, nothing is changed.

    ``home`` (points, 3) and ``face`` (points,) are where the points are and which face they lie on
    when solved, ``patch`` and ``piece`` (points,) number the patches and pieces they belong to.
    """

    def __init__(self, puzzle: Puzzle, per_patch: int = 8, seed: int = 1) -> None:
        self.puzzle = puzzle
        self.layers = {layer.name: layer for layer in puzzle.layers}
        self.face_normals = np.array([face.normal for face in puzzle.body.faces])
        self.face_distances = np.array([face.distance for face in puzzle.body.faces])
        self.cut_normals, self.cut_depths = _cuts(puzzle)
        points = self._sample(np.random.default_rng(seed), per_patch)
        self.home = points
        self.face = self._face_at(points)
        places = [tuple(row) for row in self._places(points).tolist()]
        pieces = [place[1:] for place in places]
        self._patch_numbers = {place: k for k, place in enumerate(sorted(set(places)))}
        piece_numbers = {piece: k for k, piece in enumerate(sorted(set(pieces)))}
        self.patch = np.array([self._patch_numbers[place] for place in places])
        self.piece = np.array([piece_numbers[piece] for piece in pieces])
        self.patch_count, self.piece_count = len(self._patch_numbers), len(piece_numbers)

    def _sample(self, random: np.random.Generator, per_patch: int) -> Points:
        """Return points evenly spread in direction, at most ``per_patch`` in each patch."""
        directions = random.normal(size=(60_000, 3))
        reach = (directions @ self.face_normals.T / self.face_distances).max(axis=1)
        points = directions / reach[:, None]
        heights = np.sort(points @ self.face_normals.T / self.face_distances, axis=1)
        clear = heights[:, -2] < 1 - MARGIN
        off = np.abs(points @ self.cut_normals.T - self.cut_depths)
        clear &= off.min(axis=1) > MARGIN
        points = points[clear]
        _, patches = np.unique(self._places(points), axis=0, return_inverse=True)
        order = np.argsort(patches, kind="stable")
        starts = np.searchsorted(patches[order], patches[order])
        kept = order[np.arange(len(order)) - starts < per_patch]
        result: Points = points[np.sort(kept)]
        return result

    def _face_at(self, points: Points) -> Numbers:
        result: Numbers = (points @ self.face_normals.T / self.face_distances).argmax(axis=1)
        return result

    def _places(self, points: Points) -> Numbers:
        """Return for each point its face and its side of every cut plane, in one row."""
        above = points @ self.cut_normals.T > self.cut_depths
        return np.column_stack([self._face_at(points), above.astype(np.int64)])

    def do(self, turns: Turns, points: Points | None = None) -> Points:
        """Return where the points are after turns, from where they are given to be (or home)."""
        now = (self.home if points is None else points).copy()
        for name, amount in turns:
            layer = self.layers[name]
            depth = now @ np.array(layer.axis)
            held = (depth > layer.low) & (depth < layer.high)
            now[held] = now[held] @ clockwise(layer.axis, amount / layer.steps).T
        return now

    def patches(self, points: Points) -> Numbers:
        """Return the patch at which each point is now, -1 where it is at none that was sampled."""
        places = map(tuple, self._places(points).tolist())
        return np.array([self._patch_numbers.get(place, -1) for place in places])

    def carried(self, points: Points) -> Numbers:
        """Return for every home patch the patch it lies on now; fails if it was torn apart."""
        now = self.patches(points)
        result = np.full(self.patch_count, -1)
        result[self.patch] = now
        torn = np.flatnonzero(result[self.patch] != now)
        assert len(torn) == 0, f"points of one patch lie on several: {self.home[torn[:3]]}"
        assert sorted(result.tolist()) == list(range(self.patch_count)), "patches overlap"
        return result

    def moved(self, points: Points) -> tuple[int, ...]:
        """Return the pieces of which some patch is not at home, in order."""
        away = self.carried(points)[self.patch] != self.patch
        return tuple(np.unique(self.piece[away]).tolist())

    def cycles(self, points: Points) -> tuple[tuple[int, ...], ...]:
        """Return the cycles of length two and more in which patches are carried."""
        carried = self.carried(points)
        seen: set[int] = set()
        result = []
        for start in range(self.patch_count):
            cycle = []
            patch = start
            while patch not in seen:
                seen.add(patch)
                cycle.append(patch)
                patch = int(carried[patch])
            if len(cycle) > 1:
                result.append(tuple(cycle))
        return tuple(result)

    @cached_property
    def stickers(self) -> Numbers:
        """For each patch the number of the puzzle's sticker whose outline holds its points."""
        result = np.full(self.patch_count, -1)
        for number, sticker in enumerate(self.puzzle.stickers):
            normal = self.face_normals[sticker.face]
            inside = self.face == sticker.face
            following = np.roll(sticker.outline, -1, axis=0)
            for start, end in zip(sticker.outline, following, strict=True):
                inside &= (self.home - start) @ np.cross(normal, end - start) > 0
            held = np.unique(self.patch[inside])
            assert len(held) == 1, f"sticker {number} holds points of {len(held)} patches"
            assert result[held[0]] == -1, f"sticker {number} overlaps with {result[held[0]]}"
            result[held[0]] = number
        assert np.all(result >= 0), "a patch has no sticker"
        return result

    def sticker_effect(self, turns: Turns) -> Numbers:
        """Return for every sticker of the solved puzzle the sticker on whose place it then is."""
        carried = self.carried(self.do(turns))
        result = np.empty(self.patch_count, dtype=np.int64)
        result[self.stickers] = self.stickers[carried]
        return result


def _cuts(puzzle: Puzzle) -> tuple[Points, Points]:
    """Return normals and depths of all cut planes; a plane given twice is harmless."""
    ends = [(x.axis, d) for x in puzzle.layers for d in (x.low, x.high) if math.isfinite(d)]
    return np.array([axis for axis, _ in ends]), np.array([depth for _, depth in ends])


def clockwise(axis: tuple[float, float, float], share: float) -> Points:
    """Return the matrix of a clockwise rotation by a share of a full turn (Rodrigues' formula)."""
    angle = -2 * math.pi * share
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    result: Points = math.cos(angle) * np.eye(3) + math.sin(angle) * cross
    result += (1 - math.cos(angle)) * np.outer(axis, axis)
    return result


@lru_cache(maxsize=32)
def plain(puzzle: Puzzle) -> PlainPuzzle:
    """Return the plain simulator of a solid puzzle, sampled once."""
    assert puzzle.shape == "solid"
    return PlainPuzzle(puzzle)


@lru_cache(maxsize=32)
def plain_ball(puzzle: Puzzle) -> PlainBall:
    """Return the plain simulator of a ball, sampled once; loose where its file accepts gaps."""
    from tests.plain_ball import PlainBall

    assert puzzle.shape == "ball"
    model = read(puzzle.name)[1] if puzzle.name in catalogue() else None
    loose = isinstance(model, PuzzleModel) and (model.accept or model.accept_gap) is not None
    return PlainBall(puzzle, loose)


def of_shape(shape: str) -> list[str]:
    """Return the names of the catalogue's puzzles with a shape: solid, ball or written."""
    return [name for name in catalogue() if read(name)[1].shape == shape]


def named(puzzle: Puzzle, word: Iterable[int]) -> list[tuple[str, int]]:
    """Return turn numbers as layer names and amounts."""
    return [(puzzle.turns[t].layer, puzzle.turns[t].amount) for t in word]


def assert_three_cycle(
    puzzle: Puzzle,
    word: Iterable[int | tuple[str, int]],
    cycle: Sequence[int],
    *,
    free: Iterable[str] = (),
    alike: bool = False,
) -> None:
    """Check on sampled points that turns cycle three pieces and leave everything else alone.

    ``word`` is a list of turn numbers, or of layer names and amounts; ``cycle`` three placements:
    the piece whose stickers show placement ``cycle[0]`` when solved must lie where the stickers of
    ``cycle[1]`` are, and so on. Types named in ``free`` may end up anywhere. With ``alike`` pieces
    that look the same may change places: then only the colours must be as the cycle says.
    """
    turns: list[tuple[str, int]] = []
    for step in word:
        turns.extend([step] if isinstance(step, tuple) else named(puzzle, [step]))
    if puzzle.shape == "ball":
        from tests.plain_ball import assert_three_cycle as on_ball

        on_ball(plain_ball(puzzle), turns, cycle, set(free), alike)
        return
    shown = plain(puzzle)
    effect = shown.sticker_effect(turns)
    wanted = _wanted(puzzle, cycle)
    released = {k for t in puzzle.types if t.name in set(free) for k in t.slots}
    kept = np.array([s.slot not in released for s in puzzle.stickers])
    faces = np.array([s.face for s in puzzle.stickers])
    slots = np.array([s.slot for s in puzzle.stickers])
    assert np.all(kept[wanted != np.arange(len(wanted))]), "the cycle is of a type that is free"
    if alike:
        colours = np.empty_like(faces)
        colours[effect] = faces
        expected = np.empty_like(faces)
        expected[wanted] = faces
        wrong = np.flatnonzero((colours != expected) & kept)
        assert len(wrong) == 0, f"wrong colours at stickers {wrong.tolist()}"
        return
    moved = set(slots[(effect != np.arange(len(effect))) & kept].tolist())
    places = {int(puzzle.slot_of[p]) for p in cycle}
    assert len(places) == 3, f"the cycle {cycle} does not name three pieces"
    assert moved == places, f"the pieces {sorted(moved)} moved, wanted were {sorted(places)}"
    wrong = np.flatnonzero((effect != wanted) & kept)
    assert len(wrong) == 0, f"stickers {wrong.tolist()} went to {effect[wrong].tolist()}"
    if not released:
        assert len(shown.moved(shown.do(turns))) == 3
        again = shown.do(turns * 3)
        assert len(shown.moved(again)) == 0, "three times over it is not the identity"


def _wanted(puzzle: Puzzle, cycle: Sequence[int]) -> Numbers:
    """Return where each sticker must go so that the placements are carried along the cycle."""
    result = np.arange(len(puzzle.stickers))
    at = {(s.kind, s.slot, s.placement): k for k, s in enumerate(puzzle.stickers)}
    for start, end in zip(cycle, (*cycle[1:], cycle[0]), strict=True):
        slot, target = int(puzzle.slot_of[start]), int(puzzle.slot_of[end])
        kind = next(t for t in puzzle.types if slot in t.slots)
        assert target in kind.slots, "a cycle stays within one type"
        twist = (int(puzzle.twist_of[end]) - int(puzzle.twist_of[start])) % kind.twists
        for number, sticker in enumerate(puzzle.stickers):
            if sticker.slot != slot:
                continue
            place = -1
            if sticker.placement >= 0:
                own = sticker.placement - puzzle.home[slot]
                place = int(puzzle.home[target]) + (own + twist) % kind.twists
            result[number] = at[sticker.kind, target, place]
    return result
