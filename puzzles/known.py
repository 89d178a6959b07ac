"""What the layers of the catalogue's puzzles do, kept as data: comparing needs no compiling.

``python -m puzzles.known`` writes the data anew; a test says when that is due.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from puzzles.acting import Action
from puzzles.layer_group import layer_steps
from puzzles.puzzle import Puzzle

#: The file's name in the catalogue's folder.
FILE = "actions.json"


def action(puzzle: Puzzle, layers: Iterable[int] | None = None) -> Action:
    """Return the action of layers (all if None) on the placements that any of them moves."""
    chosen = tuple(range(len(puzzle.layers))) if layers is None else tuple(layers)
    steps = layer_steps(puzzle)[list(chosen)]
    every = Action(steps, chosen, tuple(range(puzzle.placement_count)))
    return every.on(np.flatnonzero((steps != np.arange(steps.shape[1])).any(axis=0)).tolist())


def slots_action(puzzle: Puzzle, number: int) -> Action:
    """Return the action on the slots of a type, by its number, twist left aside."""
    kind = puzzle.types[number]
    steps = puzzle.slot_of[layer_steps(puzzle)[:, puzzle.home[list(kind.slots)]]] - kind.first_slot
    return Action(steps, tuple(range(len(puzzle.layers))), tuple(kind.slots)).distinct()


def type_action(puzzle: Puzzle, number: int) -> Action:
    """Return the action on the placements of a type, by its number."""
    kind = puzzle.types[number]
    steps = layer_steps(puzzle)[:, list(kind.placements)] - kind.first_placement
    every = tuple(range(len(puzzle.layers)))
    return Action(steps, every, tuple(kind.placements)).distinct()


@dataclass(frozen=True)
class KnownType:
    """A piece type of a catalogue puzzle; signatures of its placements and of its slots.

    They are empty where no layer carries a piece to another slot.
    """

    name: str
    count: int
    twists: int
    placements: str
    slots: str


@dataclass(frozen=True, eq=False)
class Known:
    """A catalogue puzzle: its layers' cycles of placements, its types and its identity."""

    name: str
    digest: str
    layers: tuple[str, ...]
    types: tuple[KnownType, ...]
    cycles: tuple[tuple[tuple[int, ...], ...], ...]
    orbits: tuple[str, ...]

    @cached_property
    def type_of(self) -> list[int]:
        """The number of the type of each placement."""
        return [k for k, t in enumerate(self.types) for _ in range(t.count * t.twists)]

    @cached_property
    def slot_of(self) -> list[int]:
        """The slot of each placement."""
        result: list[int] = []
        slot = 0
        for kind in self.types:
            for _ in range(kind.count):
                result += [slot] * kind.twists
                slot += 1
        return result

    @cached_property
    def action(self) -> Action:
        """The action of all layers on the placements that any of them moves."""
        steps = np.tile(np.arange(len(self.type_of), dtype=np.int32), (len(self.layers), 1))
        for row, cycles in zip(steps, self.cycles, strict=True):
            for cycle in cycles:
                row[list(cycle)] = np.roll(cycle, -1)
        every = Action(steps, tuple(range(len(self.layers))), tuple(range(steps.shape[1])))
        return every.on(np.flatnonzero((steps != np.arange(steps.shape[1])).any(axis=0)).tolist())

    def type_action(self, number: int) -> Action:
        """Return the action on the placements of a type."""
        own = [k for k, p in enumerate(self.action.points) if self.type_of[p] == number]
        return self.action.on(own).distinct()

    def slots_action(self, number: int) -> Action:
        """Return the action on the slots of a type, twist left aside."""
        placements = self.type_action(number)
        slots = sorted({self.slot_of[p] for p in placements.points})
        first = [
            next(k for k, p in enumerate(placements.points) if self.slot_of[p] == s) for s in slots
        ]
        place = {slot: k for k, slot in enumerate(slots)}
        there = np.array([place[self.slot_of[p]] for p in placements.points], dtype=np.int32)
        return Action(there[placements.steps[:, first]], placements.layers, tuple(slots)).distinct()


def roams(puzzle: Puzzle, number: int) -> bool:
    """Return whether a layer carries some piece of a type to another slot."""
    kind = puzzle.types[number]
    images = puzzle.slot_of[puzzle.moves[:, puzzle.home[list(kind.slots)]]]
    return bool((images != np.array(kind.slots)).any())


def record(puzzle: Puzzle) -> dict[str, Any]:
    """Return what is kept of a puzzle, as JSON has it."""
    own = action(puzzle)
    return {
        "digest": puzzle.digest,
        "layers": [layer.name for layer in puzzle.layers],
        "types": [
            [
                kind.name,
                kind.count,
                kind.twists,
                type_action(puzzle, kind.number).signature if roams(puzzle, kind.number) else "",
                slots_action(puzzle, kind.number).signature if roams(puzzle, kind.number) else "",
            ]
            for kind in puzzle.types
        ],
        "cycles": [[[own.points[p] for p in cycle] for cycle in cycles] for cycles in own.cycles],
        "orbits": [own.on(orbit).signature for orbit in own.orbits()],
    }


@lru_cache(maxsize=1)
def known() -> tuple[Known, ...]:
    """Return the kept puzzles, those with few layers and placements first."""
    path = resources.files("puzzles") / "catalogue" / FILE
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return ()
    result = [
        Known(
            name,
            own["digest"],
            tuple(own["layers"]),
            tuple(KnownType(*row) for row in own["types"]),
            tuple(tuple(tuple(c) for c in cycles) for cycles in own["cycles"]),
            tuple(own["orbits"]),
        )
        for name, own in data.items()
    ]
    return tuple(sorted(result, key=lambda k: (len(k.layers), len(k.type_of), k.name)))


def text(puzzles: Iterable[Puzzle]) -> str:
    """Return the data of puzzles as it stands in the file: one line for each."""
    # What is blocked is less than the layers do, so nothing can be said to move as such a puzzle.
    lines = [
        f"{json.dumps(puzzle.name)}: {json.dumps(record(puzzle), separators=(',', ':'))}"
        for puzzle in puzzles
        if not puzzle.can_block
    ]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def main() -> None:
    """Write the data of the whole catalogue."""
    from puzzles import file, load

    path = Path(__file__).parent / "catalogue" / FILE
    path.write_text(text(load(name) for name in file.catalogue()), encoding="utf-8")


if __name__ == "__main__":
    main()
