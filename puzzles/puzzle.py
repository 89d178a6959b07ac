"""The compiled puzzle: frozen tables of slots, placements and turns, and their digest."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import Body
from puzzles.turns import Layer, Turn

#: Turn numbers, done left to right; the form of a sequence that tables and kernels use.
Word = tuple[int, ...]
Table = NDArray[np.int32]


@dataclass(frozen=True)
class PieceType:
    """Pieces that can reach each other's slots, or like ones that never leave theirs.

    Slots and placements are numbered in a row. Reaching counts all steps of a layer, also those at
    which it may not stop.
    ``twists`` counts the ways, told apart by the tables, in which a piece can sit in a slot; paint
    shows ``seen`` of them, a divisor. Placement ``first_placement + k * twists + x`` is the type's
    slot number k with twist x. ``moves`` is false where no layer carries a piece of the type to
    another slot or twist. ``stickered``: every slot of the type is painted alike, so that the
    stickers name placements.
    """

    name: str
    number: int
    first_slot: int
    count: int
    twists: int
    first_placement: int
    moves: bool
    seen: int
    stickered: bool

    @property
    def slots(self) -> range:
        return range(self.first_slot, self.first_slot + self.count)

    @property
    def placements(self) -> range:
        return range(self.first_placement, self.first_placement + self.count * self.twists)


@dataclass(frozen=True)
class Blocked:
    """A turn that is not possible where it stands: its place in a word, and why.

    ``slots`` are where the pieces that hold it up are at home.
    """

    at: int
    turn: int
    slots: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Sticker:
    """A visible patch: its slot, the number of its face, its outline (corners, 3), its class.

    Stickers of one class can reach each other. ``placement`` is the placement whose sticker of
    this class is here; -1 where the class does not show the twist (a patch on the twisting axis),
    and where the slots of a type are not painted alike. On a ball the outline is a closed line of
    points on the unit sphere. ``face`` is -1 where there is no paint.
    """

    slot: int
    face: int
    kind: int
    placement: int
    outline: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Symmetry:
    """A rotation or reflection that carries layers to layers.

    ``placements[p]`` and ``turns[t]`` are the images of placement p and turn t: doing t, then the
    symmetry, is doing the symmetry, then ``turns[t]``. ``matrix`` has the shape (3, 3).
    """

    matrix: NDArray[np.float64]
    reflects: bool
    placements: Table
    turns: Table
    layers: Table
    stickers: Table


@dataclass(frozen=True, eq=False)
class Places:
    """The numbered places of a written-down puzzle, slot by slot: names, and how they are drawn.

    ``points`` (slots, 2) are across and up, None where the file says nothing; a colour is "#RRGGBB"
    or empty.
    """

    names: tuple[str, ...]
    points: NDArray[np.float64] | None
    colours: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Puzzle:
    """Everything that searching, naming and drawing need, compiled once.

    ``moves[t, p]`` is the placement to which turn t carries what is at placement p. A piece is
    called by the number of its home slot; at home its twist is 0. ``frames[p]`` is the rotation
    that carries the shape of the type's first slot to placement p, or, where pieces never leave
    their slots, the shape at home to its twist.

    ``shape`` is "solid", "ball" or "written" (turns given as cycles; there is no geometry then: no
    faces, no directions, no stickers, but ``places``). Where turns may be blocked, ``moves`` says
    where pieces go when they are not: ``bonds`` are slots at home whose pieces are fastened
    together, so that no layer may hold only some of them; ``blocked[t, p]`` is true where a piece
    at placement p forbids turn t.
    """

    name: str
    description: str
    body: Body
    up: str
    front: str
    layers: tuple[Layer, ...]
    turns: tuple[Turn, ...]
    types: tuple[PieceType, ...]
    stickers: tuple[Sticker, ...]
    moves: Table
    turn_layer: Table
    slot_of: Table
    twist_of: Table
    type_of: Table
    home: Table
    directions: NDArray[np.float64]
    depths: NDArray[np.float64]
    in_layer: NDArray[np.bool_]
    commutes: NDArray[np.bool_]
    alike: Table
    alike_twist: Table
    symmetries: tuple[Symmetry, ...] = field(repr=False)
    frames: NDArray[np.float64]
    note: str = ""
    shape: str = "solid"
    bonds: tuple[tuple[int, ...], ...] = ()
    blocked: NDArray[np.bool_] | None = None
    places: Places | None = None

    def __repr__(self) -> str:
        return f"load({self.name!r})"

    def _repr_svg_(self) -> str:
        from puzzles.picture import draw

        return draw(self)

    @property
    def slot_count(self) -> int:
        return len(self.home)

    @property
    def placement_count(self) -> int:
        return len(self.slot_of)

    @cached_property
    def turn_numbers(self) -> dict[Turn, int]:
        """The number of every turn."""
        return {turn: number for number, turn in enumerate(self.turns)}

    @cached_property
    def inverses(self) -> Table:
        """The number of the turn that undoes each turn."""
        undone = [
            self.turn_numbers[Turn(t.layer, self.layer(t.layer).steps - t.amount)]
            for t in self.turns
        ]
        return np.array(undone, dtype=np.int32)

    @cached_property
    def layer_numbers(self) -> dict[str, int]:
        """The number of every layer by its name."""
        return {layer.name: number for number, layer in enumerate(self.layers)}

    def layer(self, name: str) -> Layer:
        """Return the layer with this name; raises KeyError."""
        return self.layers[self.layer_numbers[name]]

    def turn(self, layer: int, amount: int) -> int | None:
        """Return the number of the turn of a layer by an amount of any size, None for none.

        Raises KeyError where the layer never stops after that amount.
        """
        steps = self.layers[layer].steps
        amount %= steps
        if amount == 0:
            return None
        return self.turn_numbers[Turn(self.layers[layer].name, amount)]

    def inverse(self, word: Iterable[int]) -> Word:
        """Return the turns that undo a word."""
        return tuple(int(self.inverses[t]) for t in reversed(tuple(word)))

    def effect(self, word: Iterable[int]) -> Table:
        """Return where each placement goes under a word; shape (placements,)."""
        result = np.arange(self.placement_count, dtype=np.int32)
        for turn in word:
            result = self.moves[turn][result]
        return result

    @property
    def can_block(self) -> bool:
        """Whether there are states in which some turn is not possible."""
        return bool(self.bonds) or self.blocked is not None

    def first_blocked(self, word: Iterable[int], state: Table | None = None) -> Blocked | None:
        """Return the first turn of a word that is not possible, None if all can be done.

        ``state`` (placements,) is the effect that led to where the word begins, None for solved.
        """
        if not self.can_block:
            return None
        effect = np.arange(self.placement_count, dtype=np.int32) if state is None else state
        for at, turn in enumerate(word):
            slots = self._in_the_way(turn, effect)
            if slots:
                return Blocked(at, turn, slots)
            effect = self.moves[turn][effect]
        return None

    def _in_the_way(self, turn: int, effect: Table) -> tuple[int, ...]:
        places = effect[self.home]
        # As a list: bodies are a few slots each, too few for arrays to pay.
        inside = self.in_layer[self.turn_layer[turn], self.slot_of[places]].tolist()
        for group in self.bonds:
            first = inside[group[0]]
            if any(inside[slot] != first for slot in group):
                return group
        if self.blocked is not None:
            own = np.flatnonzero(self.blocked[turn, places])
            return tuple(int(slot) for slot in own[:1])
        return ()

    def type_named(self, name: str) -> PieceType | None:
        """Return the piece type with this name, or None."""
        return next((t for t in self.types if t.name == name), None)

    @cached_property
    def digest(self) -> str:
        """What identifies the puzzle in caches: its tables and the names of layers and slots.

        Symmetries are among the tables: two boxes may be cut into the same tables and yet have
        different symmetries, and what a search keeps is told only up to symmetry.
        """
        from puzzles.names import slot_names

        parts: list[object] = [
            [(t.layer, t.amount) for t in self.turns],
            [(t.count, t.twists) for t in self.types],
            slot_names(self),
        ]
        if self.bonds:
            parts.append(self.bonds)
            parts.append(self.in_layer.tobytes())
        if self.blocked is not None:
            parts.append(self.blocked.tobytes())
        state = hashlib.sha256(repr(parts).encode())
        state.update(np.ascontiguousarray(self.moves).tobytes())
        for image in sorted(s.turns.tobytes() + s.placements.tobytes() for s in self.symmetries):
            state.update(image)
        return state.hexdigest()
