"""Sequences for a type's smallest effects: shipped with the catalogue, or found here and kept.

``python -m service.sequences`` searches for what the catalogue lacks and writes the shipped ones.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from puzzles.effects import cycles, effect_of
from puzzles.errors import TrefoilError
from puzzles.least_effects import kind_of
from puzzles.names import placement_name, slot_names
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from service.stores import Levels, NoLevels

#: The file in the catalogue's folder.
FILE = "sequences.json"
#: What is known of how short a sequence is: of any form, among commutator forms, or nothing.
ANY_FORM, COMMUTATORS = "any form", "commutator forms"

#: A type's number and a kind of effect.
Wanted = tuple[int, str]


@dataclass(frozen=True)
class Kept:
    """A sequence for an effect of a type, as it is kept; ``shortest`` says among what it is."""

    type: str
    effect: str
    notation: str
    turns: int
    shortest: str = ""


@dataclass(frozen=True)
class Checked:
    """A kept sequence that was done once more and has its effect; ``word`` are its turns."""

    kept: Kept
    word: Word
    sequence: str


def rank(kept: Kept) -> tuple[int, bool, int, str]:
    """Return what sequences for one effect are sorted by: fewer turns, a proof, a shorter text."""
    return kept.turns, not kept.shortest, len(kept.notation), kept.notation


def checked(puzzle: Puzzle, kept: Kept) -> Checked | None:
    """Return a kept sequence with its turns, None if it does not have its effect."""
    kind = puzzle.type_named(kept.type)
    try:
        parsed = parse(puzzle, kept.notation)
    except TrefoilError:
        return None
    word = normal(puzzle, parsed.word)
    if kind is None or parsed.left_over or puzzle.first_blocked(word) is not None:
        return None
    if kind_of(puzzle, puzzle.effect(word)) != (kind.number, kept.effect):
        return None
    if len(word) != kept.turns:
        return None
    return Checked(kept, word, write(puzzle, word))


@lru_cache(maxsize=1)
def _shipped() -> Mapping[str, list[dict[str, Any]]]:
    path = resources.files("puzzles") / "catalogue" / FILE
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    return {own["digest"]: own["sequences"] for own in data.values()}


def stored(puzzle: Puzzle, levels: Levels) -> dict[Wanted, Checked]:
    """Return the best sequence for each effect that has one, shipped or kept in a store."""
    rows = [Kept(**row) for row in _shipped().get(puzzle.digest, ())]
    for turns in levels.numbers(_key(puzzle)):
        rows += _read(levels.get(_key(puzzle), turns))
    result: dict[Wanted, Checked] = {}
    for kept in sorted(rows, key=rank):
        own = checked(puzzle, kept)
        kind = puzzle.type_named(kept.type)
        if own is not None and kind is not None:
            result.setdefault((kind.number, kept.effect), own)
    return result


def example(puzzle: Puzzle) -> list[str]:
    """Return the names of a three-cycle: that of the shortest shipped sequence, if there is one."""
    rows = [Kept(**row) for row in _shipped().get(puzzle.digest, ())]
    for kept in sorted(rows, key=rank):
        own = checked(puzzle, kept) if kept.effect == "three-cycle" else None
        found = cycles(puzzle, effect_of(puzzle, own.word)) if own is not None else ()
        if len(found) == 1 and len(found[0]) == 3:
            return [placement_name(puzzle, place) for place in found[0]]
    names = slot_names(puzzle)
    kinds = [kind for kind in puzzle.types if kind.moves and kind.count > 2]
    return [names[slot] for kind in kinds[:1] for slot in kind.slots[:3]]


def keep(puzzle: Puzzle, levels: Levels, found: Iterable[Kept]) -> None:
    """Keep sequences in a store, beside those that are there."""
    rows = [asdict(kept) for kept in found]
    if rows:
        # What is in a store never changes, so each lot has a number of its own.
        number = max(levels.numbers(_key(puzzle)), default=0) + 1
        levels.put(_key(puzzle), number, json.dumps(rows).encode())


def _key(puzzle: Puzzle) -> str:
    return f"sequences|{puzzle.digest}"


def _read(data: bytes | None) -> list[Kept]:
    try:
        return [Kept(**row) for row in json.loads(data or b"[]")]
    except (ValueError, TypeError):
        return []


def text(found: Mapping[str, tuple[str, Iterable[Kept]]]) -> str:
    """Return the shipped file's text: for each puzzle by name its digest and its sequences."""
    lines = []
    for name, (digest, rows) in found.items():
        own = ",\n    ".join(json.dumps(asdict(kept)) for kept in rows)
        head = f'{json.dumps(name)}: {{"digest": "{digest}", "sequences": ['
        lines.append(f"{head}\n    {own}]}}" if own else f"{head}]}}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def main(names: list[str], seconds: float) -> None:
    """Search what is missing for puzzles of the catalogue (all if none) and write the file."""
    from puzzles import file, load
    from service.engine import Engine
    from service.output import say
    from service.parts import parts
    from service.parts_search import find_missing

    path = Path(__file__).parent.parent / "puzzles" / "catalogue" / FILE
    for name in names or file.catalogue():
        say(name)
        own, _ = find_missing(Engine(notice=say), parts(load(name), NoLevels()), seconds)
        _shipped.cache_clear()
        result: dict[str, tuple[str, Iterable[Kept]]] = {}
        for other in file.catalogue():
            puzzle = load(other)
            known = own.sequences if other == name else stored(puzzle, NoLevels())
            rows = [done.kept for _, done in sorted(known.items())]
            result[other] = puzzle.digest, rows
        path.write_text(text(result), encoding="utf-8")


if __name__ == "__main__":
    import sys

    main(sys.argv[2:], float(sys.argv[1]) if len(sys.argv) > 1 else 60.0)
