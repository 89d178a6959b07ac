"""Cases to be practised: what is out of place, and the sequence that puts it right, as JSON."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from puzzles import brackets
from puzzles.blocking import why_blocked
from puzzles.effects import Effect, cycles, effect_of
from puzzles.errors import RequestError, TrefoilError
from puzzles.names import placement_name
from puzzles.notation import write
from search.favourite import shape_of, shape_text
from search.hands import best_holding, held, motions, renamed
from search.reading import leaves, written_out
from service import puzzle_shelf, sequences
from service.reports import Report
from service.sheet_strips import MOST_CYCLES, Wanted, numbered, parts_of, read_wanted
from service.stores import Levels
from service.stores.base import Store

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle, Word

#: How many letters of its digest name a case.
LETTERS = 16
#: The longest sequence that anybody would practise, in turns as they are written.
MOST_TURNS = 200


def said(store: Store, message: Mapping[str, Any]) -> bytes:
    """Return what a message asks for, as JSON: the "kept" sequences of a puzzle, or its "cases"."""
    puzzle = puzzle_shelf.load(store, message["puzzle"])
    if message["do"] == "kept":
        report: Report = {"sequences": kept(puzzle, store.levels)}
    else:
        report = {
            "held": {"up": puzzle.up, "front": puzzle.front},
            "cases": [
                _case(puzzle, given, message["left_handed"]) for given in message["sequences"]
            ],
        }
    return json.dumps(report, separators=(",", ":")).encode()


def kept(puzzle: Puzzle, levels: Levels) -> list[Report]:
    """Return the sequences that are known for a puzzle's smallest effects, type by type."""
    found = sequences.stored(puzzle, levels)
    return [{"sequence": own.sequence, "of": "puzzle"} for _, own in sorted(found.items())]


def _case(puzzle: Puzzle, given: Mapping[str, Any], left_handed: bool) -> Report:
    """Return a case, or a sentence as "wrong" where a sequence cannot be practised."""
    parts = given.get("parts")
    wanted = Wanted(
        given["sequence"], None if parts is None else tuple(parts), tuple(given.get("cycle", ()))
    )
    try:
        return case(puzzle, wanted, left_handed, frozenset(given.get("free", ())))
    except TrefoilError as error:
        return {"wrong": str(error)}


def case(
    puzzle: Puzzle, wanted: Wanted, left_handed: bool = False, free: frozenset[str] = frozenset()
) -> Report:
    """Return the case that a sequence puts right.

    ``free`` are the types of which nothing is asked, wherever the sequence puts them. ``id`` names
    what the sequence does to the others, whatever its turns: the same on every machine as long as
    the puzzle's tables and names are. ``before`` are turns that lead from the solved puzzle to the
    case; null where a block is in the way, so that only what is done to the solved puzzle can be
    shown. ``written`` are the turns of ``parts``, with those that cancel. Raises TrefoilError for
    what is no sequence that can be done, does nothing, or has more than MOST_TURNS turns.
    """
    tree, why, left_over = read_wanted(puzzle, wanted)
    rows = parts_of(puzzle, tree)
    word = tuple(turn for part in rows for turn in part.turns)
    if len(word) > MOST_TURNS:
        raise RequestError(f"{len(word):,} turns; at most {MOST_TURNS:,} are practised")
    blocked = why_blocked(puzzle, word)
    if blocked is not None:
        raise RequestError(blocked)
    effect = effect_of(puzzle, word)
    found = tuple(own for own in cycles(puzzle, effect) if _type(puzzle, own[0]) not in free)
    if not found:
        raise RequestError("it does nothing, so that there is nothing to be asked")
    done = written_out(puzzle, tree)
    if puzzle.first_blocked(done) is not None:
        done = word
    shown = numbered(puzzle, found, wanted.cycle)
    named = (shown,) if shown else found[:MOST_CYCLES]
    holding = best_holding(puzzle, done, left_handed)[0]
    up, front = held(puzzle, holding)
    before = _before(puzzle, word, done)
    return {
        "id": _id(puzzle, effect, free),
        "types": sorted({_type(puzzle, cycle[0]) for cycle in found}),
        "free": sorted(free),
        "asked": shape_text(puzzle, shape_of(puzzle, found)),
        "cycles": [[placement_name(puzzle, p) for p in cycle] for cycle in named],
        "more": len(found) - len(named),
        "before": None if before is None else write(puzzle, before),
        "sequence": write(puzzle, done),
        "notation": brackets.text(tree),
        "turns": len(done),
        "things": leaves(tree),
        "why": why,
        "left_over": left_over,
        "written": write(puzzle, word),
        "parts": [{"label": one.label, "turns": write(puzzle, one.turns)} for one in rows],
        "hands": {
            "up": up,
            "front": front,
            "sequence": write(puzzle, renamed(puzzle, done, holding)),
            "motions": list(motions(puzzle, done, holding) or ()),
        },
    }


def _type(puzzle: Puzzle, placement: int) -> str:
    return puzzle.types[int(puzzle.type_of[puzzle.slot_of[placement]])].name


def _id(puzzle: Puzzle, effect: Effect, free: frozenset[str]) -> str:
    ends = enumerate(effect.table)
    moved = [(p, end) for p, end in ends if p != end and not (free and _type(puzzle, p) in free)]
    text = f"{puzzle.digest}|{moved}" + (f"|{sorted(free)}" if free else "")
    return hashlib.sha256(text.encode()).hexdigest()[:LETTERS]


def _before(puzzle: Puzzle, word: Word, done: Word) -> Word | None:
    """Return turns to the case that a word puts right; None where a block is in the way."""
    back = puzzle.inverse(word if puzzle.can_block else done)
    if puzzle.first_blocked((*back, *word)) is not None:
        return None
    return back


def joined(cases: Iterable[Report]) -> list[Report]:
    """Return cases, each once: other sequences for one stand with it as ``others``."""
    result: dict[str, Report] = {}
    for own in cases:
        first = result.setdefault(own["id"], {**own, "others": []})
        known = [first["sequence"], *(one["sequence"] for one in first["others"])]
        if own["sequence"] not in known:
            names = ("sequence", "notation", "turns", "things", "of")
            first["others"].append({name: own[name] for name in names})
    return list(result.values())
