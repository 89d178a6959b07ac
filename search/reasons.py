"""Why a bracket works, in words: what A disturbs of what B moves, what waits there, what slips in.

If the sets of places that two permutations move meet in exactly one, their commutator is a
three-cycle (e.g. Dixon and Mortimer, Permutation Groups, 1996, section 3.3). With P the shared slot
the piece at P goes to B'(P), the one there to A'(P), and that one to P.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from puzzles.effects import Cycle, cycles, effect_of
from puzzles.names import placement_name, slot_names
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from search.brackets import Form
from search.traces import alphabet

#: How many slots or pieces a sentence lists before it only counts.
LISTED = 6


@dataclass(frozen=True)
class Reason:
    """What A and B share, in slot numbers, after the setup.

    ``kind`` is ``"three-cycle"`` or ``"twists"`` (a pair) where they share one slot, ``"nothing"``
    where [A, B] does nothing, else ``"more"``. Where one slot is shared, ``shared[0]``, ``waits``
    is the slot whose piece is there after A, and ``slips`` the one whose piece B brings there.
    """

    kind: str
    shared: tuple[int, ...]
    waits: int | None = None
    slips: int | None = None


def disturbed(puzzle: Puzzle, word: Iterable[int]) -> list[int]:
    """Return the slots whose piece a word takes away or twists."""
    effect = puzzle.effect(word)[puzzle.home]
    return [int(slot) for slot in range(puzzle.slot_count) if effect[slot] != puzzle.home[slot]]


def single_layers(puzzle: Puzzle, word: Iterable[int]) -> list[tuple[int, int]]:
    """Return (layer, slot) for every layer that moves exactly one slot that a word disturbs."""
    out = set(disturbed(puzzle, word))
    found = []
    for layer in range(len(puzzle.layers)):
        first = int(np.flatnonzero(puzzle.turn_layer == layer)[0])
        held = out & set(disturbed(puzzle, (first,)))
        if len(held) == 1:
            found.append((layer, held.pop()))
    return found


def reason(puzzle: Puzzle, form: Form) -> Reason:
    """Return what the two parts of a form share and what comes of it."""
    shared = tuple(sorted(set(disturbed(puzzle, form.a)) & set(disturbed(puzzle, form.b))))
    core = form.a + form.b + puzzle.inverse(form.a) + puzzle.inverse(form.b)
    if len(shared) != 1:
        return Reason("more" if disturbed(puzzle, core) else "nothing", shared)
    here = puzzle.home[shared[0]]
    waits = int(puzzle.slot_of[puzzle.effect(puzzle.inverse(form.a))[here]])
    slips = int(puzzle.slot_of[puzzle.effect(puzzle.inverse(form.b))[here]])
    if shared[0] not in (waits, slips):
        return Reason("three-cycle", shared, waits, slips)
    return Reason("twists" if disturbed(puzzle, core) else "nothing", shared, waits, slips)


def why(puzzle: Puzzle, form: Form, word: Word) -> str:
    """Return why a word that a form stands for does what it does, in a few sentences."""
    form, again = plainer(puzzle, form), form
    found = reason(puzzle, form)
    parts = f"A = {write(puzzle, form.a)}, B = {write(puzzle, form.b)}."
    if form != again:
        parts = f"Seen as [{write(puzzle, form.setup)}: [A, B]] with {parts}"
    inside = _Telling(puzzle, form, found)
    if found.kind == "three-cycle":
        said = inside.three_cycle()
    elif len(found.shared) == 1:
        said = inside.twists()
    else:
        said = inside.more()
    if not form.setup:
        return f"{parts} {said}"
    around = write(puzzle, form.setup)
    before = _cycles(puzzle, cycles(puzzle, effect_of(puzzle, word)))
    seen = f"Seen from before the setup, that is {before}." if before else ""
    return f"{parts} The setup {around} comes first and is undone at the end. {said} {seen}".strip()


def plainer(puzzle: Puzzle, form: Form) -> Form:
    """Return the form, or one that shares a single slot where the form shares more.

    Turns c at the beginning of A that commute with B may as well be the end of the setup:
    [c A, B] = c [A, B] c', and so for B.
    """
    letters, now = alphabet(puzzle), form
    while len(reason(puzzle, now).shared) > 1:
        for mine, other in ((now.a, now.b), (now.b, now.a)):
            if len(mine) > 1 and all(letters.together[mine[0]][turn] for turn in other):
                break
        else:
            return form
        setup = letters.normal((*now.setup, mine[0]))
        parts = (mine[1:], other) if mine is now.a else (other, mine[1:])
        now = Form(setup, *parts, form.things)
    return now if len(reason(puzzle, now).shared) == 1 else form


class _Telling:
    """The sentences about one form; slots by their names."""

    def __init__(self, puzzle: Puzzle, form: Form, found: Reason) -> None:
        self.puzzle, self.form, self.found = puzzle, form, found
        core = form.a + form.b + puzzle.inverse(form.a) + puzzle.inverse(form.b)
        self.cycles = cycles(puzzle, effect_of(puzzle, core))
        self.names = slot_names(puzzle)

    def slot_after(self, word: Word, slot: int) -> int:
        """Return the slot to which a word takes the piece of a slot."""
        puzzle = self.puzzle
        return int(puzzle.slot_of[puzzle.effect(word)[puzzle.home[slot]]])

    def domain(self, word: Word) -> str:
        """Return what a part moves: one layer by its name, or all that it moves."""
        layers = {int(self.puzzle.turn_layer[turn]) for turn in word}
        if len(layers) == 1:
            return f"the {self.puzzle.layers[layers.pop()].name} layer"
        return "all the slots that B moves" if word == self.form.b else "all that A moves"

    def three_cycle(self) -> str:
        found, form, names = self.found, self.form, self.names
        assert found.waits is not None
        assert found.slips is not None
        here, waits, slips = names[found.shared[0]], names[found.waits], names[found.slips]
        away = names[self.slot_after(form.b, found.shared[0])]
        trade = f"carries it away to {away} and slips in the piece of {slips}"
        if away == slips:
            trade = f"changes it for the piece of {slips}"
        end = f"a three-cycle, {_cycles(self.puzzle, self.cycles)}."
        if len(form.a) == 1 and len(form.b) > 1:
            return (
                f"B disturbs only {here} of {self.domain(form.a)}. A brings the piece of {waits} to"
                f" {here}; B {trade}, which undoing A takes to {waits}; undoing B brings the piece"
                f" of {waits} back to {here} and takes the one that A had moved out of there to"
                f" {slips}: {end}"
            )
        return (
            f"After A only {here} of {self.domain(form.b)} is out of its slot: the piece of {waits}"
            f" waits at {here}. B {trade},"
            f" which undoing A takes to {waits}; undoing B brings the piece of {waits} back to"
            f" {here}, and the one that came home there goes on to {slips}: {end}"
        )

    def twists(self) -> str:
        found, form, names = self.found, self.form, self.names
        assert found.waits is not None
        assert found.slips is not None
        shared = found.shared[0]
        here = names[shared]
        if found.waits == shared and found.slips == shared:
            return (
                f"A and B meet in {here} only, and both only twist the piece there where it sits."
                + (" In either order the twist is the same: nothing moves." * (not self.cycles))
                + (f" The order matters: {self.twisted()}." if self.cycles else "")
            )
        if found.waits == shared:
            start = (
                f"After A only {here} of {self.domain(form.b)} is disturbed, and its piece is only"
                f" twisted where it sits. B slips in the piece of {names[found.slips]} instead,"
                " which undoing A twists the other way"
            )
        else:
            start = (
                f"After A only {here} of {self.domain(form.b)} is out of its slot: the piece of"
                f" {names[found.waits]} waits there, and B only turns it on the spot"
            )
        if not self.cycles:
            return f"{start}, which does not show: nothing happens at all."
        return f"{start}: {self.twisted()}."

    def twisted(self) -> str:
        slots = {int(self.puzzle.slot_of[p]) for cycle in self.cycles for p in cycle}
        count = {1: "one piece is twisted", 2: "a pair of twists"}.get(len(slots), "twists")
        return f"{count}, {_listed([self.names[slot] for slot in sorted(slots)])}"

    def more(self) -> str:
        found, form, puzzle = self.found, self.form, self.puzzle
        if not found.shared:
            return "A and B move no slot in common, so the one undoes itself past the other."
        by_type = []
        for kind in puzzle.types:
            own = [self.names[slot] for slot in found.shared if slot in kind.slots]
            if own:
                by_type.append(f"{len(own)} of type {kind.name} ({_listed(own)})")
        count = "one slot" if len(found.shared) == 1 else f"{len(found.shared)} slots"
        start = f"A and B share {count}: {_listed(by_type)}."
        moved = sorted({int(puzzle.slot_of[p]) for cycle in self.cycles for p in cycle})
        same = [
            slot
            for slot in range(puzzle.slot_count)
            if slot not in moved and self.passes(slot, set(found.shared))
        ]
        if not moved:
            return (
                f"{start} In either order they take every piece to the same place: nothing moves."
            )
        rest = ""
        if same:
            slot = same[0]
            rest = (
                f" What passes through the others cancels: A then B takes the piece of"
                f" {self.names[slot]} to {self.names[self.slot_after(form.a + form.b, slot)]}, and"
                " so does B then A, so it comes home"
            )
            rest += f"; likewise {_listed([self.names[s] for s in same[1:]])}." if same[1:] else "."
        three = "a three-cycle, " if [len(c) for c in self.cycles] == [len(moved)] == [3] else ""
        return (
            f"{start}{rest} The order matters only for the pieces of"
            f" {_listed([self.names[slot] for slot in moved])}:"
            f" {three}{_cycles(puzzle, self.cycles)}."
        )

    def passes(self, slot: int, shared: set[int]) -> bool:
        """Whether a piece is in a shared slot when A or B takes it on, in either order."""
        a, b = self.form.a, self.form.b
        return bool(shared & {slot, self.slot_after(a, slot), self.slot_after(b, slot)})


def _cycles(puzzle: Puzzle, found: tuple[Cycle, ...]) -> str:
    """Return cycles as ``UFL to RBU to BLU``; a piece twisted in place is said to be twisted."""
    said = []
    for cycle in found:
        slots = {int(puzzle.slot_of[placement]) for placement in cycle}
        if len(slots) == 1:
            said.append(f"{slot_names(puzzle)[slots.pop()]} twisted")
        elif len(slots) > LISTED or len(slots) < len(cycle):
            twist = ", twisted" if len(slots) < len(cycle) else ""
            said.append(f"a cycle of {len(slots)} pieces{twist}")
        else:
            said.append(" to ".join(placement_name(puzzle, placement) for placement in cycle))
    return "; ".join(said)


def _listed(items: list[str]) -> str:
    """Return ``a, b and c``, or the first few and how many more."""
    if len(items) > LISTED:
        return f"{', '.join(items[:LISTED])} and {len(items) - LISTED} more"
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)
