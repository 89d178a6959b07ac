"""Why a wanted effect cannot be had by any sequence of the allowed layers, in words."""

from __future__ import annotations

import numpy as np

from puzzles.laws import joined, plural
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.names import placement_name, slot_names
from search.impossible import ImpossibleError, plainly, reach, reason, sentence
from search.wanted import EffectRequest


def effect_reason(request: EffectRequest) -> str | None:
    """Return in one sentence why no sequence has the effect, or None if nothing forbids it.

    A sentence is returned only for what is proven impossible: certain for every effect where the
    order of the group is proven (``puzzles.group``).
    """
    puzzle, kept = request.puzzle, sorted(request.kept_types)
    if len(request.cycles) == 1 and not request.any_twist:
        free = [t.number for t in puzzle.types if t.number not in kept]
        return reason(puzzle, request.cycles[0], request.turning, request.alike, False, free)
    for cycle in request.cycles:
        text = plainly(puzzle, list(dict.fromkeys(int(puzzle.slot_of[p]) for p in cycle)))
        if text is not None:
            return text
    text = _forbidden(request, layer_group(puzzle, None, kept))
    if text is not None:
        return sentence(text)
    if len(request.turning) == len(puzzle.layers):
        return None
    text = _forbidden(request, layer_group(puzzle, request.turning, kept))
    names = joined([puzzle.layers[k].name for k in request.turning])
    return None if text is None else f"With only {names} turning, {text}."


def check_effect(request: EffectRequest) -> None:
    """Raise ImpossibleError with the reason if no sequence has the effect."""
    text = effect_reason(request)
    if text is not None:
        raise ImpossibleError(text)


def no_commutator(request: EffectRequest) -> bool:
    """Return whether the effect is odd in some part, or its twists there add up to something.

    A commutator is neither: parity and the sum of twists are homomorphisms to abelian groups.
    """
    own = layer_group(request.puzzle, request.turning, request.kept_types)
    for effect in request.looking_alike():
        if own.keeps_parts(effect) and not any(own.sums.vector(effect)):
            return False
    return True


def _forbidden(request: EffectRequest, own: LayerGroup) -> str | None:
    effects = request.twisted()
    if request.alike:
        if any(own.contains_alike(effect) for effect in effects):
            return None
    elif any(own.contains(np.array(effects))):
        return None
    return _unreached(request, own) or _against_law(request, own) or _tied(request, own)


def _unreached(request: EffectRequest, own: LayerGroup) -> str | None:
    """Say which piece cannot get to where it is wanted."""
    puzzle = request.puzzle
    looks = puzzle.alike.tolist()
    for cycle in request.cycles:
        if request.alike and any(looks.count(looks[puzzle.slot_of[p]]) > 1 for p in cycle):
            continue
        for here, there in zip(cycle, cycle[1:] + cycle[:1], strict=True):
            reached = reach(own, here)
            if request.any_twist and puzzle.slot_of[here] != puzzle.slot_of[there]:
                found = any(puzzle.slot_of[p] == puzzle.slot_of[there] for p in reached)
            else:
                found = there in reached
            if not found:
                one, other = placement_name(puzzle, here), placement_name(puzzle, there)
                return f"{one} cannot get to {other}"
    return None


def _against_law(request: EffectRequest, own: LayerGroup) -> str | None:
    """Name the law of parity or twist that the effect breaks."""
    alike = request.alike
    rows = request.twisted()
    brought = [own.brought_home(row) for row in rows] if alike else rows
    kept = [row for row in brought if row is not None and own.keeps_parts(row)]
    laws = [own.broken(row, alike) for row in kept]
    if not laws or None in laws:
        return None
    # Where twists may be chosen, what breaks least says what no choice of twists mends.
    sums = [np.count_nonzero(own.sums.vector(row)) for row in kept]
    law = laws[int(np.argmin(sums))]
    assert law is not None
    says = law.text[0].lower() + law.text[1:-1].partition(":")[0]
    return f"{_what(request, law.types, law.kind)}, but {says}"


def _what(request: EffectRequest, types: tuple[int, ...], kind: str) -> str:
    """Say what the effect would be for the types that a law is about."""
    puzzle = request.puzzle
    odd, twisted = [], []
    for number in types:
        own = [c for c in request.cycles if puzzle.type_of[puzzle.slot_of[c[0]]] == number]
        lengths = [len({int(puzzle.slot_of[p]) for p in cycle}) for cycle in own]
        word = plural(puzzle.types[number].name)
        if sum(length - 1 for length in lengths) % 2:
            odd.append(word)
        if any(len(cycle) > length for cycle, length in zip(own, lengths, strict=True)):
            twisted.append(word)
    if "parity" in kind and odd:
        return f"this would be an odd rearrangement of the {joined(odd)}" + (
            " alone" if len(odd) < len(types) else ""
        )
    if twisted:
        return f"the twists of the {joined(twisted)} would not add up to nothing"
    return "this would move them otherwise"


def _tied(request: EffectRequest, own: LayerGroup) -> str:
    """Say that the group does not have it, and what it is tied to."""
    puzzle = request.puzzle
    moved = np.flatnonzero(request.effect[puzzle.home] != puzzle.home).tolist()
    names = slot_names(puzzle)
    shown = joined([names[slot] for slot in moved])
    types = [plural(puzzle.types[k].name) for k in own.types if puzzle.types[k].moves]
    return (
        f"the {joined(types)} make {own.order:,} arrangements together, all of them counted, and "
        f"this one of {shown} alone is not among them"
    )
