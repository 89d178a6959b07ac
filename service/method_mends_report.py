"""What a method's report says of parities, sums of twists, and pieces twisted two at a time.

Also of what a joined puzzle may show and the known one cannot, which is a parity most often.
"""

from __future__ import annotations

from puzzles import brackets
from puzzles.effects import cycle_text
from puzzles.laws import joined, plural
from puzzles.least_effects import SWAP, TWIST
from puzzles.notation import write
from puzzles.puzzle import Puzzle
from search.method import Methods
from search.method_joined import Joined, Shown
from search.method_mending import Mend
from search.method_twists import TwistPair
from search.nesting import nesting
from service.reports import Report


def mend_report(puzzle: Puzzle, mend: Mend, kept: list[str]) -> Report:
    """Return what puts an odd rearrangement, or a sum of twists, right."""
    return {
        "type": puzzle.types[mend.type].name,
        "kind": mend.kind,
        "shows": mend.shows,
        "layers": [puzzle.layers[k].name for k in mend.layers],
        "cycles": mend.effect(puzzle),
        "sequence": write(puzzle, mend.word),
        "notation": mend.notation(puzzle),
        "instead": mend.turns,
        "text": mend_text(puzzle, mend, kept),
    }


def mend_text(puzzle: Puzzle, mend: Mend, kept: list[str]) -> str:
    """Return what there is to know about an odd rearrangement of a type in one sentence."""
    name = plural(puzzle.types[mend.type].name)
    twist = mend.kind == TWIST
    wrong = f"the twists of the {name} do not add up" if twist else f"the {name} are odd"
    if not mend.shows:
        after = f" once the {_types(kept)} are right" if kept else ""
        if twist:
            return f"the twists of the {name} always add up{after}"
        return f"the {name} are never an odd rearrangement{after}"
    layers = _either(puzzle, mend)
    if twist:
        text = f"if {wrong} to whole turns, turns of {layers} before any three-cycle put that right"
    else:
        text = f"if the {name} are an odd rearrangement, one turn of {layers}"
        text += ", by an odd number of steps, before any three-cycle makes it even"
    if mend.word:
        does = "twists" if twist else "swaps"
        cycles = mend.effect(puzzle)
        return f"{text}; noticed late, {mend.notation(puzzle)} {does} {cycles}"
    text += "; noticed late, it takes such a turn and what it disturbs put right again"
    return f"{text}, {mend.turns} turns for {mend.effect(puzzle)}" if mend.turns else text


def twists_report(puzzle: Puzzle, own: TwistPair) -> Report:
    """Return a sequence for two twisted pieces and what it saves."""
    name = plural(puzzle.types[own.type].name)
    notation = brackets.text(nesting(puzzle).tree(own.word))
    cycles = "".join(cycle_text(puzzle, cycle) for cycle in own.cycles)
    return {
        "type": puzzle.types[own.type].name,
        "sequence": write(puzzle, own.word),
        "notation": notation,
        "turns": len(own.word),
        "things": own.things,
        "cycles": cycles,
        "with_it": round(own.with_it, 1),
        "without": round(own.without, 1),
        "pairs": own.count,
        "text": f"if two {name} are twisted at the end, {notation} twists {cycles}: with setups "
        f"{own.with_it:.1f} turns on average instead of {own.without:.1f} by the sequences above "
        f"(mean of {own.count} pairs); {own.things} more to remember",
    }


def shown_text(found: Methods, own: Joined, shown: Shown, step: int) -> str:
    """Return what a joined puzzle may show and what mends it, early and late, in a sentence.

    ``step`` is the number of the step that joins.
    """
    puzzle, name = found.puzzle, shown.kind
    single = _types([puzzle.types[k].name for k in own.joined])
    what = f"two joined {plural(name)} change places" if shown.swap else f"one joined {name} turned"
    if not shown.odd:
        return (
            f"{what}: bring the single {single} that they are made of to where they belong by "
            f"three-cycles, as in step {step}"
        )
    text = f"{what}: the single {single} are an odd rearrangement"
    mend = _kept_by(found, own)
    if mend is None:
        return f"{text}; an odd turn early, as in the methods above, keeps it from showing"
    text += f"; one turn of {_either(puzzle, mend)} before step 1 keeps it from showing"
    if mend.word:
        word, two = mend.notation(puzzle), mend.effect(puzzle)
        return f"{text}; noticed late, {word} swaps {two} alone, with a setup other two"
    return f"{text}; noticed late, it takes such a turn and joining once more"


def _kept_by(found: Methods, own: Joined) -> Mend | None:
    """Return what mends an odd rearrangement of joined types in a method that keeps most."""
    every = [
        mend
        for method in found.methods
        for step in method.steps
        for mend in step.mends
        if mend.type in own.joined and mend.kind == SWAP and mend.shows
    ]
    return max(every, key=lambda mend: (bool(mend.word), len(mend.kept)), default=None)


def _either(puzzle: Puzzle, mend: Mend) -> str:
    *most, last = [puzzle.layers[k].name for k in mend.layers]
    return f"{', '.join(most)} or {last}" if most else last


def _types(names: list[str]) -> str:
    return joined([plural(name) for name in names])
