"""A plain simulator of blocked turns that shares nothing with the tables: bodies of stickers.

Built on sampled points (``tests.plain``): which sticker each turn carries where, and which stickers
are inside a layer, are read off points. Fastened pieces are named by their faces, a body is all of
their stickers, and a turn is possible if every body is inside its layer or outside it. How layers
stand is counted turn by turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from puzzles.puzzle import Puzzle
from tests.plain import plain

State = tuple[int, ...]


class Rigid:
    """Where every sticker is, and what may turn."""

    def __init__(
        self,
        puzzle: Puzzle,
        bonds: Iterable[Sequence[str]] = (),
        stops: Mapping[str, Sequence[int]] | None = None,
    ) -> None:
        self.puzzle = puzzle
        shown = plain(puzzle)
        self.stops = dict(stops or {})
        self.moves = [
            shown.sticker_effect([(turn.layer, turn.amount)]).tolist() for turn in puzzle.turns
        ]
        of_point = shown.stickers[shown.patch]
        self.inside: dict[str, set[int]] = {}
        for layer in puzzle.layers:
            depth = shown.home @ np.array(layer.axis)
            held = (depth > layer.low) & (depth < layer.high)
            self.inside[layer.name] = set(of_point[held].tolist())
        faces: dict[int, set[str]] = {}
        own: dict[int, set[int]] = {}
        for piece, face, sticker in zip(shown.piece, shown.face, of_point, strict=True):
            faces.setdefault(int(piece), set()).add(puzzle.body.faces[int(face)].name)
            own.setdefault(int(piece), set()).add(int(sticker))
        named = {frozenset(letters): own[piece] for piece, letters in faces.items()}
        self.bodies = [sorted(s for name in bond for s in named[frozenset(name)]) for bond in bonds]
        self.start: State = tuple(range(len(puzzle.stickers)))

    def possible(self, state: State, turn: int) -> bool:
        """Return whether no body would be torn apart."""
        inside = self.inside[self.puzzle.turns[turn].layer]
        return all(len({state[s] in inside for s in body}) == 1 for body in self.bodies)

    def after(self, state: State, turn: int) -> State:
        """Return where every sticker is after one turn."""
        move = self.moves[turn]
        return tuple([move[s] for s in state])

    def first_blocked(self, word: Iterable[int]) -> int | None:
        """Return the place of the first turn of a word that cannot be done."""
        state = self.start
        standing = dict.fromkeys(self.inside, 0)
        for at, turn in enumerate(word):
            own = self.puzzle.turns[turn]
            there = (standing[own.layer] + own.amount) % self.puzzle.layer(own.layer).steps
            stops = self.stops.get(own.layer)
            if (stops is not None and there not in stops) or not self.possible(state, turn):
                return at
            standing[own.layer] = there
            state = self.after(state, turn)
        return None
