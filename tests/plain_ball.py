"""A plain simulator of balls that shares no code with the compiled tables: points that are turned.

It reads a puzzle's description only (the faces of the body; axis, heights and steps of the layers)
and carries many sampled points by caps and rotations. Which piece a point belongs to, and on whose
place it lies later, is asked of the net of arcs (``ball.cut``), one point at a time; where a slot
with a number is, of the outlines of its stickers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property

import numpy as np

from puzzles import ball
from puzzles.errors import TrefoilError
from puzzles.puzzle import PieceType, Puzzle
from tests.plain import Numbers, Points, Turns, clockwise

#: Points nearer than this to a layer's circle or to the rim of the paint are not used.
MARGIN = 1e-6
#: Rotations closer than this are the same; they are fitted to points that carry rounding errors.
SAME_ROTATION = 1e-7
#: Where pieces fit roughly, the largest entry by which a twist's frame may differ.
LOOSE_ROTATION = 0.4


class PlainBall:
    """Sampled points of a solved ball; what turns do to them is returned, nothing is changed.

    ``home`` (points, 3) and ``face`` (points,) are where the points are and how they are painted
    when solved (-1 without paint); ``cell`` and ``piece`` (points,) number the cell of the net and
    the slot of the puzzle that they belong to. Where pieces fit their slots only roughly
    (``loose``), a piece is held by a layer, and lies in a slot, with most of its points.
    """

    def __init__(
        self, puzzle: Puzzle, loose: bool = False, per_patch: int = 12, seed: int = 1
    ) -> None:
        self.puzzle, self.loose = puzzle, loose
        self.layers = {layer.name: layer for layer in puzzle.layers}
        self.painted = any(sticker.face >= 0 for sticker in puzzle.stickers)
        self.face_normals = np.array([face.normal / face.distance for face in puzzle.body.faces])
        self.cells = _cut(puzzle, self.painted)
        self.home, self.cell = self._sample(np.random.default_rng(seed), per_patch)
        self.face = self.paint(self.home)
        self.slot_of_cell = self._slots_of_cells()
        self.piece = self.slot_of_cell[self.cell]

    def _sample(self, random: np.random.Generator, per_patch: int) -> tuple[Points, Numbers]:
        """Return points and their cells: spread evenly, and some more around every patch."""
        points = [_unit(random.normal(size=(2000, 3)))]
        for patch in self.cells.patches:
            middle = patch.centroid / max(1e-9, float(np.linalg.norm(patch.centroid)))
            wide = math.sqrt(patch.area) / 2
            points.append(_unit(middle + wide * random.normal(size=(24, 3))))
        found = np.concatenate(points)
        found = found[self._clear(found)]
        cell = self.cells.locate(found)
        found, cell = found[cell >= 0], cell[cell >= 0]
        face = self.paint(found)
        _, patch_number = np.unique(np.column_stack([cell, face]), axis=0, return_inverse=True)
        order = np.argsort(patch_number, kind="stable")
        starts = np.searchsorted(patch_number[order], patch_number[order])
        kept = np.sort(order[np.arange(len(order)) - starts < per_patch])
        found, cell = found[kept], cell[kept]
        assert np.bincount(cell, minlength=len(self.cells.areas)).min() >= 3, "a cell is missed"
        return found, cell

    def _clear(self, points: Points) -> np.ndarray:
        """Return which points are clear of all circles of layers and of the rims of the paint."""
        clear = np.ones(len(points), dtype=np.bool_)
        for layer in self.puzzle.layers:
            for height in (layer.low, layer.high):
                clear &= np.abs(points @ np.array(layer.axis) - height) > MARGIN
        heights = np.sort(points @ self.face_normals.T, axis=1)
        if self.painted:
            clear &= heights[:, -1] - heights[:, -2] > MARGIN
        return clear

    def paint(self, points: Points) -> Numbers:
        """Return the face of the body with which each point of the solved ball is painted."""
        if not self.painted:
            return np.full(len(points), -1)
        result: Numbers = (points @ self.face_normals.T).argmax(axis=1)
        return result

    def _slots_of_cells(self) -> Numbers:
        """Return the slot of every cell: the one whose stickers' outlines hold its points."""
        votes = np.zeros((len(self.cells.areas), self.puzzle.slot_count), dtype=np.int64)
        slots = np.array([sticker.slot for sticker in self.puzzle.stickers])
        held = self.sticker >= 0
        np.add.at(votes, (self.cell[held], slots[self.sticker[held]]), 1)
        result: Numbers = votes.argmax(axis=1)
        share = votes.max(axis=1) / np.bincount(self.cell, minlength=len(votes))
        assert share.min() > 0.8, "the stickers of a slot do not cover one cell"
        assert sorted(result.tolist()) == list(range(self.puzzle.slot_count))
        return result

    @cached_property
    def sticker(self) -> Numbers:
        """For each point the number of the sticker whose outline holds it, -1 for none."""
        result = np.full(len(self.home), -1)
        for number, sticker in enumerate(self.puzzle.stickers):
            inside = _inside(sticker.outline, self.home) & (self.face == sticker.face)
            result[inside & (result < 0)] = number
        return result

    def do(self, turns: Turns, points: Points | None = None) -> Points:
        """Return where the points are after turns, from where they are given to be (or home)."""
        now = (self.home if points is None else points).copy()
        for name, amount in turns:
            layer = self.layers[name]
            height = now @ np.array(layer.axis)
            held = (height > layer.low) & (height < layer.high)
            if self.loose:
                held = (np.bincount(self.piece, held) > self.sizes / 2)[self.piece]
            now[held] = now[held] @ clockwise(layer.axis, amount / layer.steps).T
        return now

    @cached_property
    def sizes(self) -> Numbers:
        """How many points each piece has."""
        result: Numbers = np.bincount(self.piece)
        return result

    def slots(self, points: Points) -> Numbers:
        """Return the slot in which each point (any points) is, -1 on a cut."""
        cell = self.cells.locate(points)
        return np.where(cell < 0, -1, self.slot_of_cell[cell])

    def carried(self, points: Points, which: np.ndarray | None = None) -> Numbers:
        """Return for every slot the one in which its piece is now; fails if it was torn apart.

        ``which`` (points,) says which points are looked at, None for all.
        """
        chosen = np.arange(len(points)) if which is None else np.flatnonzero(which)
        now = self.piece[chosen]
        away = np.any(points[chosen] != self.home[chosen], axis=1)
        now[away] = self.slots(points[chosen[away]])
        votes = np.zeros((self.puzzle.slot_count,) * 2, dtype=np.int64)
        np.add.at(votes, (self.piece[chosen[now >= 0]], now[now >= 0]), 1)
        result: Numbers = votes.argmax(axis=1)
        if not self.loose:
            torn = np.flatnonzero(result[self.piece[chosen]] != now)
            assert len(torn) == 0, f"points of one piece lie in several slots: {chosen[torn[:3]]}"
        assert sorted(result.tolist()) == list(range(self.puzzle.slot_count)), "pieces overlap"
        return result

    @cached_property
    def few(self) -> np.ndarray:
        """Three points of every piece, as a mask; enough where many words are looked at."""
        order = np.argsort(self.piece, kind="stable")
        starts = np.searchsorted(self.piece[order], self.piece[order])
        result = np.zeros(len(self.home), dtype=np.bool_)
        result[order[np.arange(len(order)) - starts < 3]] = True
        return result

    def rotations(self, points: Points) -> Points:
        """Return the rotation that every piece has made, (slots, 3, 3); fails if it was torn.

        It is fitted to the piece's points (the orthogonal Procrustes problem, by a singular value
        decomposition; Schoenemann, Psychometrika 31, 1966).
        """
        sums = np.zeros((self.puzzle.slot_count, 3, 3))
        np.add.at(sums, self.piece, points[:, :, None] * self.home[:, None, :])
        left, _, right = np.linalg.svd(sums)
        left[:, :, 2] *= np.linalg.det(left @ right)[:, None]
        result: Points = left @ right
        again = np.einsum("kij,kj->ki", result[self.piece], self.home)
        assert np.abs(again - points).max() < SAME_ROTATION, "a piece was bent"
        return result

    def placements(self, turns: Turns, few: bool = False) -> Numbers:
        """Return for every slot the placement at which its piece is after turns.

        The twist is the one whose frame fits the rotation of the points, apart from rotations that
        leave the look of all pieces of the type alone.
        """
        now = self.do(turns)
        carried = self.carried(now, self.few if few and not self.loose else None)
        rotations = self.rotations(now)
        result = np.empty_like(carried)
        for kind in self.puzzle.types:
            for slot in kind.slots:
                assert carried[slot] in kind.slots, "a piece came to a slot of another type"
                there = int(self.puzzle.home[carried[slot]])
                frame = rotations[slot] @ self.puzzle.frames[self.puzzle.home[slot]]
                own = self.puzzle.frames[there : there + kind.twists]
                off = np.array([self._off(slot, each, frame) for each in own])
                fits = np.flatnonzero(off < (LOOSE_ROTATION if self.loose else SAME_ROTATION))
                assert len(fits) == 1, f"slot {slot}: {len(fits)} twists fit"
                result[slot] = there + fits[0]
        return result

    def _off(self, slot: int, frame: Points, other: Points) -> float:
        """Return how far two frames of a slot's piece are apart, hidden rotations aside."""
        if self.loose and len(self.hidden[slot]) == 0:
            return 0.0
        return float(np.abs(frame @ self.hidden[slot] - other).max(axis=(1, 2)).min())

    @cached_property
    def hidden(self) -> list[Points]:
        """For each slot the rotations (n, 3, 3), in the slot's frame, that cannot be seen."""
        result: list[Points] = []
        for kind in self.puzzle.types:
            rows = self.puzzle.moves[:, list(kind.placements)]
            alone = np.all(self.puzzle.slot_of[rows] == self.puzzle.slot_of[list(kind.placements)])
            for slot in kind.slots:
                if slot == kind.first_slot or alone:
                    own = self._hidden(kind, [slot] if alone else list(kind.slots))
                result.append(own)
        return result

    def _hidden(self, kind: PieceType, slots: list[int]) -> Points:
        """Return rotations by 60ths about the middle that carry all of some pieces onto them.

        Where the tables tell hidden twists apart there are none but no rotation at all.
        """
        if self.loose:
            # A piece that fits roughly has no rotation of its own; where it shows no twist, any.
            return np.eye(3)[None] if kind.twists > 1 else np.zeros((0, 3, 3))
        if kind.twists != kind.seen:
            return np.eye(3)[None]
        cell = int(np.flatnonzero(self.slot_of_cell == slots[0])[0])
        axis = self.puzzle.frames[self.puzzle.home[slots[0]]].T @ _unit(self.cells.vectors[cell])
        spins = [
            clockwise((float(axis[0]), float(axis[1]), float(axis[2])), part / 60)
            for part in range(60)
        ]
        # Few points rule out nearly all; what is left must fit many.
        for many in (False, True):
            for slot in slots:
                if len(spins) > 1:
                    own = self._many(slot) if many else self.home[self.piece == slot]
                    spins = [spin for spin in spins if self._unseen(slot, spin, own)]
        return np.array(spins)

    def _many(self, slot: int) -> Points:
        """Return many points of a slot: a wrong rotation must not be missed."""
        random = np.random.default_rng(slot)
        found = [self.home[self.piece == slot]]
        for patch in self.cells.patches:
            if self.slot_of_cell[patch.piece] == slot:
                middle = _unit(patch.centroid)
                wide = math.sqrt(patch.area) / 2
                found.append(_unit(middle + wide * random.normal(size=(300, 3))))
        points = np.concatenate(found)
        points = points[self._clear(points)]
        result: Points = points[self.slots(points) == slot]
        return result

    def _unseen(self, slot: int, spin: Points, own: Points) -> bool:
        """Return whether a rotation in a slot's frame carries its points, and paint, onto it."""
        frame = self.puzzle.frames[self.puzzle.home[slot]]
        moved = own @ (frame @ spin @ frame.T).T
        clear = self._clear(moved)
        if not np.array_equal(self.paint(moved)[clear], self.paint(own)[clear]):
            return False
        return bool(np.all(self.slots(moved)[clear] == slot))

    def moved(self, points: Points) -> tuple[int, ...]:
        """Return the pieces that are not at home, or are twisted there so that it can be seen."""
        away = self.carried(points) != np.arange(self.puzzle.slot_count)
        rotations = self.rotations(points)
        for slot, rotation in enumerate(rotations):
            frame = self.puzzle.frames[self.puzzle.home[slot]]
            away[slot] |= self._off(slot, frame, rotation @ frame) > SAME_ROTATION
        return tuple(np.flatnonzero(away).tolist())

    def held_up(self, turns: Turns) -> int | None:
        """Return the place of the first turn that is not possible, None if all are.

        That is one whose layer holds some points of an uncut piece and leaves others.
        """
        now = self.home
        for place, (name, amount) in enumerate(turns):
            layer = self.layers[name]
            height = now @ np.array(layer.axis)
            held = (height > layer.low) & (height < layer.high)
            share = np.bincount(self.whole, held) / np.bincount(self.whole)
            if np.any((share > 0) & (share < 1)):
                return place
            now = self.do([(name, amount)], now)
        return None

    @cached_property
    def whole(self) -> Numbers:
        """For each point the uncut piece, of the layers' own circles alone, that it lies in."""
        uncut = ball.cut(self.puzzle.body, self.puzzle.layers, False, closed=False)
        return uncut.locate(self.home)

    def right_looks(self, turns: Turns, placements: Numbers, slots: Numbers) -> np.ndarray:
        """Return which of some slots look, after turns, as with pieces at given placements.

        ``placements`` (slots,) says for each piece where it ought to be.
        """
        now = self.do(turns)
        there = self.carried(now)[self.piece]
        result = np.ones(len(slots), dtype=np.bool_)
        ought = self.puzzle.slot_of[placements]
        for k, slot in enumerate(slots.tolist()):
            piece = int(np.flatnonzero(ought == slot)[0])
            home = self.puzzle.frames[self.puzzle.home[piece]]
            back = now[there == slot] @ (self.puzzle.frames[placements[piece]] @ home.T)
            clear = self._clear(back)
            result[k] = np.array_equal(self.paint(back)[clear], self.face[there == slot][clear])
        return result

    def sticker_effect(self, turns: Turns) -> Numbers:
        """Return for every sticker of the solved puzzle the sticker on whose place it then is.

        For puzzles all of whose slots are painted alike, type by type.
        """
        now = self.do(turns)
        slots = self.carried(now)
        votes = np.zeros((len(self.puzzle.stickers),) * 2, dtype=np.int64)
        there = self.sticker_at(now, slots[self.piece])
        held = (self.sticker >= 0) & (there >= 0)
        np.add.at(votes, (self.sticker[held], there[held]), 1)
        result: Numbers = votes.argmax(axis=1)
        assert (votes.max(axis=1) > 0.8 * votes.sum(axis=1)).all(), "a sticker was torn apart"
        assert sorted(result.tolist()) == list(range(len(result))), "stickers overlap"
        return result

    def sticker_at(self, points: Points, slots: Numbers | None = None) -> Numbers:
        """Return the sticker in which each point (any points) lies, -1 for none.

        ``slots`` (points,) are the slots in which they are known to lie.
        """
        slots = self.slots(points) if slots is None else slots
        face = self.paint(points)
        result = np.full(len(points), -1)
        for number, sticker in enumerate(self.puzzle.stickers):
            some = np.flatnonzero((slots == sticker.slot) & (face == sticker.face))
            if len(some):
                result[some[_inside(sticker.outline, points[some], self.home[::25])]] = number
        return result


def _cut(puzzle: Puzzle, painted: bool) -> ball.BallCells:
    """Return the cells of a puzzle, with its cuts carried on or not."""
    try:
        cells = ball.cut(puzzle.body, puzzle.layers, painted)
        if len(cells.areas) == puzzle.slot_count:
            return cells
    except TrefoilError:
        pass
    return ball.cut(puzzle.body, puzzle.layers, painted, closed=False)


def _unit(points: Points) -> Points:
    result: Points = points / np.linalg.norm(points, axis=-1, keepdims=True)
    return result


def _inside(outline: Points, points: Points, more: Points | None = None) -> np.ndarray:
    """Return which points lie within a closed line on the sphere, counter-clockwise around it.

    In a picture in the plane, drawn from a place far from the line (stereographic projection), the
    line winds about points inside otherwise than about those outside. ``more`` are points some of
    which are outside, where all of ``points`` may be inside.
    """
    both = points if more is None else np.concatenate([points, more])
    candidates = np.concatenate([np.eye(3), -np.eye(3), _unit(np.array([[1, 2, 3], [-3, 1, -2]]))])
    far = candidates[(candidates @ outline.T).max(axis=1).argmin()]
    side = _unit(np.cross(far, np.eye(3)[np.abs(far).argmin()]))
    up = np.cross(far, side)

    def plane(x: Points) -> np.ndarray:
        scale = 1 - x @ far
        result: np.ndarray = (x @ side + 1j * (x @ up)) / scale
        return result

    line = plane(outline)
    offsets = line[None, :] - plane(both)[:, None]
    steps = np.angle(np.roll(offsets, -1, axis=1) / offsets)
    # The picture is a mirror image, so that winding numbers are one less inside than outside.
    winding = np.rint(steps.sum(axis=1) / (2 * math.pi)).astype(np.int64)
    result: np.ndarray = winding[: len(points)] < max(0, int(winding.max()))
    return result


def assert_three_cycle(
    shown: PlainBall,
    turns: list[tuple[str, int]],
    cycle: Sequence[int],
    free: set[str],
    alike: bool,
) -> None:
    """Check on points that turns cycle three pieces; see ``tests.plain.assert_three_cycle``."""
    puzzle = shown.puzzle
    wanted = puzzle.home.astype(np.int64)
    slots = [int(puzzle.slot_of[p]) for p in cycle]
    assert len(set(slots)) == 3, f"the cycle {cycle} does not name three pieces"
    for start, end in zip(cycle, (*cycle[1:], cycle[0]), strict=True):
        kind = puzzle.types[int(puzzle.type_of[puzzle.slot_of[start]])]
        assert int(puzzle.slot_of[end]) in kind.slots, "a cycle stays within one type"
        assert kind.name not in free, "the cycle is of a type that is free"
        twist = (int(puzzle.twist_of[end]) - int(puzzle.twist_of[start])) % kind.twists
        wanted[puzzle.slot_of[start]] = puzzle.home[puzzle.slot_of[end]] + twist
    assert shown.held_up(turns) is None or not puzzle.can_block, "a turn is not possible"
    released = {slot for kind in puzzle.types if kind.name in free for slot in kind.slots}
    kept = np.array([slot not in released for slot in range(puzzle.slot_count)])
    if alike:
        right = shown.right_looks(turns, wanted, np.flatnonzero(kept))
        assert right.all(), f"wrong colours in slots {np.flatnonzero(kept)[~right].tolist()}"
        return
    wrong = np.flatnonzero((shown.placements(turns) != wanted) & kept)
    assert len(wrong) == 0, f"the pieces {wrong.tolist()} are not where they were wanted"
    if not released:
        assert shown.moved(shown.do(turns)) == tuple(sorted(slots))
        assert shown.moved(shown.do(turns * 3)) == (), "three times over it is not the identity"
