"""What finishing one puzzle needs, made when it is first asked for and then kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import RequestError
from puzzles.puzzle import PieceType, Puzzle
from search.finishing_direct import Direct
from search.solving_cycles import Splitter
from search.solving_looks import Looks
from search.solving_products import Products
from search.solving_sums import Balance
from search.solving_words import ShortWords, short_words
from search.tools import Search, Tools, search_in_memory, tools_for

#: What a slot counts, in turns, whose piece no three-cycle puts right.
WITHOUT_CYCLES = 4.0


@dataclass(frozen=True, eq=False)
class Tables:
    """Three-cycles of every type that keep all others, short words, sums, and products of words.

    ``apart``: pieces that look alike are told apart. ``search`` fetches the shelves for a table.
    """

    puzzle: Puzzle
    apart: bool = False
    search: Search = search_in_memory
    _tools: dict[int, Tools | None] = field(default_factory=dict, init=False, repr=False)
    _products: dict[tuple[int, ...], Products] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def looks(self) -> Looks:
        """When pieces look right."""
        return Looks(self.puzzle, self.apart)

    @cached_property
    def balance(self) -> Balance:
        """The sums that three-cycles leave alone."""
        return Balance(self.looks)

    @cached_property
    def words(self) -> ShortWords:
        """All short words."""
        return short_words(self.puzzle)

    @cached_property
    def direct(self) -> Direct:
        """What looks for short words that undo a state."""
        return Direct(self.looks, self.words)

    @property
    def matters(self) -> tuple[int, ...]:
        """The numbers of the types of which it can be seen whether they are right."""
        return tuple(np.flatnonzero(self.looks.matters).tolist())

    def tools(self, kind: PieceType) -> Tools | None:
        """Return the three-cycles of a type that keep all that matters, None where it has none."""
        if kind.number not in self._tools:
            self._tools[kind.number] = self._made(kind)
        return self._tools[kind.number]

    def _made(self, kind: PieceType) -> Tools | None:
        if kind.count < 3 or not self.looks.matters[kind.number]:
            return None
        try:
            return tools_for(self.puzzle, kind, self.matters, search=self.search)
        except RequestError:
            # Its pieces never leave their slots, or all layers commute.
            return None

    @cached_property
    def _splitters(self) -> dict[int, Splitter]:
        return {}

    def splitter(self, tools: Tools) -> Splitter:
        """Return what splits more pieces than can be compared, step by step."""
        number = tools.kind.number
        if number not in self._splitters:
            self._splitters[number] = Splitter(tools, self.looks)
        return self._splitters[number]

    def products(self, types: tuple[int, ...]) -> Products:
        """Return the words for all elements on some types that put all sums right."""
        if types not in self._products:
            self._products[types] = Products(self.balance, types)
        return self._products[types]

    @cached_property
    def per_slot(self) -> NDArray[np.float64]:
        """About how many turns it saves to have each slot right; shape (slots,)."""
        result = np.zeros(self.puzzle.slot_count)
        for number in self.matters:
            kind = self.puzzle.types[number]
            tools = self.tools(kind)
            each = WITHOUT_CYCLES
            if tools is not None and len(self.splitter(tools).cost):
                each = self.splitter(tools).per_piece
            result[list(kind.slots)] = each
        return result
