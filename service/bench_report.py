"""What the bench says: what a sequence disturbs, which layers hold one of it, what inserts give."""

from __future__ import annotations

from puzzles.effects import Cycle
from puzzles.names import placement_name, slot_names
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import inserts
from service.reports import Report

#: The most turns that somebody builds with.
MOST_TURNS = 400
#: The most cycles of an insert that are told.
MOST_CYCLES = 200


def bench(puzzle: Puzzle, word: Word, slipped: int | None, left_over: str) -> Report:
    """Return what a word does as A of a commutator that somebody builds.

    ``slipped`` is the turn that is slipped in, if one is: what came of undoing everything is told
    then. ``left_over`` is the rotation with which the written sequence ended.
    """
    names = slot_names(puzzle)
    found = inserts.disturbs(puzzle, word)
    rows = [
        {"slot": names[slot], "type": puzzle.types[own.type].name, "twisted": twisted}
        for own in found
        for twisted, slots in ((False, own.displaced), (True, own.twisted))
        for slot in slots
    ]
    whole = None if slipped is None else inserts.insert(puzzle, word, slipped)
    return {
        "puzzle": puzzle.name,
        "turns": [write(puzzle, (turn,)) for turn in word],
        "sequence": write(puzzle, word),
        "executed": len(normal(puzzle, word)),
        "left_over": left_over,
        "disturbed": rows,
        "types": _types(puzzle, found),
        "layers": [_single(puzzle, word, own) for own in inserts.singles(puzzle, word)],
        "completed": None if whole is None else _insert(puzzle, word, whole),
    }


def pairs(puzzle: Puzzle) -> Report:
    """Return all pairs of turns up to symmetry and order: what each disturbs, what it offers."""
    names = slot_names(puzzle)
    rows = []
    for pair in inserts.pairs(puzzle):
        rows.append(
            {
                "pair": [write(puzzle, (turn,)) for turn in (pair.first, pair.second)],
                "sequence": write(puzzle, pair.word(puzzle)),
                "stands_for": pair.stands_for,
                "types": _types(puzzle, pair.disturbs),
                "layers": [
                    {
                        "layer": puzzle.layers[own.layer].name,
                        "slot": names[own.slot],
                        "twisted": own.twisted,
                        "offers": [
                            {"turn": write(puzzle, (one.turn,)), "gives": one.gives}
                            for one in own.inserts
                        ],
                    }
                    for own in pair.singles
                ],
                "offers": dict(sorted(pair.offers.items())),
            }
        )
    return {"puzzle": puzzle.name, "pairs": rows}


def _types(puzzle: Puzzle, found: tuple[inserts.Disturbed, ...]) -> list[Report]:
    return [
        {
            "type": puzzle.types[own.type].name,
            "displaced": len(own.displaced),
            "twisted": len(own.twisted),
        }
        for own in found
    ]


def _single(puzzle: Puzzle, word: Word, own: inserts.Single) -> Report:
    return {
        "layer": puzzle.layers[own.layer].name,
        "slot": slot_names(puzzle)[own.slot],
        "type": puzzle.types[int(puzzle.type_of[own.slot])].name,
        "twisted": own.twisted,
        "inserts": [_insert(puzzle, word, one) for one in own.inserts],
    }


def _insert(puzzle: Puzzle, word: Word, own: inserts.Insert) -> Report:
    turn = write(puzzle, (own.turn,))
    whole = normal(puzzle, inserts.around(puzzle, word, (own.turn,)))
    return {
        "turn": turn,
        "gives": own.gives,
        "cycles": [_cycle(puzzle, cycle) for cycle in own.cycles[:MOST_CYCLES]],
        "more": max(len(own.cycles) - MOST_CYCLES, 0),
        "notation": f"[{write(puzzle, word)}, {turn}]",
        "sequence": write(puzzle, whole),
        "turns": len(whole),
    }


def _cycle(puzzle: Puzzle, cycle: Cycle) -> list[str]:
    return [placement_name(puzzle, placement) for placement in cycle]
