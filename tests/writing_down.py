"""A compiled puzzle written down as cycles of numbered places, and such cycles done by hand.

Knows nothing of how they are read: the words are built and taken apart here once more.
"""

from __future__ import annotations

import re

from puzzles.puzzle import Puzzle


def moving_slots(puzzle: Puzzle) -> list[int]:
    """Return the slots of the types that move; slot number k of them is place k + 1."""
    return [slot for kind in puzzle.types if kind.moves for slot in kind.slots]


def written_down(puzzle: Puzzle) -> str:
    """Return a puzzle file that gives every layer's smallest step as cycles of places."""
    slots = moving_slots(puzzle)
    lines = ['description = "Written down."', 'shape = "written"', f"places = {len(slots)}"]
    number = {slot: k + 1 for k, slot in enumerate(slots)}
    ways = {number[s]: puzzle.types[int(puzzle.type_of[s])].twists for s in slots}
    shown = ", ".join(f'"{place}" = {n}' for place, n in ways.items() if n > 1)
    lines.append(f"twists = {{{shown}}}")
    for layer in puzzle.layers:
        turn = next(k for k, t in enumerate(puzzle.turns) if (t.layer, t.amount) == (layer.name, 1))
        image = puzzle.moves[turn][puzzle.home]
        done: set[int] = set()
        cycles = []
        for slot in slots:
            entries: list[str] = []
            twist, there = 0, slot
            while there not in done:
                done.add(there)
                entries.append(f"{number[there]}" + (f"+{twist}" if twist else ""))
                twist = int(puzzle.twist_of[image[there]])
                there = int(puzzle.slot_of[image[there]])
            if len(entries) > 1 or (entries and twist):
                # The twist with which the last one comes back to the first.
                entries[0] += f"+{twist}" if twist else ""
                cycles.append("(" + " ".join(entries) + ")")
        lines += ["[[turns]]", f'name = "{layer.name}"', f'cycles = "{" ".join(cycles)}"']
    return "\n".join(lines) + "\n"


State = dict[int, tuple[int, int]]


def done_by_hand(
    turns: dict[str, str], twists: dict[int, int], places: int, sequence: str
) -> State:
    """Return where the piece of each place is in the end, and how it is twisted there.

    ``sequence`` has turns such as ``A2'`` with spaces between them; ``twists`` counts the ways in
    which a piece can sit, 1 for places that are not there.
    """
    state = {place: (place, 0) for place in range(1, places + 1)}
    for turn in sequence.split():
        found = re.fullmatch(r"([0-9]*[A-Za-z]+)([0-9]*)('?)", turn)
        assert found is not None, turn
        step: dict[int, tuple[int, int]] = {}
        for cycle in re.findall(r"\(([^)]*)\)", turns[found[1]]):
            entries = [entry.partition("+") for entry in cycle.split()]
            for k, entry in enumerate(entries):
                there = entries[(k + 1) % len(entries)]
                step[int(entry[0])] = int(there[0]), int(there[2] or 0)
        if found[3]:
            step = {there: (here, -twist) for here, (there, twist) in step.items()}
        for _ in range(int(found[2] or 1)):
            for piece, (place, twist) in state.items():
                there_now, more = step.get(place, (place, 0))
                state[piece] = there_now, (twist + more) % twists.get(there_now, 1)
    return state
