"""A sequence that somebody likes, checked: what it does to kept pieces, or what is wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Repeat, Tree, Written
from puzzles.effects import Cycle, cycle_text, cycles, effect_of
from puzzles.errors import RequestError
from puzzles.laws import joined, plural
from puzzles.notation import Parsed, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import brackets as forms
from search.encoding import Scope, scope

#: The most kept pieces that a favourite may move.
MOST_MOVED = 6
#: The most turns of a favourite.
MOST_TURNS = 200

#: A cycle of a shape: the number of its type, how many pieces, and the twist that is left after it.
Kind = tuple[int, int, int]
Shape = tuple[Kind, ...]


@dataclass(frozen=True, eq=False)
class Favourite:
    """A checked favourite: its cancelled turns, how it is written, and its cycles of kept pieces.

    ``layers`` and ``kept`` are numbers of the layers that may turn and of the kept types, None for
    all; ``scope`` has the symmetries of both.
    """

    puzzle: Puzzle
    word: Word
    tree: Tree
    cycles: tuple[Cycle, ...]
    layers: tuple[int, ...] | None
    kept: tuple[int, ...] | None
    scope: Scope

    @property
    def shape(self) -> Shape:
        """The lengths, types and twists of its cycles, in order."""
        return shape_of(self.puzzle, self.cycles)

    @property
    def three_cycle(self) -> bool:
        """Whether it is one cycle of three pieces without a twist."""
        return len(self.shape) == 1 and self.shape[0][1:] == (3, 0)

    @property
    def types(self) -> tuple[int, ...]:
        """The type of each piece that it moves, ascending."""
        return tuple(sorted(kind for kind, length, _ in self.shape for _ in range(length)))


def shape_of(puzzle: Puzzle, own: tuple[Cycle, ...]) -> Shape:
    """Return the shape of cycles of placements as ``puzzles.effects.cycles`` gives them."""
    result = []
    for cycle in own:
        slots = [int(puzzle.slot_of[p]) for p in cycle]
        length = len(set(slots))
        kind = puzzle.types[int(puzzle.type_of[slots[0]])]
        twist = 0
        if length < len(cycle):
            twist = int(puzzle.twist_of[cycle[length]] - puzzle.twist_of[cycle[0]]) % kind.twists
        result.append((kind.number, length, twist))
    return tuple(sorted(result))


def shape_text(puzzle: Puzzle, shape: Shape) -> str:
    """Return a shape in words, such as "a three-cycle of corners"."""
    kinds = [(kind, length, twist > 0) for kind, length, twist in shape]
    said = []
    for kind, length, twisted in dict.fromkeys(kinds):
        times, name = kinds.count((kind, length, twisted)), puzzle.types[kind].name
        what = {1: "twist", 2: "swap", 3: "three-cycle"}.get(length, f"cycle of {length}")
        if length == 1:
            said.append(f"{_number(times, what)} of {plural(name)}")
            continue
        back = f" that come{'s' if times == 1 else ''} back twisted" if twisted else ""
        said.append(f"{_number(times, what)} of {plural(name)}{back}")
    return joined(said)


def _number(count: int, word: str) -> str:
    if count == 1:
        return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"
    words = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
    return f"{words.get(count, str(count))} {plural(word)}"


def favourite(
    puzzle: Puzzle,
    parsed: Parsed,
    layers: tuple[int, ...] | None = None,
    kept: tuple[int, ...] | None = None,
) -> Favourite:
    """Return a checked favourite; raises RequestError with what it does instead of what it should.

    ``layers`` and ``kept`` are numbers of layers and piece types, None for all.
    """
    if not parsed.word:
        raise RequestError(
            "the sequence is empty; one that moves a few pieces and keeps all else was expected, "
            "such as a three-cycle"
        )
    word = normal(puzzle, parsed.word)
    if not word:
        raise RequestError(
            "all turns of the sequence cancel, so that it does nothing; one that moves a few "
            "pieces was expected, such as a three-cycle"
        )
    if len(word) > MOST_TURNS:
        raise RequestError(
            f"the sequence has {len(word):,} turns; a favourite has at most {MOST_TURNS}"
        )
    if layers is not None:
        strange = sorted({int(puzzle.turn_layer[turn]) for turn in word} - set(layers))
        if strange:
            names = joined([puzzle.layers[layer].name for layer in strange])
            raise RequestError(f"the sequence turns {names}, which may not turn")
    found = tuple(
        cycle
        for cycle in cycles(puzzle, effect_of(puzzle, word))
        if kept is None or int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) in kept
    )
    own = scope(puzzle, layers, kept, ())
    _check(puzzle, found, kept is None)
    return Favourite(puzzle, word, _tree(puzzle, parsed, word), found, layers, kept, own)


def _check(puzzle: Puzzle, own: tuple[Cycle, ...], all_kept: bool) -> None:
    """Raise RequestError for an effect that is too large or none at all."""
    if not own:
        which = "piece" if all_kept else "piece that is to stay"
        raise RequestError(
            f"the sequence does nothing: no {which} is moved or twisted in the end; one that "
            "moves a few was expected, such as a three-cycle"
        )
    moved = [int(puzzle.slot_of[p]) for cycle in own for p in cycle]
    slots = sorted(set(moved))
    if len(slots) <= MOST_MOVED:
        return
    counts = np.bincount(puzzle.type_of[slots], minlength=len(puzzle.types))
    each = [
        f"{count} {plural(kind.name) if count != 1 else kind.name}"
        for kind, count in zip(puzzle.types, counts.tolist(), strict=True)
        if count
    ]
    text = (
        f"the sequence is no three-cycle: it moves {len(slots)} pieces that are to stay "
        f"({joined(each)}), and a favourite moves at most {MOST_MOVED}"
    )
    single = _alone(puzzle, own)
    if single is not None:
        cycle, others = single
        shown = cycle_text(puzzle, cycle)
        text += f"; with {joined(others)} free it would be a three-cycle, {shown}"
    raise RequestError(text)


def _alone(puzzle: Puzzle, own: tuple[Cycle, ...]) -> tuple[Cycle, list[str]] | None:
    """Return the three-cycle that is left if other types are free, and these by name."""
    by_type: dict[int, list[Cycle]] = {}
    for cycle in own:
        by_type.setdefault(int(puzzle.type_of[puzzle.slot_of[cycle[0]]]), []).append(cycle)
    for kind, found in by_type.items():
        if len(found) == 1 and shape_of(puzzle, tuple(found)) == ((kind, 3, 0),):
            return found[0], [puzzle.types[k].name for k in by_type if k != kind]
    return None


def _tree(puzzle: Puzzle, parsed: Parsed, word: Word) -> Tree:
    """Return the brackets that somebody has written, if they say it in turns of layers alone."""
    if _layers_only(puzzle, parsed.tree) and not parsed.left_over:
        written = [
            puzzle.turn(puzzle.layer_numbers[own.name], own.amount)
            for own in brackets.expand(parsed.tree)
        ]
        if normal(puzzle, [turn for turn in written if turn is not None]) == word:
            return parsed.tree
    return read_tree(puzzle, word)


def read_tree(puzzle: Puzzle, word: Word) -> Tree:
    """Return a word as a commutator with or without setup if it can be read so, else its turns."""
    form = forms.shortest_form(puzzle, word)
    if form is not None:
        return forms.tree(puzzle, form)
    from puzzles.notation import plain

    return plain(puzzle, word)


def _layers_only(puzzle: Puzzle, tree: Tree) -> bool:
    match tree:
        case Written(name, amount, _):
            return name in puzzle.layer_numbers and amount != 0
        case brackets.Sequence(parts):
            return all(_layers_only(puzzle, part) for part in parts)
        case Repeat(part, _) | brackets.Inverse(part):
            return _layers_only(puzzle, part)
        case Commutator(a, b) | Conjugate(a, b):
            return _layers_only(puzzle, a) and _layers_only(puzzle, b)


def text_of(favourite: Favourite) -> str:
    """Return a favourite as plain turns."""
    return write(favourite.puzzle, favourite.word)
