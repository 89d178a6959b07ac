"""What is asked for where it is more than one three-cycle: any small product of cycles."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from puzzles.effects import Cycle, Effect, cycle_text, cycles
from puzzles.errors import RequestError
from puzzles.names import placement_name, read_together
from puzzles.puzzle import Puzzle, Table
from search.impossible import stickers_apart, wanted_effect
from search.request import LONGEST_EFFECT, Bounds, kept_types, layer_numbers

#: The most pieces that a wanted effect moves.
MOST_MOVED = 16
#: The most effects that look the same as the asked one which are looked for with it.
MOST_ALIKE = 200
#: The most ways in which the pieces that change places may be twisted, where any will do.
MOST_TWISTED = 1_000
#: What may stand between the names of a cycle, other than spaces.
BETWEEN = re.compile(r"->|[→,]")


@dataclass(frozen=True, eq=False)
class EffectRequest:
    """A wanted effect as cycles of placements; everything else that is kept stays where it is.

    What is at the first placement of a cycle goes to the second, and so on; a cycle within one
    slot twists its piece, as ``puzzles.effects.cycles`` gives them. ``layers`` and ``kept`` are
    numbers of layers and piece types, None for all. ``alike``: pieces that look the same may
    change places. ``any_twist``: pieces that go to another slot may arrive there twisted in any
    way; those that are twisted in place are twisted as the cycles say.
    """

    puzzle: Puzzle
    cycles: tuple[Cycle, ...]
    layers: tuple[int, ...] | None = None
    kept: tuple[int, ...] | None = None
    alike: bool = True
    bounds: Bounds = field(default_factory=Bounds)
    any_twist: bool = False

    @cached_property
    def effect(self) -> Table:
        """Where each placement goes; shape (placements,)."""
        return effect_of(self.puzzle, self.cycles)

    @property
    def text(self) -> str:
        """The effect by the names of its placements, such as ``(UFR RUF FRU)(UFL LUF FUL)``."""
        return "".join(cycle_text(self.puzzle, cycle) for cycle in self.cycles)

    @property
    def counts(self) -> tuple[tuple[int, int], ...]:
        """How many pieces of which types the effect moves: pairs of number and count, in order."""
        return counts_of(self.puzzle, self.effect)

    @property
    def kept_types(self) -> tuple[int, ...]:
        """The numbers of the types that are kept, those that the effect moves among them."""
        every = tuple(t.number for t in self.puzzle.types)
        return every if self.kept is None else self.kept

    @property
    def turning(self) -> tuple[int, ...]:
        """The numbers of the layers that may turn."""
        return tuple(range(len(self.puzzle.layers))) if self.layers is None else self.layers

    @property
    def arriving(self) -> tuple[int, ...]:
        """The slots whose pieces go to another slot."""
        slot_of, home = self.puzzle.slot_of, self.puzzle.home
        away = slot_of[self.effect[home]] != np.arange(self.puzzle.slot_count)
        return tuple(np.flatnonzero(away).tolist())

    def twisted(self) -> list[Table]:
        """Return the asked effect, and with ``any_twist`` those that only twist otherwise."""
        if not self.any_twist:
            return [self.effect]
        puzzle = self.puzzle
        twists = [puzzle.types[puzzle.type_of[s]].twists for s in self.arriving]
        result = []
        for more in itertools.product(*map(range, twists)):
            table = self.effect.copy()
            for slot, by, all_twists in zip(self.arriving, more, twists, strict=True):
                own = puzzle.home[slot] + np.arange(all_twists)
                table[own] = np.roll(self.effect[own], -by)
            result.append(table)
        return result

    def looking_alike(self) -> list[Table]:
        """Return the effects that fulfil the request, the asked one first; (placements,) each.

        With ``any_twist``, those as well that only twist otherwise what goes to another slot. With
        ``alike``, those as well in which one or two pairs of like pieces have changed places, as
        long as no more pieces move than in the asked one.
        """
        result = self.twisted()
        if not self.alike:
            return result
        most = max(MOST_ALIKE, len(result))
        seen = {own.tobytes() for own in result}
        swaps = self._swaps()
        row = result.copy()
        for _ in range(2):
            following = []
            for effect, swap in itertools.product(row, swaps):
                image = effect[swap]
                if image.tobytes() not in seen:
                    seen.add(image.tobytes())
                    following.append(image)
                if len(seen) > 20 * most:
                    break
            row = following
            result += [own for own in row if counts_of(self.puzzle, own) == self.counts]
        return result[:most]

    def _swaps(self) -> list[Table]:
        """Return the exchanges of two like pieces of which the effect moves one."""
        puzzle, home = self.puzzle, self.puzzle.home
        moved = set(np.flatnonzero(self.effect[home] != home).tolist())
        result = []
        for kind in puzzle.types:
            for one, other in itertools.combinations(kind.slots, 2):
                if puzzle.alike[one] != puzzle.alike[other] or not moved & {one, other}:
                    continue
                swap = np.arange(puzzle.placement_count, dtype=np.int32)
                shift = int(puzzle.alike_twist[other] - puzzle.alike_twist[one])
                for x in range(kind.twists):
                    swap[home[one] + x] = home[other] + (x + shift) % kind.twists
                    swap[home[other] + (x + shift) % kind.twists] = home[one] + x
                result.append(swap)
        return result


def counts_of(puzzle: Puzzle, effect: Table) -> tuple[tuple[int, int], ...]:
    """Return how many pieces of which types an effect moves: pairs of number and count."""
    moved = np.flatnonzero(effect[puzzle.home] != puzzle.home)
    types, counts = np.unique(puzzle.type_of[moved], return_counts=True)
    return tuple(zip(types.tolist(), counts.tolist(), strict=True))


def effect_of(puzzle: Puzzle, wanted: Sequence[Cycle]) -> Table:
    """Return the effect of cycles of placements, done one after the other; (placements,).

    Raises RequestError for a cycle that is none, or where two cycles move one piece.
    """
    result = np.arange(puzzle.placement_count, dtype=np.int32)
    seen: set[int] = set()
    for cycle in wanted:
        slots = {int(puzzle.slot_of[p]) for p in cycle}
        if seen & slots:
            name = placement_name(puzzle, int(puzzle.home[min(seen & slots)]))
            raise RequestError(
                f"the piece {name} is in two cycles; each piece is in one, so write the product"
            )
        seen |= slots
        result = wanted_effect(puzzle, cycle)[result]
    return result


def read_effect(puzzle: Puzzle, text: str, any_twist: bool = False) -> tuple[Cycle, ...]:
    """Return the cycles of placements that a text such as ``(UFR RUF FRU)(UFL LUF FUL)`` gives.

    Without brackets it is one cycle. With ``any_twist`` stickers of different slots need not fit
    each other. Raises RequestError or NameNotFoundError, and
    ``search.impossible.ImpossibleError`` where a sticker can never come to the next one's place.
    """
    if len(text) > LONGEST_EFFECT:
        raise RequestError(
            f"the effect is {len(text):,} characters long; at most {LONGEST_EFFECT:,} are read"
        )
    plain = BETWEEN.sub(" ", text).strip()
    if not plain:
        raise RequestError(
            "the effect is empty; cycles in brackets were expected, such as (UFR UBL) (UF UB)"
        )
    if "(" not in plain and ")" not in plain:
        plain = f"({plain})"
    if re.fullmatch(r"(\s*\([^()]*\)\s*)+", plain) is None:
        raise RequestError(
            f"{text[:60]!r}: cycles in brackets were expected, each closed before the next begins, "
            "such as (UFR UBL) (UF UB)"
        )
    result = []
    for inside in re.findall(r"\(([^()]*)\)", plain):
        names = inside.split()
        if len(names) < 2:
            raise RequestError(
                f"({inside.strip()}): a cycle names two places or more; what is at the first goes "
                "to the second"
            )
        result.append(_read_cycle(puzzle, names, any_twist))
    effect_of(puzzle, result)
    return tuple(result)


def _read_cycle(puzzle: Puzzle, names: Sequence[str], any_twist: bool) -> Cycle:
    places = read_together(puzzle, names)
    apart = len({place.slot for place in places}) == len(places)
    if any_twist and apart:
        return tuple(
            int(puzzle.home[place.slot]) if place.placement is None else place.placement
            for place in places
        )
    stickers_apart(puzzle, places)
    for place in places:
        if place.placement is None:
            raise RequestError(
                f"the sticker {place.text} does not show how its piece sits; name another of its "
                f"stickers, such as {placement_name(puzzle, int(puzzle.home[place.slot]))}"
            )
    cycle = tuple(int(place.placement) for place in places if place.placement is not None)
    slots = [place.slot for place in places]
    if len(set(slots)) < len(slots) and not _is_whole(puzzle, cycle):
        raise RequestError(
            f"({' '.join(names)}) comes back to a piece too soon; a cycle visits each piece once, "
            "or goes through all its twists in turn, as in (UFR RUF FUR)"
        )
    return cycle


def _is_whole(puzzle: Puzzle, cycle: Cycle) -> bool:
    """Return whether a cycle that visits pieces again is that of an effect."""
    try:
        return effect_of(puzzle, [cycle]) is not None
    except RequestError:
        return False


def effect_request(
    puzzle: Puzzle,
    effect: str | Sequence[Cycle],
    *,
    layers: str | Sequence[str] | None = None,
    keep: str | Sequence[str] | None = None,
    free: str | Sequence[str] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    bounds: Bounds | None = None,
) -> EffectRequest:
    """Return a checked request for an effect, from text or from cycles of placements.

    Raises RequestError or NameNotFoundError. A type that is to be moved and not kept is an error,
    as is an effect that does nothing or moves more than MOST_MOVED pieces.
    """
    given = read_effect(puzzle, effect, any_twist) if isinstance(effect, str) else tuple(effect)
    table = effect_of(puzzle, given)
    own = cycles(puzzle, Effect(tuple(table.tolist())))
    kept = kept_types(puzzle, keep, free)
    result = EffectRequest(
        puzzle, own, layer_numbers(puzzle, layers), kept, alike, bounds or Bounds(), any_twist
    )
    moved = sum(count for _, count in result.counts)
    if not moved:
        raise RequestError("the effect moves nothing, so there is nothing to search")
    if moved > MOST_MOVED:
        raise RequestError(
            f"the effect moves {moved} pieces; searches are for effects of at most {MOST_MOVED}"
        )
    ways = math.prod(puzzle.types[puzzle.type_of[s]].twists for s in result.arriving)
    if any_twist and ways > MOST_TWISTED:
        raise RequestError(
            f"the pieces that change places can arrive twisted in {ways:,} ways; at most "
            f"{MOST_TWISTED:,} are looked for at once, so say how they are twisted"
        )
    for number, _ in result.counts:
        if number not in result.kept_types:
            raise RequestError(
                f"the type {puzzle.types[number].name!r} is to be moved, so it must be among those "
                "that are kept"
            )
    return result
