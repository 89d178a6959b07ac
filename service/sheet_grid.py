"""All three-cycles from one place, as a table: rows for the second slot, columns for the third.

Nothing is searched for it. What fills a cell comes from a finished atlas, from the shelves of
whatever was searched before, or from the sequences on the sheet, which stand for all that
symmetries and undoing make of them. Cells of which nothing is known say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from puzzles.effects import cycles, effect_of
from puzzles.errors import TrefoilError
from puzzles.names import placement_name, read_placement
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import brackets as forms
from search import claims
from search.atlas_entries import entries
from search.coverage import covered
from search.encoding import Scope
from search.shelves import Shelves
from service import atlases, puzzle_shelf, readings, results, stored
from service.reports import Report
from service.stores.base import Store

Triple = tuple[int, int, int]

#: What is known of a cell.
FOUND, NEVER, UNKNOWN = "found", "impossible", "unknown"
#: What a grid that is from the sheet alone says of where its cells come from.
FROM_SHEET = "from the sequences on this sheet, held otherwise and undone"


@dataclass(frozen=True)
class Cell:
    """What does a cycle: its brackets and executed turns; empty where nothing is known.

    ``through`` are the second and the third place where these are twisted, else empty.
    """

    notation: str = ""
    sequence: str = ""
    turns: int = 0
    through: tuple[str, ...] = ()


def grid(store: Store, message: Mapping[str, Any]) -> Report:
    """Return the table of the three-cycles that begin at a place.

    ``message`` names the puzzle, the place ("start": a sticker or a piece), the "atlas", a digest
    or null, the "sequences" on the sheet, and how many cells there may be ("most"). Raises
    TrefoilError. ``text`` says where the cells come from, ``complete`` up to how many turns they
    are proven shortest, null for nothing proven; ``unknown`` counts the cells without an answer.
    A cell is a pair of slots, entered at their own names; ``every`` counts the cycles with each way
    to enter these, ``plain`` those that have a cell.
    Where a cycle is not known but one is through the same slots, otherwise twisted, that one is
    told; ``twisted`` counts these.
    """
    puzzle = puzzle_shelf.load(store, message["puzzle"])
    place = read_placement(puzzle, message["start"])
    start = int(puzzle.home[place.slot]) if place.placement is None else place.placement
    kind = puzzle.types[int(puzzle.type_of[place.slot])]
    atlases.wanted_types(puzzle, kind.name, None, None, None)
    others = [int(puzzle.home[slot]) for slot in kind.slots if slot != place.slot]
    wanted = [(start, a, b) for a in others for b in others if a != b]
    left_out = max(len(wanted) - message["most"], 0)
    if left_out:
        rows = max(message["most"] // max(len(others) - 1, 1), 1)
        wanted = [triple for triple in wanted if triple[1] in others[:rows]]
        left_out = len(others) * (len(others) - 1) - len(wanted)
    request = atlases.AtlasRequest(puzzle, (kind.number,))
    found, text, complete = _known(store, request, wanted, message)
    others_of = {t: _otherwise(puzzle, t) for t in wanted if t not in found}
    every = [own for some in others_of.values() for own in some]
    twisted = _known(store, request, every, message)[0] if every else {}
    cells = []
    for triple in wanted:
        own = found.get(triple)
        if own is None:
            there = [twisted[t] for t in others_of[triple] if t in twisted]
            own = min(there, key=lambda cell: (cell.turns, cell.sequence), default=None)
        state = FOUND if own else NEVER if request.reason(triple) else UNKNOWN
        cells.append((triple, state, own or Cell()))
    return {
        "puzzle": message["puzzle"],
        "type": kind.name,
        "start": placement_name(puzzle, start),
        "columns": [placement_name(puzzle, p) for p in others],
        "rows": [
            {
                "second": placement_name(puzzle, second),
                "cells": [_cell(cells, second, third) for third in others],
            }
            for second in dict.fromkeys(triple[1] for triple in wanted)
        ],
        "text": text,
        "complete": complete,
        "known": sum(state == FOUND for _, state, _ in cells),
        "twisted": sum(bool(own.through) for _, _, own in cells),
        "unknown": sum(state == UNKNOWN for _, state, _ in cells),
        "impossible": sum(state == NEVER for _, state, _ in cells),
        "left_out": left_out,
        "plain": len(others) * (len(others) - 1),
        "every": len(others) * (len(others) - 1) * kind.twists**2,
    }


def _otherwise(puzzle: Puzzle, triple: Triple) -> list[Triple]:
    """Return the cycles through the same slots that twist the second or the third piece."""
    first, second, third = triple
    twists = puzzle.types[int(puzzle.type_of[puzzle.slot_of[first]])].twists
    return [
        (first, _twisted(puzzle, second, x), _twisted(puzzle, third, y))
        for x in range(twists)
        for y in range(twists)
        if x or y
    ]


def _cell(cells: Sequence[tuple[Triple, str, Cell]], second: int, third: int) -> Report | None:
    """Return a cell as JSON, None on the diagonal."""
    for triple, state, own in cells:
        if triple[1:] == (second, third):
            return {
                "state": state,
                "through": own.through,
                "notation": own.notation,
                "sequence": own.sequence,
                "turns": own.turns,
            }
    return None


def _known(
    store: Store,
    request: atlases.AtlasRequest,
    wanted: Sequence[Triple],
    message: Mapping[str, Any],
) -> tuple[dict[Triple, Cell], str, int | None]:
    """Return what is known of some cycles without searching, where from, and what it proves."""
    found, text, complete = _told(store, request, wanted, message)
    home = request.puzzle.home[request.puzzle.slot_of]
    named = {
        triple: replace(cell, through=tuple(placement_name(request.puzzle, p) for p in triple[1:]))
        if any(home[p] != p for p in triple[1:])
        else cell
        for triple, cell in found.items()
    }
    return named, text, complete


def _told(
    store: Store,
    request: atlases.AtlasRequest,
    wanted: Sequence[Triple],
    message: Mapping[str, Any],
) -> tuple[dict[Triple, Cell], str, int | None]:
    """Return the same without the names of twisted places."""
    puzzle = request.puzzle
    if message.get("atlas"):
        content = store.things.get("result", message["atlas"])
        if content is not None:
            return _from_atlas(results.read(content), request, wanted)
    own = images(puzzle, _words(puzzle, message["sequences"]), wanted)
    if puzzle.can_block:
        return own, FROM_SHEET, None
    scope = atlases.scope_of(request, request.types[0])
    shelves = _deepest(store, scope)
    if shelves is None:
        return own, FROM_SHEET, None
    found = _from_shelves(scope, shelves, wanted)
    better = {k: c for k, c in own.items() if k not in found or c.turns < found[k].turns}
    complete = claims.complete(scope, shelves.half_length)
    text = f"from what was searched before: {covered(shelves.half_length, shelves.steps, '')}"
    return {**found, **better}, text, complete


def _from_atlas(
    result: results.Result, request: atlases.AtlasRequest, wanted: Sequence[Triple]
) -> tuple[dict[Triple, Cell], str, int | None]:
    """Return what a finished atlas says of some cycles."""
    puzzle = request.puzzle
    results.forbid_outdated(result.tables, puzzle)
    if isinstance(result, results.AtlasResult):
        scope = atlases.scope_of(request, request.types[0])
        shelves = result.read_shelves()
        text = f"from a finished atlas: {covered(shelves.half_length, shelves.steps, '')}"
        complete = claims.complete(scope, shelves.half_length)
        return _from_shelves(scope, shelves, wanted), text, complete
    report = readings.atlas(result, request)
    by_name = {tuple(own["cycle"]): own for own in report["entries"]}
    found = {}
    for triple in wanted:
        entry = next((by_name[names] for names in _names(puzzle, triple) if names in by_name), None)
        if entry is not None:
            found[triple] = Cell(entry["notation"], entry["sequence"], entry["turns"])
    return found, f"from a finished atlas: {report['searched']['text']}", None


def _names(puzzle: Puzzle, triple: Triple) -> Iterable[tuple[str, ...]]:
    """Return a cycle by names, begun and twisted in every way in which it is the same one."""
    twists = puzzle.types[int(puzzle.type_of[puzzle.slot_of[triple[0]]])].twists
    for k in range(3):
        begun = triple[k:] + triple[:k]
        for x in range(twists):
            yield tuple(placement_name(puzzle, _twisted(puzzle, p, x)) for p in begun)


def _twisted(puzzle: Puzzle, placement: int, by: int) -> int:
    home = int(puzzle.home[puzzle.slot_of[placement]])
    twists = puzzle.types[int(puzzle.type_of[puzzle.slot_of[placement]])].twists
    return home + (placement - home + by) % twists


def _from_shelves(scope: Scope, shelves: Shelves, wanted: Sequence[Triple]) -> dict[Triple, Cell]:
    found = entries(scope, shelves, wanted, None, False)
    return {
        triple: Cell(own.shortest.notation, own.shortest.sequence, own.shortest.turns)
        for triple, own in zip(wanted, found, strict=True)
        if own is not None
    }


def _deepest(store: Store, scope: Scope) -> Shelves | None:
    """Return the deepest shelves that any search for these cycles has left."""
    key = stored.levels_key(scope)
    for number in reversed(store.levels.numbers(key)):
        shelves = stored.read(store.levels.get(key, number))
        if shelves is not None and shelves.number == number:
            return shelves
    return None


def _words(puzzle: Puzzle, texts: Iterable[str]) -> list[Word]:
    """Return the sequences on a sheet that can be read and done."""
    result = []
    for text in texts:
        try:
            word = normal(puzzle, parse(puzzle, text).word)
        except TrefoilError:
            continue
        if puzzle.first_blocked(word) is None:
            result.append(word)
    return result


def images(puzzle: Puzzle, words: Iterable[Word], wanted: Iterable[Triple]) -> dict[Triple, Cell]:
    """Return which of some cycles are done by words, held otherwise, mirrored or undone."""
    keys: dict[Triple, list[Triple]] = {}
    for triple in wanted:
        keys.setdefault(_key(puzzle, triple), []).append(triple)
    found: dict[Triple, Word] = {}
    for word in words:
        moved = cycles(puzzle, effect_of(puzzle, word))
        if len(moved) != 1 or len(moved[0]) != 3:
            continue
        for way in (word, puzzle.inverse(word)):
            if puzzle.first_blocked(way) is not None:
                continue
            (cycle,) = cycles(puzzle, effect_of(puzzle, way))
            for symmetry in puzzle.symmetries:
                a, b, c = (int(symmetry.placements[p]) for p in cycle)
                options = keys.get(_key(puzzle, (a, b, c)), ())
                image = normal(puzzle, [int(symmetry.turns[t]) for t in way])
                # Twists of images are told by doing the word, not by the symmetry alone.
                for triple in options:
                    best = found.get(triple)
                    shorter = best is None or (len(image), image) < (len(best), best)
                    if shorter and _does(puzzle, image, triple):
                        found[triple] = image
    return {triple: _said(puzzle, word) for triple, word in found.items()}


def _key(puzzle: Puzzle, triple: Triple) -> Triple:
    """Return the slots of a cycle, the least first: what words for it are looked for by."""
    slots = tuple(int(puzzle.slot_of[p]) for p in triple)
    k = slots.index(min(slots))
    a, b, c = slots[k:] + slots[:k]
    return a, b, c


def _does(puzzle: Puzzle, word: Word, triple: Triple) -> bool:
    """Return whether a word does just this cycle of placements."""
    if puzzle.first_blocked(word) is not None:
        return False
    effect = effect_of(puzzle, word)
    a, b, c = triple
    return (
        len(cycles(puzzle, effect)) == 1
        and effect.table[a] == b
        and effect.table[b] == c
        and effect.table[c] == a
    )


def _said(puzzle: Puzzle, word: Word) -> Cell:
    form = forms.shortest_form(puzzle, word)
    text = forms.text(puzzle, form) if form else write(puzzle, word)
    return Cell(text, write(puzzle, word), len(word))
