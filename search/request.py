"""What is asked for: a cycle, what may turn, what must stay, and how far to look."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from puzzles.errors import NameNotFoundError, RequestError
from puzzles.names import Placed, read_cycle, read_type
from puzzles.puzzle import Puzzle
from search.encoding import Scope, scope, wanted_with_images

#: How long a search without bounds goes on for, in seconds.
SECONDS = 20.0
#: The longest that a search may be asked to go on for, in seconds.
MOST_SECONDS = 86_400
#: The most executed turns and the largest half-length that may be asked for.
MOST_TURNS = 40
MOST_HALF_LENGTH = 12
#: The longest text that a wanted effect is read from, in characters.
LONGEST_EFFECT = 2_000
#: The most that a column may count where answers are put in order.
MOST_WEIGHT = 1_000
#: How many of those folded under an answer are told, the best first; the others are only counted.
MOST_MEMBERS = 20


@dataclass(frozen=True)
class Bounds:
    """How far to look; None leaves a bound open.

    ``turns``: executed turns; all answers up to so many are looked for, and longer ones are not
    given. ``half_length``: turns in X, Y and Z of the ring; the smaller of both counts. ``setup``:
    turns before the ring. ``seconds``: how long. Without ``turns`` and ``half_length`` a search
    goes on until the best is proven or SECONDS are over.
    """

    turns: int | None = None
    half_length: int | None = None
    setup: int | None = None
    seconds: float | None = None

    def __post_init__(self) -> None:
        for name, value, most in (
            ("turns", self.turns, MOST_TURNS),
            ("half-length", self.half_length, MOST_HALF_LENGTH),
        ):
            if value is not None and not 1 <= value <= most:
                raise RequestError(f"{name} {value}: a number from 1 to {most} was expected")
        if self.setup is not None and not 0 <= self.setup <= MOST_HALF_LENGTH:
            raise RequestError(
                f"setup {self.setup}: a number from 0 to {MOST_HALF_LENGTH} was expected"
            )
        if self.seconds is not None and not 0 < self.seconds <= MOST_SECONDS:
            raise RequestError(
                f"{self.seconds:g} seconds: more than 0 and at most {MOST_SECONDS:,} were expected"
            )

    @property
    def time_limit(self) -> float | None:
        """The seconds after which the search ends by itself, None for no limit."""
        open_ended = self.turns is None and self.half_length is None
        return SECONDS if self.seconds is None and open_ended else self.seconds


@dataclass(frozen=True)
class Request:
    """A wanted three-cycle: the piece at the first place goes to the second, and so on.

    ``layers`` and ``kept`` are numbers of layers and piece types, None for all. ``alike``: pieces
    that look the same may change places. ``any_twist``: the three may be twisted in any way.
    """

    puzzle: Puzzle
    cycle: tuple[Placed, ...]
    layers: tuple[int, ...] | None = None
    kept: tuple[int, ...] | None = None
    alike: bool = True
    any_twist: bool = False
    bounds: Bounds = Bounds()

    def free(self) -> tuple[int, ...]:
        """Return the numbers of the types that may end up anywhere."""
        if self.kept is None:
            return ()
        return tuple(t.number for t in self.puzzle.types if t.number not in self.kept)

    def scope(self) -> Scope:
        """Return the search that answers this request and all that are its images."""
        kind = int(self.puzzle.type_of[self.cycle[0].slot])
        wanted = wanted_with_images(self.puzzle, kind, self.layers, self.kept)
        return scope(self.puzzle, self.layers, self.kept, wanted)

    def triples(self) -> list[tuple[int, int, int]]:
        """Return the three-cycles of placements that fulfil the request, the plain one first.

        More than one: any twists, or pieces that look the same in each other's place.
        """
        puzzle = self.puzzle
        options = []
        for place in self.cycle:
            kind = puzzle.types[int(puzzle.type_of[place.slot])]
            home = int(puzzle.home[place.slot])
            every = list(range(home, home + kind.twists))
            first = place.placement if place.placement is not None else home
            options.append([first] if not self.any_twist else [first, *(set(every) - {first})])
        options[0] = options[0][:1]
        plain = [(a, b, c) for a, b, c in itertools.product(*options)]
        if not self.alike:
            return plain
        return list(dict.fromkeys(t for triple in plain for t in look_alike(puzzle, triple)))


def look_alike(puzzle: Puzzle, triple: tuple[int, int, int]) -> list[tuple[int, int, int]]:
    """Return the cycles that look the same as one, itself first.

    Where two of the three pieces look the same, their cycle only swaps two looks; the piece that
    takes part for nothing may be any of that look.
    """
    result = [triple]
    for k in range(3):
        a, b, c = triple[k], triple[(k + 1) % 3], triple[(k + 2) % 3]
        if not _same_look(puzzle, a, b):
            continue
        # b gets what looks like itself, c gets that look, a gets c's: c and a swap looks.
        for slot, piece in enumerate(puzzle.home.tolist()):
            if slot in (puzzle.slot_of[a], puzzle.slot_of[c]):
                continue
            if _same_look(puzzle, a, piece):
                result.append((a, piece, c))
            if _same_look(puzzle, c, piece):
                result.append((a, c, piece))
    return result


def _same_look(puzzle: Puzzle, first: int, second: int) -> bool:
    """Return whether two pieces of a type without twists look the same at home."""
    one, two = int(puzzle.slot_of[first]), int(puzzle.slot_of[second])
    twists = puzzle.types[int(puzzle.type_of[one])].twists
    return twists == 1 and one != two and bool(puzzle.alike[one] == puzzle.alike[two])


def layer_numbers(puzzle: Puzzle, names: str | Sequence[str] | None) -> tuple[int, ...] | None:
    """Return the numbers of layers from names, in text separated by spaces or commas."""
    if names is None:
        return None
    words = names.replace(",", " ").split() if isinstance(names, str) else list(names)
    if not words:
        raise RequestError("layers: at least one layer must be allowed to turn")
    found = []
    for word in words:
        if word not in puzzle.layer_numbers:
            known = " ".join(layer.name for layer in puzzle.layers)
            raise NameNotFoundError(
                f"there is no layer {word!r}; {puzzle.name} has the layers {known}"
            )
        found.append(puzzle.layer_numbers[word])
    return tuple(sorted(set(found)))


def kept_types(
    puzzle: Puzzle, keep: str | Sequence[str] | None, free: str | Sequence[str] | None
) -> tuple[int, ...] | None:
    """Return the numbers of the kept types from those to keep, or from those that are free."""
    if keep is not None and free is not None:
        raise RequestError("give either the types to keep or the free ones, and not both")
    if keep is None and free is None:
        return None
    given = keep if keep is not None else free
    words = given.replace(",", " ").split() if isinstance(given, str) else list(given or ())
    numbers = {read_type(puzzle, word).number for word in words}
    if keep is None:
        numbers = {t.number for t in puzzle.types} - numbers
    return tuple(sorted(numbers))


def three_names(cycle: str | Sequence[str]) -> list[str]:
    """Return the names in a cycle; raises RequestError unless there are three."""
    names = cycle.split() if isinstance(cycle, str) else list(cycle)
    if len(names) != 3:
        raise RequestError(
            f"a three-cycle names three pieces, but the number given is {len(names)}"
        )
    return names


def request(
    puzzle: Puzzle,
    cycle: str | Sequence[str],
    *,
    layers: str | Sequence[str] | None = None,
    keep: str | Sequence[str] | None = None,
    free: str | Sequence[str] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    bounds: Bounds = Bounds(),
) -> Request:
    """Return a checked request from names; raises RequestError or NameNotFoundError.

    ``cycle`` names three stickers or pieces. A wanted type that is not kept is an error.
    """
    placed = read_cycle(puzzle, three_names(cycle))
    kept = kept_types(puzzle, keep, free)
    kind = puzzle.types[int(puzzle.type_of[placed[0].slot])]
    if kept is not None and kind.number not in kept:
        raise RequestError(
            f"the type {kind.name!r} is to be cycled, so it must be among those that are kept"
        )
    return Request(puzzle, placed, layer_numbers(puzzle, layers), kept, alike, any_twist, bounds)
