"""The methods of a puzzle as an object: what `trefoil method --json` prints, and its text."""

from __future__ import annotations

import statistics

from puzzles import brackets
from puzzles.effects import cycle_text, cycles, effect_of
from puzzles.laws import joined, plural
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from search.method import (
    CYCLES,
    FOLLOWS,
    HOME,
    IN_PLACE,
    LOOKED_UP,
    JoinedMethod,
    Method,
    Methods,
    MethodStep,
)
from search.method_orders import Plan
from search.method_sequences import Sequences
from search.method_trying import Stretch
from search.nesting import nesting, things
from service.method_alike_report import alike_report, same_report
from service.method_blocked_report import blocked_steps
from service.method_mends_report import mend_report, shown_text, twists_report
from service.method_told import free_text, stretch_report
from service.reports import Report


def methods(found: Methods) -> Report:
    """Return the report of the methods of a puzzle."""
    puzzle = found.puzzle
    return {
        "puzzle": puzzle.name,
        "arrangements": None if found.start is None else str(found.start),
        "look_alike": [puzzle.types[k].name for k in found.looks_alike],
        "move_alike": [alike_report(puzzle, own) for own in found.alike],
        "methods": [_method(own) for own in found.methods],
        "joined": [_joined(found, own) for own in found.joined],
        "reason": found.reason,
    }


def _method(own: Method) -> Report:
    tried = own.tried
    return {
        "sequences": len(own.words),
        "things": own.things,
        "any_order": own.plan.together,
        "scrambles": tried.count,
        "turns": {
            "median": tried.median,
            "least": tried.turns[0],
            "most": tried.turns[-1],
        },
        "odd": tried.odd,
        "free_turns": tried.free_turns,
        "steps": blocked_steps(own) if own.steps and own.steps[0].kind == HOME else _steps(own),
    }


def _joined(found: Methods, own: JoinedMethod) -> Report:
    puzzle, tried, ending = found.puzzle, own.tried, own.ending
    steps: list[Report] = []
    kept: list[str] = []
    for step in own.steps:
        names = [puzzle.types[k].name for k in step.types]
        joins = bool(set(step.types) & set(own.joined.joined))
        steps.append(
            {
                "kind": "joining" if joins else step.kind,
                "types": names,
                "keeps": list(kept),
                "text": _joining_text(puzzle, step, kept, joins),
                "sequences": [
                    _sequence(own.plan, one, word) for one in step.sequences for word in one.words
                ],
                "three_cycles": [_cost(puzzle, one) for one in step.sequences],
            }
        )
        kept += names
    return {
        "puzzle": own.joined.known.name,
        "layers": [name for _, name in own.joined.like.layers],
        "made_of": [
            {
                "type": name,
                "pieces": {puzzle.types[number].name: count for number, count in parts},
            }
            for name, parts in own.joined.like.made_of
        ],
        "sequences": len(own.plan.words),
        "things": own.plan.things,
        "known_sequences": None if ending is None else len(ending.words),
        "known_things": None if ending is None else ending.things,
        "scrambles": tried.count,
        "turns": {"median": tried.median, "least": tried.turns[0], "most": tried.turns[-1]},
        "before": float(statistics.median(tried.before)),
        "steps": steps,
        "shows": [
            {
                "type": one.kind,
                "what": "swap" if one.swap else "turn",
                "text": shown_text(found, own.joined, one, len(own.steps)),
            }
            for one in own.shown
        ],
        "showed": tried.shown,
        "text": _end_text(puzzle, own),
    }


def _joining_text(puzzle: Puzzle, step: MethodStep, kept: list[str], joins: bool) -> str:
    names = _types([puzzle.types[k].name for k in step.types])
    stay = f" while the {_types(kept)} stay" if kept else ""
    if joins:
        return f"Join the {names} to those that they belong with, wherever these are{stay}."
    if step.kind == LOOKED_UP:
        counted = "" if step.arrangements is None else f"{step.arrangements:,} arrangements, "
        return f"Put the {names} right: {counted}at most {step.farthest} turns."
    return f"Put the {names} right{stay}."


def _end_text(puzzle: Puzzle, own: JoinedMethod) -> str:
    layers = " ".join(name for _, name in own.joined.like.layers)
    made = []
    for name, parts in own.joined.like.made_of:
        if sum(count for _, count in parts) > 1:
            pieces = joined([_pieces(puzzle, number, count) for number, count in parts])
            made.append(f"its {plural(name)} are {pieces} each")
    what = f" ({'; '.join(made)})" if made else ""
    return f"From here on it is {own.joined.known.name}{what}: only {layers} turn."


def _pieces(puzzle: Puzzle, number: int, count: int) -> str:
    name = puzzle.types[number].name
    return f"{count} {name if count == 1 else plural(name)}"


def _steps(own: Method) -> list[Report]:
    puzzle, result = own.puzzle, []
    stages = {number: k for k, stage in enumerate(own.plan.order) for number in stage}
    kept: list[str] = []
    seen: set[int] = set()
    for step in own.steps:
        stage = stages.get(step.types[0])
        # What comes first without sequences is one stage.
        stretch = None if stage is None or stage in seen else own.tried.stretches[stage]
        if stage is not None:
            seen.add(stage)
        names = [puzzle.types[k].name for k in step.types]
        result.append(
            {
                "kind": step.kind,
                "types": names,
                "keeps": list(kept),
                "text": _text(puzzle, step, stretch, kept, own),
                "sequences": [
                    _sequence(own.plan, one, word) for one in step.sequences for word in one.words
                ],
                "three_cycles": [_cost(puzzle, one) for one in step.sequences],
                "mends": [mend_report(puzzle, mend, kept) for mend in step.mends],
                "twists": [twists_report(puzzle, own) for own in step.twists],
                "left": None if step.left is None else str(step.left),
                "tried": None if stretch is None else stretch_report(stretch),
            }
        )
        kept += names
    return result


def _sequence(plan: Plan, own: Sequences, word: Word) -> Report:
    puzzle = plan.puzzle
    kept = set(own.kept)
    done = cycles(puzzle, effect_of(puzzle, word))
    moved = {int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) for cycle in done}
    [cycle] = [c for c in done if int(puzzle.type_of[puzzle.slot_of[c[0]]]) in kept]
    return {
        "type": puzzle.types[own.type].name,
        "sequence": write(puzzle, word),
        "notation": brackets.text(nesting(puzzle).tree(word)),
        "turns": len(word),
        "things": things(puzzle, word),
        "cycle": cycle_text(puzzle, cycle),
        "disturbs": [puzzle.types[k].name for k in sorted(moved - kept)],
        "same_as": same_report(plan, word),
    }


def _cost(puzzle: Puzzle, own: Sequences) -> Report:
    return {
        "type": puzzle.types[own.type].name,
        "count": own.needed,
        "mean": round(own.mean, 2),
        "most": own.most,
    }


def _text(
    puzzle: Puzzle, step: MethodStep, stretch: Stretch | None, kept: list[str], own: Method
) -> str:
    names = _types([puzzle.types[k].name for k in step.types])
    if step.kind == IN_PLACE:
        return (
            f"The {names} only turn in their slots: each is put right by turns of its own layer. "
            "Three-cycles and their setups never change that."
        )
    if step.kind == FOLLOWS:
        return f"The {names} are right as soon as the others are."
    if step.kind == LOOKED_UP:
        have = "" if step.arrangements is None else f"have {step.arrangements:,} arrangements and "
        return (
            f"The {names} {have}lack three-cycles that keep all else; put right while nothing has "
            f"to stay, by at most {step.farthest} turns."
        )
    assert step.kind == CYCLES
    while_kept = f" while the {_types(kept)} stay" if kept else ""
    if stretch is None:
        return f"The {names}{while_kept}."
    return f"The {names}{while_kept}: {free_text(stretch, own.tried.free_turns)}"


def _types(names: list[str]) -> str:
    return joined([plural(name) for name in names])
