"""Sequences as strips for paper: one picture a turn, grouped as setup, A, insert, undo, back.

A strip goes by the brackets as they are written, turns that cancel among them, for that is what
somebody does who learns it; beside it stands what is left after cancelling.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from puzzles import brackets
from puzzles.blocking import why_blocked
from puzzles.brackets import Commutator, Conjugate, Repeat, Tree, Written
from puzzles.effects import Cycle, cycles, effect_of, effect_of_cycles, pieces_moved
from puzzles.errors import RequestError
from puzzles.names import placement_name, read_cycle, slot_names
from puzzles.notation import parse, write
from puzzles.picture import draw
from puzzles.puzzle import Puzzle, Word
from puzzles.state_picture import draw_state, stage
from search.brackets import Form
from search.brackets import tree as tree_of
from search.hands import best_holding, held, motions
from search.reading import leaves, read, turns_of, written_out
from search.reading_levels import levels
from search.reasons import plainer, reason
from service.read_report import sentence
from service.reports import Report

#: The most cycles of a sequence that are told, and the most pieces of one that are numbered.
MOST_CYCLES, MOST_NUMBERED = 12, 9
#: How wide the picture with the arrows is.
ARROWS = 340
#: What the parts of a commutator and of a conjugate are called, as pages call them.
LABELS = ("A", "insert", "undo A", "insert back")
SETUP, UNSET = "setup", "undo the setup"


@dataclass(frozen=True)
class Part:
    """Some turns of a strip, and what they are there for; empty where they are for nothing else."""

    label: str
    turns: Word


@dataclass(frozen=True)
class Wanted:
    """A sequence that is to be shown part by part: as text, or as the parts of an answer.

    ``cycle`` are the names of what it cycles, in the order in which they are to be numbered; empty
    for any order.
    """

    sequence: str
    parts: tuple[str, str, str] | None = None
    cycle: tuple[str, ...] = ()


def strip(puzzle: Puzzle, wanted: Wanted, most: int, name: str, left_handed: bool) -> Report:
    """Return a sequence as it stands on a sheet, with its pictures as SVG.

    ``name`` begins the ids of its pictures. Raises TrefoilError for what is no sequence that can be
    done, and for more than ``most`` turns as they are written.
    """
    tree, told, left_over = read_wanted(puzzle, wanted)
    rows = parts_of(puzzle, tree)
    word = tuple(turn for part in rows for turn in part.turns)
    if len(word) > most:
        raise RequestError(f"{len(word):,} turns, one picture each; a sheet has room for {most:,}")
    if not word:
        raise RequestError("all of its turns cancel, so that there is nothing to be shown")
    blocked = why_blocked(puzzle, word)
    if blocked is not None:
        raise RequestError(blocked)
    done = written_out(puzzle, tree)
    found = cycles(puzzle, effect_of(puzzle, word))
    shown = numbered(puzzle, found, wanted.cycle)
    holding = best_holding(puzzle, done, left_handed)[0] if done else 0
    up, front = held(puzzle, holding)
    hands = motions(puzzle, word, holding) or ("",) * len(word)
    single = len(found) == 1 and bool(shown)
    marked = () if single else [int(puzzle.slot_of[p]) for cycle in found for p in cycle]
    before = None
    if puzzle.shape == "ball":
        # So much lighter that a sheet has room for several.
        title = f"{puzzle.name} before {write(puzzle, word)}"
        own = stage(puzzle, holding)
        before = own.wanted(shown if single else (), marked, title, ground_id(holding))
    if before is None:
        before = draw(puzzle, shown if single else None, marked, ARROWS, holding=holding)
    names = [[placement_name(puzzle, p) for p in cycle] for cycle in found[:MOST_CYCLES]]
    whole = write(puzzle, word)
    return {
        "notation": brackets.text(tree),
        "written": whole,
        "sequence": write(puzzle, done),
        "turns": len(done),
        "things": leaves(tree),
        "cycles": [[placement_name(puzzle, p) for p in shown]] if single else names,
        "more": max(len(found) - MOST_CYCLES, 0),
        "moved": pieces_moved(puzzle, effect_of(puzzle, word)),
        "numbered": bool(shown),
        "left_over": left_over,
        "why": told,
        "held": {"up": up, "front": front},
        "holding": holding,
        "size": _size(before),
        "before": before.replace("<svg ", f'<svg id="{name}-before" ', 1),
        "parts": _parts(puzzle, rows, hands, shown, holding),
        "after": draw_state(
            puzzle, word, shown, None, holding, f"{puzzle.name} after {whole}", ground_id(holding)
        ),
    }


def _size(picture: str) -> list[str]:
    """Return the width and the height of a picture, in units of its own."""
    found = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', picture)
    assert found is not None
    return [found[1], found[2]]


def ground_id(holding: int) -> str:
    """Return the id of what the small pictures of a holding have in common."""
    return f"ground-{holding}"


def parts_of(puzzle: Puzzle, tree: Tree) -> list[Part]:
    """Return the turns of a tree in the order in which they are done, part by part."""
    match tree:
        case Conjugate(setup, part):
            around = _turns(puzzle, setup)
            inside = parts_of(puzzle, part)
            rows = [Part(SETUP, around), *inside, Part(UNSET, puzzle.inverse(around))]
        case Commutator(a, b):
            first, second = _turns(puzzle, a), _turns(puzzle, b)
            turns = first, second, puzzle.inverse(first), puzzle.inverse(second)
            rows = [Part(label, own) for label, own in zip(LABELS, turns, strict=True)]
        case Repeat(part, times):
            rows = parts_of(puzzle, part) * times
        case brackets.Sequence(row) if any(not isinstance(one, Written) for one in row):
            rows = [own for one in row for own in parts_of(puzzle, one)]
        case _:
            rows = [Part("", turns_of(puzzle, tree))]
    return _joined(own for own in rows if own.turns)


def numbered(puzzle: Puzzle, found: tuple[Cycle, ...], names: tuple[str, ...]) -> Cycle:
    """Return the placements whose pieces are numbered: one cycle, from where somebody began it.

    None where there is not one cycle alone, or one that comes back twisted or is too long.
    """
    if len(found) != 1 or len(found[0]) > MOST_NUMBERED:
        return ()
    (cycle,) = found
    if len({int(puzzle.slot_of[p]) for p in cycle}) < len(cycle):
        return ()
    if len(names) == len(cycle) == 3:
        places = read_cycle(puzzle, names)
        asked = tuple(place.placement for place in places if place.placement is not None)
        if len(asked) == 3 and effect_of_cycles(puzzle, [asked]) == effect_of_cycles(
            puzzle, [cycle]
        ):
            return asked
        slots = [int(puzzle.slot_of[p]) for p in cycle]
        if places[0].slot in slots:
            at = slots.index(places[0].slot)
            return cycle[at:] + cycle[:at]
    return cycle


def read_wanted(puzzle: Puzzle, wanted: Wanted) -> tuple[Tree, str, str]:
    """Return the brackets of a sequence, why it works, and the rotation that is left over."""
    if wanted.parts is not None:
        s, a, b = (parse(puzzle, text).word for text in wanted.parts)
        if a and b:
            form = Form(s, a, b, 0)
            return tree_of(puzzle, form), why(puzzle, form), ""
    parsed = parse(puzzle, wanted.sequence)
    found = read(puzzle, parsed.word)
    top = levels(puzzle, found.tree)
    match found.tree:
        case Commutator(first, second):
            told = why(puzzle, _form(puzzle, brackets.Sequence(()), first, second))
        case Conjugate(around, Commutator(first, second)):
            told = why(puzzle, _form(puzzle, around, first, second))
        case _:
            told = sentence(found, top)
    return found.tree, told, parsed.left_over


def _form(puzzle: Puzzle, setup: Tree, a: Tree, b: Tree) -> Form:
    return Form(written_out(puzzle, setup), written_out(puzzle, a), written_out(puzzle, b), 0)


def why(puzzle: Puzzle, form: Form) -> str:
    """Return in one sentence why a form does what it does."""
    own = plainer(puzzle, form)
    found, names = reason(puzzle, own), slot_names(puzzle)
    shared = [names[slot] for slot in found.shared]
    if found.kind == "nothing" or not shared:
        return "A and B do not get in each other's way, so that undoing both leaves nothing."
    if len(shared) > 1 or found.waits is None or found.slips is None:
        return (
            f"A and B both move {len(shared)} slots, and what each does there comes undone but "
            "for this."
        )
    here, waits, slips = shared[0], names[found.waits], names[found.slips]
    parts = (
        "" if own == form else f", seen as A = {write(puzzle, own.a)}, B = {write(puzzle, own.b)}"
    )
    if found.kind == "three-cycle":
        return (
            f"Only {here} is moved by both A and B{parts}: after A the piece of {waits} waits "
            f"there, B slips that of {slips} in for it, and undoing A takes the wrong piece along."
        )
    turner, carrier = ("A", "B") if found.waits == found.shared[0] else ("B", "A")
    return (
        f"Only {here} is moved by both A and B{parts}: {turner} twists the piece there on its spot "
        f"and {carrier} puts another in its place, which is twisted back instead."
    )


def _turns(puzzle: Puzzle, tree: Tree) -> Word:
    """Return the turns of a part; cancelled, unless that could block what comes after."""
    return turns_of(puzzle, tree) if puzzle.can_block else written_out(puzzle, tree)


def _joined(rows: Iterable[Part]) -> list[Part]:
    """Return parts with neighbours that are for nothing else as one."""
    result: list[Part] = []
    for own in rows:
        if result and not own.label and not result[-1].label:
            result[-1] = Part("", result[-1].turns + own.turns)
        else:
            result.append(own)
    return result


def _parts(
    puzzle: Puzzle, rows: list[Part], hands: tuple[str, ...], shown: Cycle, holding: int
) -> list[Report]:
    """Return the parts with a picture after each turn."""
    result = []
    done: Word = ()
    for part in rows:
        steps = []
        for turn in part.turns:
            done = (*done, turn)
            title = f"{puzzle.name} after {write(puzzle, done)}"
            steps.append(
                {
                    "turn": write(puzzle, (turn,)),
                    "motion": hands[len(done) - 1],
                    "done": write(puzzle, done),
                    "picture": draw_state(
                        puzzle, done, shown, turn, holding, title, ground_id(holding)
                    ),
                }
            )
        result.append({"label": part.label, "turns": write(puzzle, part.turns), "steps": steps})
    return result
