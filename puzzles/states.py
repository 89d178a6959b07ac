"""States of a puzzle as people enter them: by a sequence, by cycles, by which piece sits where.

A state is the effect that led there from the solved puzzle; only what is not solved is entered.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.blocking import why_blocked
from puzzles.errors import RequestError
from puzzles.laws import joined
from puzzles.names import Placed, placement_name, read_together, slot_names, sticker_name
from puzzles.notation import parse
from puzzles.puzzle import PieceType, Puzzle, Table, Word

#: The most slots or cycles that one state may be entered by; no puzzle here has more pieces.
MOST_ENTRIES = 2_000
#: What may stand between the names of a cycle, other than spaces.
_BETWEEN = re.compile(r"->|[→,]")
_CYCLE = re.compile(r"\(([^()]*)\)")


@dataclass(frozen=True)
class Sitting:
    """One piece as it was entered: its home slot, the slot that it sits in, and its twist there."""

    piece: int
    slot: int
    twist: int


@dataclass(frozen=True, eq=False)
class State:
    """Where every piece is: what is at placement p when solved is now at ``table[p]``.

    ``apart``: pieces that look the same are told apart. If not, the table is one of all that look
    like the state, and any of them may be meant.
    """

    puzzle: Puzzle
    table: Table
    apart: bool = False

    @property
    def unsolved(self) -> tuple[int, ...]:
        """The slots that do not look solved, in order."""
        return tuple(np.flatnonzero(shown(self) != solved(self.puzzle, self.apart)).tolist())

    @property
    def is_solved(self) -> bool:
        """Whether everything looks solved."""
        return not self.unsolved

    def after(self, effect: Table) -> State:
        """Return the state after an effect; shape (placements,)."""
        return State(self.puzzle, effect[self.table], self.apart)

    def text(self) -> str:
        """Return which piece sits in each slot that is not solved; ``from_pieces`` reads it."""
        where = np.argsort(self.table)
        homes = self.puzzle.home[list(self.unsolved)]
        names = [(placement_name(self.puzzle, int(p)), int(where[p])) for p in homes]
        return " ".join(f"{slot}={placement_name(self.puzzle, piece)}" for slot, piece in names)


def looks(puzzle: Puzzle, apart: bool) -> tuple[Table, Table, Table]:
    """Return how each piece looks: its group, the twist added to it, how many twists show.

    Two pieces in one slot look the same if groups agree and so do, modulo what shows, twist and
    added twist together. With ``apart`` every piece looks like itself alone. Shapes (slots,).
    """
    kinds = [puzzle.types[k] for k in puzzle.type_of.tolist()]
    if apart:
        twists = np.array([kind.twists for kind in kinds], dtype=np.int32)
        own = np.arange(puzzle.slot_count, dtype=np.int32)
        return own, np.zeros(puzzle.slot_count, dtype=np.int32), twists
    seen = np.array([kind.seen for kind in kinds], dtype=np.int32)
    return puzzle.alike, puzzle.alike_twist, seen


def shown(state: State) -> Table:
    """Return what each slot shows, as a number that is the same for what looks the same."""
    puzzle = state.puzzle
    group, added, seen = looks(puzzle, state.apart)
    places = state.table[puzzle.home]
    slots, twists = puzzle.slot_of[places], puzzle.twist_of[places]
    result = np.zeros(puzzle.slot_count, dtype=np.int32)
    most = max((kind.twists for kind in puzzle.types), default=1)
    result[slots] = group * most + (twists + added) % seen
    return result


def solved(puzzle: Puzzle, apart: bool) -> Table:
    """Return what each slot shows when everything is at home, numbered as by ``shown``."""
    return shown(State(puzzle, np.arange(puzzle.placement_count, dtype=np.int32), apart))


def hold(puzzle: Puzzle) -> str:
    """Return how the puzzle is held while its pieces are named; empty where it has no faces."""
    if not puzzle.up or puzzle.shape == "written":
        return ""
    return f"{puzzle.up} up, {puzzle.front} in front"


def from_word(puzzle: Puzzle, word: Word, apart: bool = False) -> State:
    """Return the state after a word."""
    return State(puzzle, puzzle.effect(word), apart)


def from_sequence(puzzle: Puzzle, text: str, apart: bool = False) -> State:
    """Return the state after a sequence as people write it; raises NotationError, RequestError."""
    parsed = parse(puzzle, text)
    blocked = why_blocked(puzzle, parsed.word)
    if blocked is not None:
        raise RequestError(blocked)
    return from_word(puzzle, parsed.word, apart)


def from_cycles(puzzle: Puzzle, text: str, apart: bool = False) -> State:
    """Return the state after cycles, ``(UFR UBL DFL)(UF UB UR)``, as ``trefoil try`` prints them.

    What was at the first name is now where the second is, and so on, the last at the first; a piece
    twisted in its slot is ``(UFR RUF FRU)``. Raises NameNotFoundError, RequestError.
    """
    _check_brackets(text)
    rows = _CYCLE.findall(text)
    rest = _CYCLE.sub("", text).strip()
    if rest and rows:
        raise RequestError(f"{rest[:40]!r} stands outside the brackets; write (A B C)(D E)")
    if len(rows) > MOST_ENTRIES:
        raise RequestError(f"at most {MOST_ENTRIES:,} cycles can be entered")
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    done: set[int] = set()
    for row in rows or [rest]:
        names = _BETWEEN.sub(" ", row).split()
        if not names:
            raise RequestError("an empty cycle was given; write names in it, such as (A B C)")
        if len(names) > puzzle.placement_count:
            raise RequestError(f"a cycle of {len(names):,} names is longer than there are places")
        cycle = read_together(puzzle, names)
        slots = {placed.slot for placed in cycle}
        if slots & done:
            twice = slot_names(puzzle)[min(slots & done)]
            raise RequestError(f"the piece {twice} is in two cycles; each piece is in one at most")
        done |= slots
        _turn_about(puzzle, cycle, table)
    return State(puzzle, table, apart)


def _check_brackets(text: str) -> None:
    """Raise RequestError where brackets of cycles do not come in pairs one after another."""
    opened = 0
    for at, sign in enumerate(text, 1):
        if sign == "(" and opened:
            raise RequestError(
                f"character {opened}: '(' is not closed before the next one at character {at}; "
                "write (A B C)(D E)"
            )
        if sign == ")" and not opened:
            raise RequestError(f"character {at}: ')' closes nothing; write (A B C)(D E)")
        if sign in "()":
            opened = at if sign == "(" else 0
    if opened:
        raise RequestError(f"character {opened}: '(' is never closed with ')'")


def _turn_about(puzzle: Puzzle, cycle: Sequence[Placed], table: Table) -> None:
    """Enter one cycle into a table of where placements go."""
    names = " ".join(placed.text for placed in cycle)
    goes: dict[int, int] = {}
    for here, there in itertools.pairwise([*cycle, cycle[0]]):
        _agree(puzzle, here, there)
        kind = puzzle.types[int(puzzle.type_of[here.slot])]
        start, goal = (_placement(puzzle, placed) for placed in (here, there))
        for x in range(kind.twists):
            first, last = _twisted(puzzle, start, x), _twisted(puzzle, goal, x)
            if goes.setdefault(first, last) != last:
                raise RequestError(
                    f"({names}) says two things of {slot_names(puzzle)[here.slot]}: a cycle comes "
                    "back to a piece with the same twist each time, or not at all"
                )
    if len(set(goes.values())) != len(goes):
        raise RequestError(f"({names}) brings two pieces to one place; a cycle brings one to each")
    for first, last in goes.items():
        table[first] = last


def _placement(puzzle: Puzzle, placed: Placed) -> int:
    return int(puzzle.home[placed.slot]) if placed.placement is None else placed.placement


def _twisted(puzzle: Puzzle, placement: int, by: int) -> int:
    slot = int(puzzle.slot_of[placement])
    home, twists = int(puzzle.home[slot]), puzzle.types[int(puzzle.type_of[slot])].twists
    return home + (placement - home + by) % twists


def _agree(puzzle: Puzzle, here: Placed, there: Placed) -> None:
    """Raise RequestError unless the piece at one name can be at the other, sticker on sticker."""
    kinds = [puzzle.types[int(puzzle.type_of[placed.slot])] for placed in (here, there)]
    if kinds[0] is not kinds[1]:
        raise RequestError(
            f"{here.text} is {a_piece(kinds[0])} and {there.text} is {a_piece(kinds[1])}: neither "
            "fits into the other's slot"
        )
    if here.kind == there.kind or min(here.kind, there.kind) < 0:
        return
    fit = [
        sticker_name(puzzle, number)
        for number, sticker in enumerate(puzzle.stickers)
        if sticker.slot == there.slot and sticker.kind == here.kind
    ]
    raise RequestError(
        f"the sticker {here.text} is never where {there.text} is; in that slot it is at "
        + " or ".join(fit)
    )


def a_piece(kind: PieceType) -> str:
    """Return "a corner", "an edge"."""
    return f"{'an' if kind.name[0] in 'aeiou' else 'a'} {kind.name}"


def entries(text: str, example: str = "UFR=UBL") -> list[tuple[str, str]]:
    """Return the two sides of each ``slot=piece`` in a text; raises RequestError."""
    result = []
    for word in text.replace(";", " ").split():
        slot, sign, what = word.partition("=")
        if not (slot and sign and what):
            raise RequestError(f"{word[:40]!r} says nothing of a slot; write {example}")
        result.append((slot, what))
    if not result:
        raise RequestError(f"no slot was entered; write {example}, one for each unsolved slot")
    if len(result) > MOST_ENTRIES:
        raise RequestError(f"at most {MOST_ENTRIES:,} slots can be entered")
    return result


def from_pieces(
    puzzle: Puzzle, given: Iterable[tuple[str, str]], apart: bool = False, part: bool = False
) -> Entered:
    """Return what was entered as (slot, piece): which piece, with the sticker that is there.

    ``("UFR", "BUL")``: in the slot UFR sits the piece of UBL, its sticker of B where the slot has
    U. See ``seated``. Raises NameNotFoundError, RequestError.
    """
    seats = []
    for slot_text, piece_text in given:
        slot, piece = read_together(puzzle, [slot_text, piece_text])
        _agree(puzzle, piece, slot)
        there, own = _placement(puzzle, slot), _placement(puzzle, piece)
        twists = puzzle.types[int(puzzle.type_of[slot.slot])].twists
        twist = int(puzzle.twist_of[there] - puzzle.twist_of[own]) % twists
        seats.append(Sitting(piece.slot, slot.slot, twist))
    return seated(puzzle, seats, apart, part)


@dataclass(frozen=True, eq=False)
class Entered:
    """A state while it is entered: the pieces so far, and what is still to be said.

    ``open`` are slots of which nothing was said although their own pieces, or those that look the
    same, are said to be elsewhere; ``missing`` are the pieces, by their home slots, that have no
    slot yet. As many pieces are missing as slots are open, or fewer where any of several slots that
    look the same when solved may be open.
    """

    state: State | None
    open: tuple[int, ...]
    missing: tuple[int, ...]

    def whole(self, puzzle: Puzzle) -> State:
        """Return the state; raises RequestError while a piece is missing."""
        if self.state is not None:
            return self.state
        names = slot_names(puzzle)
        slots, pieces = ([names[k] for k in row[:4]] for row in (self.open, self.missing))
        which = joined(slots) if len(self.open) <= 4 else f"{', '.join(slots)} …"
        who = joined(pieces) if len(self.missing) <= 4 else f"{', '.join(pieces)} …"
        verb = "is" if len(self.missing) == 1 else "are"
        raise RequestError(
            f"{who} {verb} missing: what sits in the slot{'s' * (len(self.open) > 1)} {which}, "
            "whose own piece was entered elsewhere? Enter that, too"
        )


def seated(
    puzzle: Puzzle, seats: Sequence[Sitting], apart: bool = False, part: bool = False
) -> Entered:
    """Return the state in which pieces sit so, and all others at home.

    Unless they are told ``apart``, pieces that look the same stand for each other. Raises
    RequestError for a slot entered twice, or a piece (or more pieces of a look than there are);
    with ``part`` it is no error that a piece is missing, else ``Entered.whole`` says so.
    """
    names, (group, added, _) = slot_names(puzzle), looks(puzzle, apart)
    by_slot: dict[int, Sitting] = {}
    for seat in seats:
        before = by_slot.setdefault(seat.slot, seat)
        if before is not seat:
            raise RequestError(
                f"the slot {names[seat.slot]} was entered twice, with {names[before.piece]} and "
                f"with {names[seat.piece]} in it; one piece sits in a slot"
            )
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    open_slots: list[int] = []
    missing: list[int] = []
    for look in sorted({int(group[seat.piece]) for seat in seats}):
        own = [k for k in range(puzzle.slot_count) if group[k] == look]
        here = [seat for seat in by_slot.values() if group[seat.piece] == look]
        if len(here) > len(own):
            _too_many(puzzle, own, here)
        free = set(own)
        # Slots of which nothing is said keep their own pieces as long as there are enough.
        quiet = [k for k in own if k not in by_slot]
        left = len(own) - len(here)
        if left < len(quiet):
            open_slots += quiet
        keep = [k for k in quiet if k not in {seat.piece for seat in here}]
        keep += [k for k in quiet if k not in keep]
        free -= set(keep[:left])
        for seat in sorted(here, key=lambda seat: seat.piece not in free):
            piece = seat.piece if seat.piece in free else min(free)
            free.remove(piece)
            twist = seat.twist + int(added[seat.piece] - added[piece])
            _seat(puzzle, piece, seat.slot, twist, table)
        for slot, piece in zip(keep[:left], keep[:left], strict=True):
            _seat(puzzle, piece, slot, 0, table)
    missing = _missing(puzzle, by_slot, group)
    if open_slots or missing:
        entered = Entered(None, tuple(sorted(open_slots)), tuple(missing))
        if not part:
            entered.whole(puzzle)
        return entered
    return Entered(State(puzzle, table, apart), (), ())


def _seat(puzzle: Puzzle, piece: int, slot: int, twist: int, table: Table) -> None:
    twists = puzzle.types[int(puzzle.type_of[piece])].twists
    for x in range(twists):
        table[int(puzzle.home[piece]) + x] = int(puzzle.home[slot]) + (twist + x) % twists


def _too_many(puzzle: Puzzle, own: list[int], here: list[Sitting]) -> None:
    names = slot_names(puzzle)
    slots = joined([names[seat.slot] for seat in here])
    if len(own) == 1:
        raise RequestError(f"the piece {names[own[0]]} was entered twice, in {slots}")
    raise RequestError(
        f"{len(here)} pieces that look like {names[own[0]]} were entered, in {slots}; there are "
        f"only {len(own)}"
    )


def _missing(puzzle: Puzzle, by_slot: dict[int, Sitting], group: Table) -> list[int]:
    """Return the pieces that have no slot: of each look, as many as were crowded out."""
    result: list[int] = []
    crowded = {int(group[slot]) for slot in by_slot}
    for look in sorted(crowded):
        own = [k for k in range(puzzle.slot_count) if group[k] == look]
        here = [seat for seat in by_slot.values() if group[seat.piece] == look]
        quiet = [k for k in own if k not in by_slot]
        short = len(own) - len(here) - len(quiet)
        if short > 0:
            named = {seat.piece for seat in here}
            result += [k for k in own if k in by_slot and k not in named][:short]
    return result
