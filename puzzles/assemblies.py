"""Whether turns can lead to a state: the laws that it breaks, and the smallest repair by hand.

A puzzle that was taken apart and put together at random is rarely solvable. A repair takes pieces
out and puts them back in each other's slots, or twisted in their own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from puzzles.assembly_search import possible, searched
from puzzles.group import further_laws
from puzzles.laws import Law, joined, plural
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.mending import brought_in, mend
from puzzles.names import placement_name, slot_names
from puzzles.puzzle import Puzzle, Table
from puzzles.states import State

#: Kinds of laws beyond parity and twist.
BEYOND = ("fewer", "in step", "tied")
#: Steps of a repair that a sentence lists before it breaks off.
SHOWN = 3


@dataclass(frozen=True, eq=False)
class Repair:
    """Pieces to take out, by the slots that they are in, and how to put them back.

    ``effect`` says what is done to the state, shape (placements,); ``steps`` say it in words.
    ``least``: it is proven that no repair takes out fewer pieces.
    """

    slots: tuple[int, ...]
    effect: Table
    steps: tuple[str, ...]
    least: bool

    @property
    def text(self) -> str:
        """The whole repair in one clause."""
        return "; ".join(self.steps)


@dataclass(frozen=True, eq=False)
class Judgement:
    """Whether some sequence leads to a state; if none does, why, and how to mend it by hand.

    ``certain`` is false where turns can be blocked and the group alone says that it is possible, or
    where the order of the group is not proven. ``broken`` are the laws that the state breaks.
    """

    possible: bool
    certain: bool
    broken: tuple[Law, ...]
    reason: str
    repair: Repair | None


def judge(state: State, layers: Iterable[int] | None = None) -> Judgement:
    """Return whether a state can be solved by turns of some layers, all if None."""
    puzzle = state.puzzle
    own = layer_group(puzzle, layers)
    if possible(own, state):
        return Judgement(True, own.proven and not puzzle.can_block, (), "", None)
    repair, broken, stray = _repair(own, state)
    reason = _reason(own, state, broken, repair, stray)
    return Judgement(False, True, broken, reason, repair)


def all_home(state: State) -> Repair:
    """Return the repair that puts every piece home that is not solved; others may take fewer."""
    effect = np.argsort(state.table).astype(np.int32)
    moved = np.flatnonzero(effect[state.puzzle.home] != state.puzzle.home)
    return Repair(tuple(moved.tolist()), effect, tuple(_steps(state.puzzle, effect)), False)


def _repair(own: LayerGroup, state: State) -> tuple[Repair, tuple[Law, ...], tuple[int, ...]]:
    """Return the smallest repair, the laws that a state breaks, and pieces that are astray."""
    puzzle, first = own.puzzle, mend(own, state)
    effect, least, broken = first.effect, first.least, list(first.broken)
    mended = possible(own, state.after(effect))
    if first.stray or not mended:
        broken += _further(own, state)
    if not mended:
        inside, _, _ = brought_in(own, state)
        types = {k for law in broken if law.kind in BEYOND for k in law.types}
        found = searched(own, state.after(inside), types)
        # Else everything that is not solved is put home: a repair, though hardly the smallest.
        effect = np.argsort(state.table).astype(np.int32) if found is None else found[0][inside]
        least = found is not None and found[1] and not first.stray
    moved = (effect[puzzle.home] != puzzle.home).nonzero()[0]
    slots = tuple(int(k) for k in moved)
    return Repair(slots, effect, tuple(_steps(puzzle, effect)), least), tuple(broken), first.stray


def _further(own: LayerGroup, state: State) -> list[Law]:
    """Return the laws beyond parity and twist that a state breaks: of as few types as show it."""
    found: list[Law] = []
    for law in sorted(further_laws(own), key=lambda law: len(law.types)):
        if any(set(other.types) <= set(law.types) for other in found):
            continue
        if not possible(layer_group(own.puzzle, own.layers, law.types), state):
            found.append(law)
    return found


def _steps(puzzle: Puzzle, effect: Table) -> list[str]:
    """Return what a repair does to the pieces, cycle by cycle, in words."""
    names, result = slot_names(puzzle), []
    done: set[int] = set()
    for slot in range(puzzle.slot_count):
        home = int(puzzle.home[slot])
        if slot in done or effect[home] == home:
            continue
        cycle, there = [slot], int(puzzle.slot_of[effect[home]])
        while there != slot:
            cycle.append(there)
            there = int(puzzle.slot_of[effect[puzzle.home[there]]])
        done.update(cycle)
        kind = puzzle.types[int(puzzle.type_of[slot])]
        goes = [
            (placement_name(puzzle, int(puzzle.home[k])), int(effect[puzzle.home[k]]))
            for k in cycle
        ]
        ways = [f"what is at {name} comes to {placement_name(puzzle, to)}" for name, to in goes]
        if len(cycle) == 1:
            verb = "flip" if kind.twists == 2 else "turn"
            how = "" if kind.twists == 2 else f" so that {ways[0]}"
            result.append(f"{verb} the {kind.name} at {names[slot]} in its slot{how}")
        elif len(cycle) == 2:
            straight = all(puzzle.twist_of[to] == 0 for _, to in goes)
            how = "" if straight else f" so that {joined(ways)}"
            result.append(
                f"swap the {kind.name} at {names[slot]} with that at {names[cycle[1]]}{how}"
            )
        else:
            result.append(
                f"move {len(cycle)} pieces of the type {kind.name} so that {joined(ways)}"
            )
    return result


def _reason(
    own: LayerGroup, state: State, broken: tuple[Law, ...], repair: Repair, stray: tuple[int, ...]
) -> str:
    """Return in one sentence why no sequence leads to a state, and how to mend it."""
    why = _astray(own, state, stray) or _moved(own, state, repair)
    if not why:
        laws = [law.text[0].lower() + law.text[1:-1].partition(":")[0] for law in broken]
        hold = "that does" if len(laws) == 1 else "they do"
        why = [f"{joined(laws)}, and here {hold} not hold" if laws else "no turns make this"]
    count = len(repair.slots)
    how = "the smallest repair takes" if repair.least else "one repair takes"
    more = "" if len(repair.steps) <= SHOWN else f"; and {len(repair.steps) - SHOWN} more steps"
    text = "; ".join(repair.steps[:SHOWN]) + more
    return f"{'; '.join(why)}; {how} out {count} piece{'s' * (count != 1)}: {text}"


def _astray(own: LayerGroup, state: State, stray: tuple[int, ...]) -> list[str]:
    """Say of the first piece that turns never bring to where it is why they do not."""
    if not stray:
        return []
    puzzle, names, piece = own.puzzle, slot_names(own.puzzle), stray[0]
    kind = puzzle.types[int(puzzle.type_of[piece])]
    slot = int(puzzle.slot_of[state.table[puzzle.home[piece]]])
    if any(part.single and piece in part.slots for part in own.parts) and slot != piece:
        return [
            f"{names[piece]} sits at {names[slot]}, but {plural(kind.name)} never leave their slots"
        ]
    return [f"turns never bring the {kind.name} {names[piece]} to {names[slot]} as it sits there"]


def _moved(own: LayerGroup, state: State, repair: Repair) -> list[str]:
    """Say what must have been done by hand, where that is a twist or a swap of a type's pieces."""
    puzzle, why = own.puzzle, []
    for number in sorted({int(puzzle.type_of[k]) for k in repair.slots}):
        kind = puzzle.types[number]
        pieces = [k for k in repair.slots if puzzle.type_of[k] == number]
        goes = [int(puzzle.slot_of[repair.effect[puzzle.home[k]]]) for k in pieces]
        if len(pieces) == 1:
            word = "flipped" if kind.twists == 2 else "twisted"
            like = "" if _never_twisted_alone(own, state, pieces[0]) else " like that"
            why.append(
                f"one {kind.name} alone can't be {word}{like}: a piece was turned in its place"
            )
        elif len(pieces) == 2 and goes != pieces:
            why.append(
                f"two {plural(kind.name)} alone can't be swapped: two pieces were put back in each "
                "other's slots"
            )
        else:
            return []
    return why


def _never_twisted_alone(own: LayerGroup, state: State, slot: int) -> bool:
    """Return whether no twist of a piece alone, none of those that show, can be done."""
    puzzle = own.puzzle
    kind = puzzle.types[int(puzzle.type_of[slot])]
    home = int(puzzle.home[slot])
    own_twists = np.arange(kind.twists)
    for x in range(1, kind.twists if state.apart else kind.seen):
        effect = np.arange(puzzle.placement_count, dtype=np.int32)
        effect[home + own_twists] = home + (own_twists + x) % kind.twists
        if own.contains(effect)[0]:
            return False
    return True
