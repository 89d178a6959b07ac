"""What `parts` prints in a terminal: tables and short paragraphs under a few headings."""

from __future__ import annotations

from puzzles.blocking import stopping
from puzzles.effects import Effect, cycle_text, cycles
from puzzles.least_effects import Least, least_words
from puzzles.puzzle import PieceType, Puzzle
from service import parts_words as words
from service.layout import INDENT, Page, page
from service.parts import Parts
from service.sequences import ANY_FORM, COMMUTATORS, Checked

#: The most slots that are listed for a type; of more, only the first few are.
LISTED, FEW = 24, 8


def show_parts(own: Parts, asked: str, searched: bool = False) -> None:
    """Print piece types, layers, positions, and what is known of how the pieces move.

    ``asked`` is how the puzzle was named, ``searched`` whether what is missing was looked for.
    """
    puzzle = own.puzzle
    with page() as out:
        out.line(f"{puzzle.name}: {puzzle.description}", "bold")
        if puzzle.note:
            out.line(puzzle.note)
        _types(out, own)
        _layers(out, own)
        held = "" if puzzle.shape == "written" else f"{puzzle.up} up, {puzzle.front} in front"
        out.pairs([("held", held), ("fastened", words.fastened(own.puzzle)), *_positions(own)])
        _laws(out, own)
        _alone(out, own, asked, searched)
        _carried(out, own)


def _types(out: Page, own: Parts) -> None:
    rows = []
    for kind in own.puzzle.types:
        slots = own.slots_of(kind)
        shown = slots if len(slots) <= LISTED else slots[:FEW]
        more = f" … {len(slots) - len(shown)} more" if len(slots) > len(shown) else ""
        layers = " or ".join(map(str, own.anatomy.layers_of(kind)))
        moves = "yes" if kind.moves else "no"
        rows.append((kind.name, kind.count, _twists(kind), moves, layers, " ".join(shown) + more))
    out.table(("type", "count", "twists", "moves", "layers each", "slots"), rows, " rr r ")


def _twists(kind: PieceType) -> str:
    """Return how many twists are seen, and how many more are told apart."""
    return f"{kind.seen}" if kind.seen == kind.twists else f"{kind.seen} seen of {kind.twists}"


def _layers(out: Page, own: Parts) -> None:
    by_steps: dict[tuple[int, int, str], list[str]] = {}
    for k, layer in enumerate(own.puzzle.layers):
        key = layer.steps, own.anatomy.pieces_in(k), _stops(own.puzzle, k)
        by_steps.setdefault(key, []).append(layer.name)
    lines = [
        (" ".join(names), f"1/{steps}{stops}", count)
        for (steps, count, stops), names in by_steps.items()
    ]
    out.table(("layers", "smallest step", "pieces in each"), lines, " rr")


def _stops(puzzle: Puzzle, layer: int) -> str:
    """Return at which angles a layer stops, empty if at all steps."""
    text = stopping(puzzle, layer)
    return f", {text}" if text else ""


def _positions(own: Parts) -> list[tuple[str, object]]:
    group, reached = own.anatomy.group, own.anatomy.reached
    most = "at most " if reached is not None else ""
    if group.proven:
        order = f"{most}{group.order:,} with all pieces told apart"
    elif reached is not None:
        order = f"at most {group.upper:,} with all pieces told apart"
    else:
        order = f"between {group.lower:,} and {group.upper:,} with all pieces told apart"
    alike = group.order_alike
    differs = alike is not None and alike != group.order
    counted = ""
    if reached is not None:
        counted = "turns are blocked in some states; "
        counted += (
            f"{reached.states:,} states can be reached, the farthest in {reached.depth} turns"
            if reached.complete
            else f"more than {reached.states:,} states can be reached"
        )
    return [
        ("positions", order),
        ("", f"= {words.order_text(own.anatomy)}" if group.proven and group.order > 1 else ""),
        ("", f"{most}{alike:,} that look different" if differs else ""),
        ("blocked", counted),
        ("symmetries", _symmetries(own.puzzle)),
    ]


def _symmetries(puzzle: Puzzle) -> str:
    if puzzle.shape == "written":
        return f"{len(puzzle.symmetries)}, which carry turns to turns"
    mirrored = any(symmetry.reflects for symmetry in puzzle.symmetries)
    return f"{len(puzzle.symmetries)}" + (", reflections among them" if mirrored else "")


def _laws(out: Page, own: Parts) -> None:
    anatomy = own.anatomy
    singly = [law.text for law in anatomy.group.laws if len(law.types) == 1]
    lines = [*singly, *words.ties(anatomy), *words.alike(anatomy)]
    if not lines:
        return
    out.line()
    out.line("What goes with what", "bold")
    for text in lines:
        out.line(text, indent=INDENT)


def _alone(out: Page, own: Parts, asked: str, searched: bool) -> None:
    """Print the smallest effects of each type that leave all others alone."""
    if not own.anatomy.least:
        return
    out.line()
    if own.anatomy.reached is None:
        out.line("The smallest effects that leave all other pieces alone", "bold")
    else:
        out.line("The smallest effects that could leave all other pieces alone", "bold")
    for least in own.anatomy.least:
        if not least.found:
            out.line(words.nothing_alone(own.anatomy, least), indent=INDENT)
        for effect in least.found:
            _effect(out, own, effect)
        for effect in least.looking:
            what = least_words(own.puzzle, effect)
            out.line(f"{what}, if pieces that look the same may change places", indent=INDENT)
    if own.missing:
        out.line()
        if searched:
            out.line("Those without a sequence were looked for; more `--seconds` look farther.")
        else:
            out.line(f"`trefoil parts {asked} --search` looks for those without a sequence.")


def _effect(out: Page, own: Parts, effect: Least) -> None:
    done = own.sequence(effect)
    what = least_words(own.puzzle, effect)
    if done is None:
        out.line(what, indent=INDENT)
        return
    table = own.puzzle.effect(done.word).tolist()
    where = " ".join(
        cycle_text(own.puzzle, cycle) for cycle in cycles(own.puzzle, Effect(tuple(table)))
    )
    out.line(f"{what}: {where}", indent=INDENT)
    out.line(f"{done.kept.notation}  {_length(done)}", "cyan", indent=3 * INDENT)


def _length(done: Checked) -> str:
    turns = done.kept.turns
    text = f"{turns} turn{'s' if turns != 1 else ''}"
    if turns > 1 and done.kept.shortest == ANY_FORM:
        text += ", no sequence is shorter"
    if turns > 1 and done.kept.shortest == COMMUTATORS:
        text += ", no commutator form is shorter"
    return f"({text})"


def _carried(out: Page, own: Parts) -> None:
    types = words.types_like(own.anatomy)
    if not types and not own.anatomy.layers_like:
        return
    out.line()
    unless = "" if own.anatomy.reached is None else ", were no turn blocked"
    out.line(f"What carries over from the catalogue{unless}", "bold")
    for numbers, text in types:
        out.line(words.sentence(f"{words.the_types(own.puzzle, numbers)} {text}"), indent=INDENT)
    for text in words.all_layers_like(own.anatomy):
        out.line(text, indent=INDENT)
