"""What `parts` says, as a JSON object for scripts; the names in it stay as they are."""

from __future__ import annotations

from typing import Any

from puzzles.anatomy import Anatomy
from puzzles.least_effects import MOVED, Least, least_words
from puzzles.names import placement_name, slot_names
from puzzles.puzzle import Puzzle
from service import parts_words as words
from service.parts import Parts

Report = dict[str, Any]


def parts(own: Parts) -> Report:
    """Return what a puzzle consists of; the numbers of positions are decimal strings."""
    puzzle, anatomy = own.puzzle, own.anatomy
    group = anatomy.group
    types, names = puzzle.types, [kind.name for kind in puzzle.types]
    return {
        "puzzle": puzzle.name,
        "description": puzzle.description,
        "note": puzzle.note,
        "held": {"up": puzzle.up, "front": puzzle.front},
        "types": [
            {
                "name": kind.name,
                "count": kind.count,
                "twists": kind.seen,
                "twists_kept": kind.twists,
                "moves": kind.moves,
                "layers": list(anatomy.layers_of(kind)),
                "independent": kind.number in anatomy.independent,
                "tied_to": sorted(
                    {
                        names[other]
                        for law in anatomy.ties
                        if kind.number in law.types
                        for other in law.types
                        if other != kind.number
                    }
                ),
                "slots": list(own.slots_of(kind)),
            }
            for kind in types
        ],
        "layers": [
            {"name": layer.name, "steps": layer.steps, "pieces": anatomy.pieces_in(k)}
            for k, layer in enumerate(puzzle.layers)
        ],
        "kinds_of_layer": [
            {"words": kind.words, "layers": [puzzle.layers[k].name for k in kind.layers]}
            for kind in anatomy.kinds
        ],
        "symmetries": len(puzzle.symmetries),
        "order": str(group.order),
        "order_alike": None if group.order_alike is None else str(group.order_alike),
        "order_proven": group.proven,
        "order_bounds": [str(group.lower), str(group.upper)],
        "order_from": _order_from(anatomy),
        "fastened": [[slot_names(puzzle)[slot] for slot in group] for group in puzzle.bonds],
        "blocked": _blocked(anatomy),
        "laws": [law.text for law in group.laws],
        "ties": words.ties(anatomy),
        "alike": [
            {
                "types": [names[number] for number in like.types],
                "in_step": like.same_turns,
                "with_twist": like.with_twist,
                "turns": {
                    words.turn_name(puzzle, one, 1): words.turn_name(puzzle, other, unit)
                    for one, other, unit in like.layers
                },
                "slots": {
                    own.slots_of(types[like.types[0]])[k]: own.slots_of(types[like.types[1]])[
                        slot - types[like.types[1]].first_slot
                    ]
                    for k, slot in enumerate(like.slots)
                },
            }
            for like in anatomy.alike
        ],
        "alike_text": words.alike(anatomy),
        "effects": [_effect(own, effect) for least in anatomy.least for effect in least.found],
        "effects_if_alike_exchange": [
            _effect(own, effect) for least in anatomy.least for effect in least.looking
        ],
        "no_effects": [
            {"type": names[least.type], "effect": kind, "why": why}
            for least in anatomy.least
            for kind, why in words.refused(least)
        ],
        "carries_over": {
            "types": [
                {
                    "type": names[like.type],
                    "puzzle": like.puzzle,
                    "as": like.known_type,
                    "with_twist": like.with_twist,
                }
                for like in anatomy.types_like
            ],
            "layers": [
                {
                    "kinds": [anatomy.kinds[k].words for k in like.kinds],
                    "held": None if like.held is None else slot_names(puzzle)[like.held],
                    "layers": {here: there for there, here in like.layers},
                    "puzzle": like.puzzle,
                    "pieces": {
                        name: {names[number]: count for number, count in pieces}
                        for name, pieces in like.made_of
                    },
                    "riding": [names[number] for number in like.riding],
                    "besides": [names[number] for number in like.more],
                    "text": words.layers_like(anatomy, like),
                }
                for like in anatomy.layers_like
            ],
        },
    }


def _order_from(anatomy: Anatomy) -> Report:
    names = [kind.name for kind in anatomy.puzzle.types]
    return {
        "text": words.order_text(anatomy, raised=False),
        "types": [
            {
                "type": names[part.type],
                "pieces": part.pieces,
                "twists": part.twists,
                "times": part.times,
            }
            for part in anatomy.arranged
        ],
        "laws": [
            {
                "kind": law.kind,
                "types": [names[number] for number in law.types],
                "factor": law.factor,
                "text": law.text,
            }
            for law in anatomy.group.laws
        ],
    }


def _blocked(anatomy: Anatomy) -> Report | None:
    """Return how many states can be reached where turns are blocked, None where none ever is."""
    if anatomy.reached is None:
        return None
    return {
        "states": anatomy.reached.states,
        "complete": anatomy.reached.complete,
        "farthest": anatomy.reached.depth if anatomy.reached.complete else None,
    }


def _effect(own: Parts, effect: Least) -> Report:
    puzzle = own.puzzle
    done = own.sequence(effect)
    table = effect.table if done is None else puzzle.effect(done.word)
    return {
        "type": puzzle.types[effect.type].name,
        "effect": effect.kind,
        "words": least_words(puzzle, effect),
        "pieces": MOVED[effect.kind],
        "cycles": _cycles(puzzle, Least(effect.type, effect.kind, table)),
        "sequence": None if done is None else done.sequence,
        "notation": None if done is None else done.kept.notation,
        "turns": None if done is None else done.kept.turns,
        "shortest_among": None if done is None else done.kept.shortest or None,
    }


def _cycles(puzzle: Puzzle, effect: Least) -> list[list[str]]:
    return [[placement_name(puzzle, p) for p in cycle] for cycle in effect.cycles(puzzle)]
