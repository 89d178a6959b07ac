"""Results as JSON objects, as scripts read them; the names in them stay as they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from puzzles.puzzle import Puzzle
from service import endings

if TYPE_CHECKING:
    from puzzles.effects import Effect
    from search.answers import Answer, Found, Member, Searched
    from search.atlas_entries import Entry, Said
    from search.effects_wanted import EffectFound
    from search.request import Request
    from service.atlases import AtlasRequest, TypeAtlas

Report = dict[str, Any]

#: How often a sequence is repeated to see whether it is blocked in the end.
MOST_REPEATS = 1_000


def searched(says: Searched) -> Report:
    """Return how far a search went."""
    return {
        "half_length": says.half_length,
        "setup": says.setup,
        "complete": says.complete,
        "text": says.text,
    }


def answer(own: Answer) -> Report:
    """Return one answer.

    ``cycle`` is what its sequence does, ``hold`` says which faces are up and in front for
    ``held_sequence``. ``folded`` counts the others of its family, ``members`` has some.
    """
    return {
        **_bracketed(own),
        "layers": list(own.layers),
        "complexity": own.complexity,
        "hold": {"up": own.hold[0], "front": own.hold[1]},
        "held_sequence": own.held_sequence,
        "motions": list(own.motions),
        "undone_same": list(own.undone_same),
        "why": own.why,
        "leads": own.leads.split(" and ") if own.leads else [],
        "folded": own.folded,
        "members": [_bracketed(one) for one in own.members],
    }


def _bracketed(own: Answer | Member) -> Report:
    """Return what is said alike of an answer and of one that is folded under it."""
    return {
        "cycle": list(own.cycle),
        "sequence": own.sequence,
        "turns": own.turns,
        "notation": own.notation,
        "setup": own.setup,
        "a": own.a,
        "b": own.b,
        "things": own.things,
    }


def find(found: Found, stopped_by: str | None) -> Report:
    """Return the answers to a request; ``left_out`` counts the families beyond those shown.

    ``stopped_by`` is who or what ended the search early: the person, the time, or nothing.
    ``unseen``: the three pieces look the same in each other's place. Without answers, ``reason``
    says why.
    """
    says = found.searched
    report = {
        "puzzle": found.request.puzzle.name,
        "cycle": list(found.cycle),
        "answers": [answer(one) for one in found.answers],
        "left_out": found.left_out,
        "searched": searched(says),
        "stopped": stopped_by is not None,
        "stopped_by": stopped_by,
        "unseen": _unseen(found.request),
    }
    if not found.answers:
        sentence = endings.nothing(stopped_by, says.text, says.half_length)
        end = endings.ended(stopped_by, found.request.bounds)
        report["reason"] = endings.reason(sentence.rstrip("."), end)
    return report


def effect(found: EffectFound, stopped_by: str | None) -> Report:
    """Return the answers to a request for an effect, like those for a three-cycle.

    ``effect`` are its cycles as texts, and so is an answer's ``cycle``; there is no ``cycle`` of
    the whole. ``searched`` also has ``any_form``: no sequence of any form has up to so many turns,
    or fewer than the shortest answer. ``half_length`` is null where no commutator has the effect.
    """
    says = found.searched
    report = {
        "puzzle": found.request.puzzle.name,
        "effect": list(found.cycles),
        "answers": [answer(one) for one in found.answers],
        "left_out": found.left_out,
        "searched": {
            "half_length": says.half_length,
            "setup": says.setup,
            "complete": says.complete,
            "any_form": says.any_form,
            "text": says.text,
        },
        "stopped": stopped_by is not None,
        "stopped_by": stopped_by,
        "unseen": False,
    }
    if not found.answers:
        sentence = endings.nothing(stopped_by, says.text, says.half_length)
        end = endings.ended(stopped_by, found.request.bounds)
        report["reason"] = endings.reason(sentence.rstrip("."), end)
    return report


def _unseen(wanted: Request) -> bool:
    """Return whether the three pieces look the same in each other's place."""
    puzzle, slots = wanted.puzzle, [place.slot for place in wanted.cycle]
    twists = puzzle.types[int(puzzle.type_of[slots[0]])].twists
    return wanted.alike and twists == 1 and len({int(puzzle.alike[slot]) for slot in slots}) == 1


def _said(own: Said) -> Report:
    return {
        "sequence": own.sequence,
        "notation": own.notation,
        "turns": own.turns,
        "things": own.things,
    }


def _entry(kind: str, own: Entry) -> Report:
    return {
        "type": kind,
        "cycle": list(own.cycle),
        **_said(own.shortest),
        "easiest": _said(own.easiest),
    }


def atlas(wanted: AtlasRequest, parts: list[TypeAtlas]) -> Report:
    """Return an atlas; ``searched`` is what holds for all its types.

    Without entries, ``reason`` says why.
    """
    ends = [part.stopped_by for part in parts]
    by = next((end for end in (endings.PERSON, endings.TIME) if end in ends), None)
    says = [part.searched for part in parts]
    completes = [one.complete for one in says]
    known = [complete for complete in completes if complete is not None]
    text = "; ".join(f"{part.kind.name}: {part.searched.text}" for part in parts)
    half_length = min((one.half_length for one in says), default=0)
    report = {
        "puzzle": wanted.puzzle.name,
        "searched": {
            "half_length": half_length,
            "setup": says[0].setup if says else None,
            "complete": min(known) if known and len(known) == len(completes) else None,
            "text": text,
        },
        "types": [
            {
                "type": part.kind.name,
                "cycles": part.cycles,
                "found": len(part.entries),
                "missing": part.missing,
                "impossible": part.impossible,
                "searched": searched(part.searched),
            }
            for part in parts
        ],
        "missing": sum(part.missing for part in parts),
        "entries": [_entry(part.kind.name, one) for part in parts for one in part.entries],
        "stopped": by is not None,
        "stopped_by": by,
    }
    if not report["entries"]:
        sentence = endings.nothing(by, text, half_length)
        if endings.never(report):
            sentence = " ".join(part.reason for part in parts)
        end = endings.ended(by, wanted.bounds, len(wanted.types))
        report["reason"] = endings.reason(sentence, end)
    return report


def puzzle(own: Puzzle) -> Report:
    """Return a puzzle in short: what it is made of, and how its turns are written.

    ``example`` is a three-cycle that somebody may ask for: one that is known, if one is.
    """
    from puzzles.names import slot_names
    from puzzles.notation import turn_text
    from service.sequences import example

    names = slot_names(own)
    return {
        "puzzle": own.name,
        "name": own.name,
        "description": own.description,
        "note": own.note,
        "shape": own.shape,
        "held": {"up": own.up, "front": own.front},
        "faces": [face.name for face in own.body.faces],
        "layers": [{"name": layer.name, "steps": layer.steps} for layer in own.layers],
        "turns": [turn_text(own, number) for number in range(len(own.turns))],
        "types": [
            {
                "name": kind.name,
                "count": kind.count,
                "twists": kind.seen,
                "moves": kind.moves,
                "slots": [names[slot] for slot in kind.slots],
            }
            for kind in own.types
        ],
        "pieces": own.slot_count,
        "can_block": own.can_block,
        "example": example(own),
    }


def repeats(puzzle: Puzzle, word: tuple[int, ...], most: int) -> int | None:
    """Return how often a word can be done in a row, ``most`` at most; None for any number of times.

    Where turns can be blocked, a word that is possible once need not be so again.
    """
    if not puzzle.can_block:
        return None
    effect, done = puzzle.effect(()), 0
    while done < min(most, MOST_REPEATS):
        if puzzle.first_blocked(word, effect) is not None:
            return done
        effect = puzzle.effect(word)[effect]
        done += 1
    return None


def tried(puzzle: Puzzle, word: tuple[int, ...], effect: Effect, left_over: str) -> Report:
    """Return what a sequence does.

    ``written`` has its turns in their own order, ``sequence`` and ``turns`` what is left after
    cancelling; ``looks_moved`` counts the slots that look otherwise after it.
    """
    from puzzles.effects import cycles, order, pieces_moved
    from puzzles.names import placement_name
    from puzzles.notation import write
    from puzzles.states import from_word
    from puzzles.words import normal

    done = normal(puzzle, word)
    return {
        "puzzle": puzzle.name,
        "written": write(puzzle, word),
        "sequence": write(puzzle, done),
        "turns": len(done),
        "cycles": [[placement_name(puzzle, p) for p in c] for c in cycles(puzzle, effect)],
        "order": order(effect),
        "repeats": repeats(puzzle, word, order(effect)),
        "pieces_moved": pieces_moved(puzzle, effect),
        "looks_moved": len(from_word(puzzle, word).unsolved),
        "left_over": left_over,
    }
