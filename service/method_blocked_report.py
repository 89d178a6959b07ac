"""What is said of the steps of a method on a puzzle on which turns can be blocked."""

from __future__ import annotations

from puzzles import brackets
from puzzles.brackets import Conjugate
from puzzles.effects import cycle_text, cycles, effect_of
from puzzles.laws import joined
from puzzles.notation import plain, write
from puzzles.puzzle import Puzzle
from search.method import CYCLES, HOME, LOOKED_UP, Method, MethodStep
from search.method_blocked_home import Home, Sum
from search.method_blocked_sequences import BlockedSequences, bracketed
from search.method_blocked_units import Units, kind_of_piece
from search.method_trying import Stretch
from search.nesting import things
from search.solving_blocked_shapes import shapes
from service.method_told import free_text, stretch_report
from service.reports import Report


def blocked_steps(own: Method) -> list[Report]:
    """Return the steps of a method, the way home first."""
    puzzle = own.puzzle
    every = own.steps[0].units
    kept: list[Units] = []
    result: list[Report] = []
    for step, stretch in zip(own.steps, own.tried.stretches, strict=True):
        put = () if step.kind == HOME else step.units
        sequences = [one for one in step.sequences if isinstance(one, BlockedSequences)]
        result.append(
            {
                "kind": step.kind,
                "types": [one.name for one in put],
                "keeps": [one.name for one in kept],
                "text": _text(step, stretch, kept, own.tried.free_turns),
                "sequences": [
                    _sequence(puzzle, one, k, every)
                    for one in sequences
                    for k in range(len(one.words))
                ],
                "three_cycles": [
                    {
                        "type": every[one.unit].name,
                        "count": one.needed,
                        "mean": round(one.mean, 2),
                        "most": one.most,
                    }
                    for one in sequences
                ],
                "mends": [],
                "left": None if step.left is None else str(step.left),
                "tried": stretch_report(stretch),
                "home": None if step.home is None else _home(puzzle, step.home, every),
            }
        )
        kept += put
    return result


def _sequence(puzzle: Puzzle, own: BlockedSequences, k: int, every: tuple[Units, ...]) -> Report:
    """Return a sequence as it can be done from the solved state, in its shortest setup."""
    word, setup, whole = own.words[k], own.setups[k], own.shown(puzzle, k)
    tree = bracketed(puzzle, word)[0]
    named = brackets.text(Conjugate(plain(puzzle, setup), tree) if setup else tree)
    row, also, types = [], set[int](), set[int]()
    own_types = {number for kind in (own.unit, *own.stays) for number in every[kind].types}
    for cycle in cycles(puzzle, effect_of(puzzle, whole)):
        slot = int(puzzle.slot_of[cycle[0]])
        kind = kind_of_piece(shapes(puzzle), slot)
        if kind == own.unit:
            row.append(cycle_text(puzzle, cycle))
        else:
            types.add(int(puzzle.type_of[slot]))
            also |= set() if kind is None else {kind}
    return {
        "type": every[own.unit].name,
        "sequence": write(puzzle, whole),
        "notation": named,
        "turns": len(whole),
        "things": things(puzzle, word),
        "cycle": "".join(row),
        "disturbs": [puzzle.types[number].name for number in sorted(types - own_types)],
        "setup": write(puzzle, setup),
        "also": [every[number].names for number in sorted(also)],
    }


def _home(puzzle: Puzzle, own: Home, every: tuple[Units, ...]) -> Report:
    return {
        "name": own.noun,
        "shapes": own.shapes,
        "bodies": own.bodies,
        "mean": round(own.mean, 2),
        "most": own.most,
        "sums_mean": round(own.sums_mean, 2),
        "sums_most": own.sums_most,
        "nearer": [
            {"right": n.right, "shapes": n.shapes, "mean": round(n.mean, 2), "most": n.most}
            for n in own.nearer
        ],
        "rule_mean": round(own.rule_mean, 2),
        "rule_most": own.rule_most,
        "rule": [write(puzzle, word) for word in own.rule],
        "share": round(own.share, 3),
        "listed": [
            {"wrong": list(one.wrong), "sequence": write(puzzle, one.word), "turns": len(one.word)}
            for one in own.listed
        ],
        "values": own.values,
        "sums": [
            {
                "wrong": _sum_text(one, every),
                "sequence": write(puzzle, one.word),
                "turns": len(one.word),
            }
            for one in own.sums
        ],
    }


def _sum_text(own: Sum, every: tuple[Units, ...]) -> list[str]:
    """Return what is off: "corners odd", "twists of tips by 1/3 of a turn"."""
    said = [f"{every[kind].names} odd" for kind in own.odd]
    for kind, value, whole in own.twisted:
        said.append(f"twists of the {every[kind].names} add up to {value}/{whole} of a turn")
    return said


def _text(step: MethodStep, stretch: Stretch, kept: list[Units], free_turns: int) -> str:
    if step.home is not None:
        return _home_text(step.home)
    names = joined([one.names for one in step.units])
    if step.kind == LOOKED_UP:
        return (
            f"The {names} have {step.arrangements:,} arrangements at the home shape and lack "
            "three-cycles that keep all else; put right while nothing else has to stay, by at most "
            f"{step.farthest} turns."
        )
    if step.kind != CYCLES:
        return (
            f"The {names} lack three-cycles that keep all else, and have too many arrangements to "
            "be known one by one; put right while nothing else has to stay, by products of "
            f"sequences that lead back to the home shape: {stretch.looked_up:g} turns."
        )
    stay = f" while the {joined([one.names for one in kept])} stay" if kept else ""
    if stretch.begins >= stretch.pieces:
        return f"The {names}{stay}: more often than not they are right by then."
    return f"The {names}{stay}: {free_text(stretch, free_turns)}"


def _home_text(own: Home) -> str:
    """Return what there is to do until the shape is that of the solved puzzle."""
    several = own.bodies > 1
    stand = "they stand" if several else "it stands"
    any_of = ", whichever of them is where" if own.fastened and several else ""
    said = [
        f"Bring the {own.noun} to where {stand} when all is solved{any_of}. "
        f"{stand.capitalize()} in {own.shapes:,} ways; a shortest way home takes {own.mean:.1f} "
        f"turns on average, at most {own.most}."
    ]
    if several and any(one.most > 1 for one in own.nearer):
        most = max(one.most for one in own.nearer)
        said.append(
            f"By eye, put one more of them right each time, in at most {most} turns: "
            f"{own.rule_mean:.1f} turns on average, at most {own.rule_most}."
        )
    if own.values > 1:
        said.append(
            f"Then parities and sums of twists have {own.values:,} values, which three-cycles "
            "leave as they are; put right on the way, home takes "
            f"{own.sums_mean:.1f} turns on average, at most {own.sums_most}."
        )
    return " ".join(said)
