"""What a favourite reaches, as a JSON object: counts by setup, what is left, a look-up table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from puzzles import brackets
from puzzles.blocking import why_blocked
from puzzles.brackets import Conjugate, Tree
from puzzles.effects import Cycle
from puzzles.errors import RequestError
from puzzles.laws import joined, plural
from puzzles.names import placement_name, read_cycle
from puzzles.notation import Parsed, plain, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.cover import NEVER, Cover, Entry, cover
from search.cover_blocked import blocked_cover
from search.cover_rest import OPEN, SETUP, Rest, rest, rows_of, shapes_of, total
from search.fastened import possible
from search.favourite import Favourite, favourite, read_tree, shape_text
from search.hands import held
from search.reading import inverted, turns_of
from search.reading_levels import carried
from search.request import MOST_HALF_LENGTH, three_names
from search.waymarks import Turned, Turner
from service.reports import Report

if TYPE_CHECKING:
    from search.cover_second import Compared, Second

#: The turns of setup that are allowed if nobody says how many.
SETUP_TURNS = 2
#: What is said where second favourites are not compared.
NO_SECOND = "second favourites are compared for three-cycles alone"
#: The most cases that are listed with their sequences; more are only counted.
MOST_ENTRIES = 50_000
#: The most placements that a side of the grid has; beyond it, it has slots.
MOST_GRID = 64
#: More turns of setup than there are, for what is no cycle; one less for what is not reached.
FAR = 1_000
#: The most cases that are listed of those that are out of reach for one reason.
MOST_LEFT = 1_000


def covered(
    puzzle: Puzzle,
    parsed: Parsed,
    layers: tuple[int, ...] | None = None,
    kept: tuple[int, ...] | None = None,
    setup: int = SETUP_TURNS,
    stop: Callable[[], bool] = lambda: False,
) -> Cover:
    """Return what a favourite reaches; raises RequestError and LimitError."""
    if not 0 <= setup <= MOST_HALF_LENGTH:
        raise RequestError(f"setup {setup}: a number from 0 to {MOST_HALF_LENGTH} was expected")
    own = favourite(puzzle, parsed, layers, kept)
    return blocked_cover(own, setup, stop) if puzzle.can_block else cover(own, setup, stop)


def report(
    own: Cover,
    left_over: str = "",
    only: Sequence[str] | None = None,
    first: str | None = None,
    listing: bool = True,
) -> Report:
    """Return a cover as an object; with ``only``, three names, with the entry of that case alone.

    ``first`` names the piece from which the grid is, None for no grid; empty for the first of all.
    Without ``listing`` no entries are given but the one that was asked for.

    Raises RequestError for a case that is none of the favourite's kind. ``blocked`` says why the
    favourite itself cannot be done on the solved puzzle; after some setup it may.
    """
    liked, puzzle = own.favourite, own.favourite.puzzle
    left = rest(own)
    every = total(puzzle, shapes_of(own))
    wanted = None if only is None else _asked(own, only)
    listed = listing and own.reached <= MOST_ENTRIES
    entries: Iterable[Entry] = own.entries if listed or wanted else ()
    if wanted is not None:
        cycles = own.cases.cycles(rows_of(own.cases, (wanted,)))
        entries = [entry for entry in entries if entry.cycles == cycles]
    told = _Teller(liked, own)
    result: Report = {
        "puzzle": puzzle.name,
        "favourite": {
            "sequence": write(puzzle, liked.word),
            "turns": len(liked.word),
            "notation": brackets.text(liked.tree),
            "cycles": _names(puzzle, liked.cycles),
            "left_over": left_over,
            "blocked": why_blocked(puzzle, liked.word),
        },
        "shape": shape_text(puzzle, liked.shape),
        "types": [puzzle.types[k].name for k in sorted(set(liked.types))],
        "kept": [puzzle.types[k].name for k in liked.scope.kept],
        "setup": own.setup,
        "starts": len(own.starts),
        "all": every,
        "reached": own.reached,
        "by_setup": [
            {"setup": turns, "cases": count, "within": turns <= own.setup}
            for turns, count in enumerate(own.counts)
        ],
        "largest_setup": len(own.counts) - 1 if own.closed else None,
        "worst": _worst(own),
        "out_of_reach": [_left(puzzle, one) for one in left],
        "grid": grid(own, first) if first is not None and liked.three_cycle else None,
        "case": None if wanted is None else _names(puzzle, (wanted,))[0],
        "listed": listed and wanted is None,
        "entries": [told(entry) for entry in entries],
    }
    result["text"] = says(result, own)
    return result


def says(told: Report, own: Cover) -> str:
    """Return how much is reached, and with how much setup, in one sentence."""
    of = f"{told['reached']:,} of {told['all']:,}"
    plural_s = "s" if own.setup != 1 else ""
    setup = f"up to {own.setup} turn{plural_s} of setup" if own.setup else "no setup"
    text = f"reaches {of} with {setup}"
    largest = told["largest_setup"]
    met = sum(row["cases"] for row in told["by_setup"])
    if own.tried is not None:
        if own.tried < own.setup:
            text += f"; there are too many setups, those of up to {own.tried} were tried"
        elif not own.closed:
            text += "; turns can be blocked here, so that more setup may reach more"
    elif largest is None:
        text += "; what more setup would reach was not walked to the end"
    elif largest > own.setup:
        text += f"; with {largest} it reaches {'all' if met == told['all'] else f'{met:,}'}"
    elif met < told["all"]:
        text += ", and no more with any setup"
    return text


class _Teller:
    """Tells entries: the favourite's own brackets, in the letters of the entry."""

    def __init__(self, liked: Favourite, own: Cover) -> None:
        self._puzzle, self._starts = liked.puzzle, own.starts
        self._turner = Turner.of(liked.scope)
        self._liked = liked
        self._tree = lru_cache(maxsize=None)(self._turned)
        self._begun = lru_cache(maxsize=None)(self._start)
        self._held = lru_cache(maxsize=None)(self._holding)

    def __call__(self, entry: Entry) -> Report:
        puzzle, way = self._puzzle, entry.way
        up, front = self._held(way.turned.symmetry)
        names = _names(puzzle, entry.cycles)
        return {
            "cycle": names[0],
            "cycles": names,
            "setup": write(puzzle, way.setup),
            "setup_turns": len(way.setup),
            "sequence": write(puzzle, way.word),
            "turns": len(way.word),
            "notation": self._notation(entry),
            "hold": {"up": up, "front": front},
            "mirrored": self._turner.mirrors(way.turned),
            "undone": way.turned.undone,
            "favourite": write(puzzle, self._used(way.start, way.turned)),
            "begun_after": write(puzzle, self._starts[way.start].moved),
        }

    def _used(self, start: int, turned: Turned) -> Word:
        return normal(self._puzzle, self._turner.apply(self._starts[start].word, turned))

    def _start(self, number: int) -> Tree:
        return (
            self._liked.tree if number == 0 else read_tree(self._puzzle, self._starts[number].word)
        )

    def _turned(self, start: int, symmetry: int, undone: bool) -> Tree:
        tree = carried(self._puzzle, self._begun(start), self._turner.number(symmetry))
        return inverted(tree) if undone else tree

    def _holding(self, symmetry: int) -> tuple[str, str]:
        return held(self._puzzle, self._turner.number(self._turner.back(symmetry)))

    def _notation(self, entry: Entry) -> str:
        puzzle, way = self._puzzle, entry.way
        tree = self._tree(way.start, way.turned.symmetry, way.turned.undone)
        if way.setup:
            inner, around = tree, way.setup
            if isinstance(tree, Conjugate):
                inner, around = tree.part, way.setup + turns_of(puzzle, tree.setup)
            around = normal(puzzle, around)
            tree = Conjugate(plain(puzzle, around), inner) if around else inner
        if puzzle.can_block and not possible(puzzle, turns_of(puzzle, tree)):
            return write(puzzle, way.word)
        return brackets.text(tree)


def grid(own: Cover, first: str) -> Report:
    """Return the setup turns of every three-cycle from one piece, NEVER where none was met.

    Rows are the second piece, columns the third, by placements; where these are more than
    MOST_GRID, by slots, and of their twists those are told that need least. ``levels`` has None
    where no cycle is.
    """
    puzzle = own.favourite.puzzle
    kind = puzzle.types[own.favourite.types[0]]
    start = kind.first_placement
    if first:
        (placed,) = read_cycle(puzzle, [first])
        if int(puzzle.type_of[placed.slot]) != kind.number:
            raise RequestError(f"{first} is none of the {plural(kind.name)}, which are cycled")
        start = int(puzzle.home[placed.slot])
    others = [p for p in kind.placements if puzzle.slot_of[p] != puzzle.slot_of[start]]
    triples = np.array([(start, b, c) for b in others for c in others], dtype=np.int64)
    slots = puzzle.slot_of[triples]
    there = slots[:, 1] != slots[:, 2]
    levels = np.full(len(triples), FAR, dtype=np.int64)
    met = own.level(own.cases.of_triples(triples[there]))
    levels[there] = np.where(met == NEVER, FAR - 1, met)
    count, twists = len(others), kind.twists
    square = levels.reshape(count, count)
    if count > MOST_GRID:
        square = square.reshape(count // twists, twists, count // twists, twists).min(axis=(1, 3))
        others = others[::twists]
    told = [
        [None if level == FAR else NEVER if level == FAR - 1 else level for level in row]
        for row in square.tolist()
    ]
    return {
        "first": placement_name(puzzle, start),
        "others": [placement_name(puzzle, p) for p in others],
        "by_slots": len(others) < count,
        "firsts": [placement_name(puzzle, int(puzzle.home[slot])) for slot in kind.slots],
        "levels": told,
    }


def _worst(own: Cover) -> Report | None:
    """Return the most setup turns of what is reached, with how many cases and one of them."""
    within = own.counts[: own.setup + 1]
    most = max((turns for turns, count in enumerate(within) if count), default=None)
    if most is None:
        return None
    number = int(np.flatnonzero(own.levels == most)[0])
    rows = next(rows for _, rows, _ in own.cases.members(number))
    names = _names(own.favourite.puzzle, own.cases.cycles(rows))
    return {"setup": most, "cases": within[most], "cycles": names}


def _left(puzzle: Puzzle, one: Rest) -> Report:
    return {
        "kind": one.kind,
        "cases": one.count,
        "setup": one.turns,
        "reason": reason(one),
        "example": _names(puzzle, one.example),
        "cycles": [_names(puzzle, cycles) for cycles in one.cycles[:MOST_LEFT]],
    }


def reason(one: Rest) -> str:
    """Return in words why cases are out of reach."""
    if one.kind == SETUP:
        return f"{one.turns} turn{'s' * (one.turns != 1)} of setup would reach them"
    if one.reason:
        return one.reason.rstrip(".")
    if one.kind == OPEN:
        return "not found with so much setup; more may reach them"
    return "possible, but no setup of this favourite leads there"


def seconds(own: Cover, best: Iterable[Second]) -> list[Report]:
    """Return second favourites, the best first."""
    puzzle = own.favourite.puzzle
    return [
        {
            "sequence": write(puzzle, one.word),
            "turns": len(one.word),
            "notation": one.notation,
            "things": one.things,
            "covers": one.covers,
            "both": one.both,
            "alone": one.alone,
            "setups": one.setups,
        }
        for one in best
    ]


def compared(own: Cover, last: Compared, words: int, half_length: int) -> Report:
    """Return the best second favourites of so many words, and how far the comparing went."""
    from search.cover_second import told

    text = (
        f"{last.done:,} of {words:,} sequences compared, those of a search up to half-length "
        f"{half_length}"
    )
    return {"second": seconds(own, told(own.favourite.puzzle, last.best)), "second_text": text}


def _names(puzzle: Puzzle, cycles: Iterable[Cycle]) -> list[list[str]]:
    return [[placement_name(puzzle, p) for p in cycle] for cycle in cycles]


def _asked(own: Cover, names: Sequence[str]) -> tuple[int, int, int]:
    """Return the placements of a case from three names."""
    liked, puzzle = own.favourite, own.favourite.puzzle
    if not liked.three_cycle:
        raise RequestError(f"a case of three pieces was named; the favourite is {_what(liked)}")
    placed = read_cycle(puzzle, three_names(names))
    for one, name in zip(placed, three_names(names), strict=True):
        kind = puzzle.types[int(puzzle.type_of[one.slot])]
        if kind.number not in liked.types:
            raise RequestError(
                f"{' '.join(names)}: {name} is one of the {plural(kind.name)}, and the favourite "
                f"is {_what(liked)}"
            )
    a, b, c = (
        int(puzzle.home[one.slot]) if one.placement is None else int(one.placement)
        for one in placed
    )
    return a, b, c


def _what(liked: Favourite) -> str:
    return shape_text(liked.puzzle, liked.shape)


def kinds_text(told: Report) -> str:
    """Return the types that must stay in words, empty if all must."""
    return joined([plural(name) for name in told["kept"]])
