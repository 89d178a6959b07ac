"""The last pieces as an object: what was entered, whether it can be solved, and the steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from puzzles.assemblies import Judgement, judge
from puzzles.effects import Effect, cycle_text, cycles
from puzzles.errors import RequestError, TrefoilError
from puzzles.names import placement_name, slot_names
from puzzles.notation import parse, write
from puzzles.painted import colours, from_stickers, read_colours
from puzzles.puzzle import Puzzle, Word
from puzzles.states import Entered, State, entries, from_cycles, from_pieces, from_sequence, hold
from puzzles.words import shortened
from search.splits import MEASURES, TURNS
from service.reports import Report

if TYPE_CHECKING:
    from search.atlas_entries import Said
    from search.finishing_plans import Finish
    from search.solving_steps import Step
    from search.tools import Search

#: The ways to enter a state; one of them is used.
WAYS = ("sequence", "cycles", "pieces", "stickers")
#: Seconds after which looking for one sequence for all unsolved pieces is ended if nobody says how
#: long; what is looked at is bounded by counts, which take far less.
SECONDS = 60.0
#: The longest text by which a state is entered, in characters.
LONGEST_ENTRY = 20_000


def entered(puzzle: Puzzle, given: Mapping[str, Any], apart: bool = False) -> State:
    """Return the state that somebody enters in one of the ``WAYS``; raises TrefoilErrors."""
    return entering(puzzle, given, apart).whole(puzzle)


def entering(puzzle: Puzzle, given: Mapping[str, Any], apart: bool = False) -> Entered:
    """Return what somebody has entered so far in one of the ``WAYS``; raises TrefoilErrors.

    ``sequence`` and ``cycles`` are texts, ``pieces`` and ``stickers`` too, such as
    ``"UFR=UBL UBL=UFR"``; ``colours``, such as ``"U=white"``, go with ``stickers``.
    """
    ways = [way for way in WAYS if given.get(way) is not None]
    if len(ways) != 1:
        said = "none was given" if not ways else f"{' and '.join(ways)} were given"
        raise RequestError(f"a state is entered in one way, by {', '.join(WAYS)}; {said}")
    (way,) = ways
    text = str(given[way])
    called = given.get("colours")
    if called is not None and way != "stickers":
        raise RequestError("colours are for stickers, which were not given")
    if len(text) > LONGEST_ENTRY:
        raise RequestError(f"{way}: at most {LONGEST_ENTRY:,} characters can be entered")
    if way == "sequence":
        return Entered(from_sequence(puzzle, text, apart), (), ())
    if way == "cycles":
        return Entered(from_cycles(puzzle, text, apart), (), ())
    if way == "pieces":
        return from_pieces(puzzle, entries(text), apart, True)
    names = colours(puzzle, None if called is None else read_colours(str(called)))
    given_stickers = entries(text, "UFR=" + ",".join(names.names[:3]))
    return from_stickers(puzzle, given_stickers, names, apart, True)


def entry(puzzle: Puzzle, given: Mapping[str, Any], apart: bool = False) -> Report:
    """Return how far a state is entered, for somebody who is at it.

    ``complaint`` says what contradicts itself. ``open`` are slots of which something is still to be
    said, ``missing`` pieces that are nowhere yet. ``possible`` says of a whole state whether some
    sequence solves it, None where turns can be blocked and only the steps tell; ``reason`` says why
    none does.
    """
    names, complaint, so_far = slot_names(puzzle), None, Entered(None, (), ())
    try:
        so_far = entering(puzzle, given, apart)
    except TrefoilError as error:
        complaint = str(error)
    state = so_far.state
    possible, reason = (None, None) if state is None else _so_far(state)
    return {
        "puzzle": puzzle.name,
        "hold": hold(puzzle),
        "complaint": complaint,
        "open": [names[slot] for slot in so_far.open],
        "missing": [names[slot] for slot in so_far.missing],
        "unsolved": [] if state is None else [names[slot] for slot in state.unsolved],
        "pieces": None if state is None else state.text(),
        "possible": possible,
        "reason": reason,
    }


def _so_far(state: State) -> tuple[bool | None, str | None]:
    """Return whether turns lead to a state, None where only steps can tell, and why not."""
    verdict = judge(state)
    if verdict.possible:
        return (True if verdict.certain or not state.puzzle.can_block else None), None
    if not state.puzzle.can_block:
        return False, verdict.reason
    # What mends the laws need not be enough where turns can be blocked.
    laws = [law.text.rstrip(".") for law in verdict.broken]
    return False, "; ".join(laws) or "no turns make this"


def measure(text: str | None) -> str:
    """Return by what finishing is to be best; raises RequestError."""
    if text is not None and text not in MEASURES:
        raise RequestError(f"by {text[:20]!r}: {', '.join(MEASURES)} was expected")
    return TURNS if text is None else text


def finished(
    state: State,
    search: Search,
    by: str = TURNS,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Report:
    """Return the steps that solve a state, or why none do and the smallest repair by hand.

    ``search`` fetches the shelves of three-cycles. ``seconds`` bound the search for one sequence
    that does it all: if somebody gave them, it is done in any case, else only where three-cycles
    alone do not do. ``possible`` is false where no sequence solves it: then ``reason``, ``laws``
    and ``repair`` say more, and there are no steps.
    """
    from search.finishing import finisher_for
    from search.finishing_plans import AtOnce

    once = AtOnce(SECONDS) if seconds is None else AtOnce.within(seconds)
    finisher = finisher_for(state.puzzle, state.apart, search, by, once, stop)
    verdict = finisher.judged(state)
    if not verdict.possible:
        return without(state, by, verdict)
    return {**_entered(state), "by": by, **_steps(finisher.finish(state))}


def without(state: State, by: str, verdict: Judgement) -> Report:
    """Return the report on a state that no sequence solves."""
    return {**_entered(state), "by": by, **why_not(state.puzzle, verdict)}


def _entered(state: State) -> Report:
    puzzle, names = state.puzzle, slot_names(state.puzzle)
    effect = Effect(tuple(state.table.tolist()))
    return {
        "puzzle": puzzle.name,
        "hold": hold(puzzle),
        "apart": state.apart,
        "unsolved": [names[slot] for slot in state.unsolved],
        "pieces": state.text(),
        "cycles": [cycle_text(puzzle, cycle) for cycle in cycles(puzzle, effect)],
    }


def why_not(puzzle: Puzzle, verdict: Judgement) -> Report:
    """Return why no sequence solves a state, and the smallest repair, if one is known."""
    names, repair = slot_names(puzzle), verdict.repair
    mended = repair and {
        "pieces": [names[slot] for slot in repair.slots],
        "steps": list(repair.steps),
        "least": repair.least,
    }
    return {
        "possible": False,
        "reason": f"No sequence solves this: {verdict.reason}.",
        "laws": [law.text for law in verdict.broken],
        "repair": mended,
        "steps": [],
    }


def _steps(own: Finish) -> Report:
    """Return the steps of a finish, each with what it does and what is solved after it."""
    from search.hands import motions

    puzzle, names = own.state.puzzle, slot_names(own.state.puzzle)
    rows = [_as_written(puzzle, said) for said in own.said]
    word = shortened(puzzle, [turn for row in rows for turn in row])
    if puzzle.can_block:
        # Turns may pass each other there only where nothing is in their way.
        word = own.word
    return {
        "possible": True,
        "steps": [
            {
                "kind": step.kind,
                "notation": said.notation,
                "sequence": write(puzzle, row),
                "turns": said.turns,
                "things": said.things,
                "cycle": [placement_name(puzzle, p) for p in step.cycle],
                "solves": [names[slot] for slot in step.right],
                "unsolved": puzzle.slot_count - len(step.right) - len(step.kept),
                "text": _does(puzzle, step),
                "motions": list(motions(puzzle, row)),
            }
            for step, said, row in zip(own.solution.steps, own.said, rows, strict=True)
        ],
        "sequence": write(puzzle, word),
        "turns": len(word),
        "before": write(puzzle, puzzle.inverse(word)),
        "sequences": own.sequences,
        "note": own.note,
        "further": own.further,
        "types": [
            {
                "type": part.kind.name,
                "slots": [names[slot] for slot in part.split.slots],
                "three_cycles": len(part.split.triples),
                "turns": part.split.turns,
                "executed": part.split.executed,
                "sequences": part.split.sequences,
                "things": part.split.things,
                "proven": part.split.proven,
                "text": part.text,
            }
            for part in own.parts
        ],
    }


def _as_written(puzzle: Puzzle, said: Said) -> Word:
    """Return the turns of a step in the order in which its brackets have them."""
    if puzzle.can_block:
        return said.word
    row = shortened(puzzle, parse(puzzle, said.notation).word)
    return row if len(row) == len(said.word) else said.word


def _does(puzzle: Puzzle, step: Step) -> str:
    """Return in words what a step is for."""
    if step.cycle:
        names = [placement_name(puzzle, p) for p in step.cycle]
        return f"what is at {names[0]} goes to {names[1]}, that to {names[2]}, that to {names[0]}"
    if step.kind == "way home":
        return (
            "brings what is fastened together home and puts right what three-cycles cannot change; "
            "the steps after it do the rest"
        )
    if step.kind == "odd turn":
        return "puts right what three-cycles cannot change; the three-cycles after it do the rest"
    if step.kind == "free":
        return "puts pieces right with few turns, before there is much to keep"
    if step.kind == "all at once":
        return "puts all of them right by one sequence"
    return "a row of short words for what three-cycles cannot do"
