"""Results as a person reads them in a terminal: tables and short paragraphs."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from puzzles.effects import cycle_text
from puzzles.laws import plural
from puzzles.puzzle import Puzzle
from service.output import PIPED_WIDTH, clean

if TYPE_CHECKING:
    from search.answers import Answer, Found
    from search.atlas_entries import Entry
    from service.atlases import TypeAtlas
    from service.parts import Parts
    from service.reports import Report

#: The most slots that `parts` lists for a type before it breaks off.
LISTED = 24


def console() -> Console:
    """Return the console for standard output; nothing that is printed is read as markup."""
    width = None if sys.stdout.isatty() else PIPED_WIDTH
    return Console(width=width, markup=False, highlight=False, emoji=False, soft_wrap=False)


def _text(value: object, style: str = "") -> Text:
    return Text(clean(str(value)), style=style)


def table(columns: Sequence[str], rows: Iterable[Sequence[object]], numbers: str = "") -> Table:
    """Return a table; ``numbers`` has an ``r`` at each column that is set to the right."""
    result = Table(box=box.SIMPLE_HEAD, pad_edge=False, header_style="bold")
    for k, column in enumerate(columns):
        right = numbers[k : k + 1] == "r"
        result.add_column(column, justify="right" if right else "left", overflow="fold")
    for row in rows:
        result.add_row(*(_text(value) for value in row))
    return result


def pairs(rows: Iterable[tuple[str, object]]) -> Padding:
    """Return names and values in two columns, indented; empty values are left out."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(style="dim", no_wrap=True)
    grid.add_column(overflow="fold")
    for name, value in rows:
        if value not in ("", None):
            grid.add_row(_text(name), _text(value))
    return Padding(grid, (0, 0, 0, 2))


def show_find(found: Found) -> None:
    """Print the answers to a request: the leading ones in full, the others in a table."""
    out, puzzle = console(), found.request.puzzle
    out.print(_text(f"{puzzle.name}: {' → '.join(found.cycle)}", "bold"))
    out.print(_text(_sentence(found.searched.text)))
    leading = [answer for answer in found.answers if answer.leads]
    for answer in leading:
        out.print()
        out.print(_text(f"{_sentence(answer.leads)[:-1]}: ").append(_text(answer.notation, "bold")))
        out.print(pairs(_about(answer)))
    others = [answer for answer in found.answers if not answer.leads]
    if others:
        out.print()
        rows = [(a.notation, a.turns, a.things, " ".join(a.layers), a.folded or "") for a in others]
        out.print(table(("also", "turns", "things", "layers", "family"), rows, " rr r"))
    if found.left_out:
        more = (
            "family more; --most shows it"
            if found.left_out == 1
            else (f"families more; --most {len(found.answers) + found.left_out} shows them")
        )
        out.print(_text(f"{found.left_out} {more}"))


def _about(answer: Answer) -> list[tuple[str, object]]:
    things = f"{answer.things} thing{'s' if answer.things != 1 else ''} to remember"
    family = f"and {answer.folded} more of the same family" if answer.folded else ""
    holding = f"{answer.hold[0]} up, {answer.hold[1]} in front"
    if answer.held_sequence != answer.sequence:
        holding += f": {answer.held_sequence}"
    names = {"setup": "the setup", "a": "A", "b": "B"}
    undone = " and ".join(names[part] for part in answer.undone_same)
    return [
        ("turns", f"{answer.sequence}  ({answer.turns} turns, {things})"),
        ("setup", answer.setup),
        ("A", answer.a),
        ("B", answer.b),
        ("hold", holding),
        ("hands", ", ".join(answer.motions)),
        ("undoing", f"{undone} by the same motions again" if undone else ""),
        ("why", answer.why),
        ("", family),
    ]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def show_atlas(puzzle: Puzzle, parts: Sequence[TypeAtlas], most: int) -> None:
    """Print how many cycles have how many turns, then the first lines of each type's table."""
    out = console()
    for part in parts:
        out.print(_text(f"{puzzle.name}, {part.kind.name}: {part.cycles:,} three-cycles", "bold"))
        out.print(_text(_sentence(part.searched.text)))
        if part.missing:
            out.print(_text(_without(part)))
        if not part.entries:
            continue
        turns = Counter(entry.shortest.turns for entry in part.entries)
        things = Counter(entry.easiest.things for entry in part.entries)
        out.print(table(("turns", "cycles"), sorted(turns.items()), "rr"))
        out.print(table(("things to remember", "cycles"), sorted(things.items()), "rr"))
        rows = [_line(entry) for entry in part.entries[:most]]
        if rows:
            out.print(table(("cycle", "shortest", "turns", "easiest", "things"), rows, "  r r"))
        left = len(part.entries) - len(rows)
        if left:
            out.print(_text(f"{left:,} more; --most {len(part.entries)} or --json shows them"))


def _without(part: TypeAtlas) -> str:
    open_ones = part.missing - part.impossible
    says = []
    if part.impossible:
        says.append(f"{part.impossible:,} are proven impossible")
    if open_ones:
        says.append(f"{open_ones:,} were not found within the bound")
    return _sentence(" and ".join(says))


def _line(entry: Entry) -> tuple[object, ...]:
    short, easy = entry.shortest, entry.easiest
    return (
        " → ".join(entry.cycle),
        short.notation,
        short.turns,
        "the same" if easy == short else easy.notation,
        easy.things,
    )


def show_tried(report: Report, puzzle: Puzzle, cycles: Sequence[tuple[int, ...]]) -> None:
    """Print what a sequence does."""
    out = console()
    out.print(_text(f"{puzzle.name}: {report['written'] or 'nothing'}", "bold"))
    moved, order = report["pieces_moved"], report["order"]
    turns, written = report["turns"], len(report["written"].split())
    left = f"{turns:,} after cancelling: {report['sequence']}" if turns else "all of them cancel"
    rows: list[tuple[str, Any]] = [
        ("turns", f"{turns:,}" if turns == written else f"{written:,} as written, {left}"),
        ("moves", f"{moved} piece{'s' if moved != 1 else ''}"),
        ("cycles", " ".join(cycle_text(puzzle, cycle) for cycle in cycles)),
        ("order", f"{order:,} times over, nothing has moved" if moved else "1"),
        ("held", report["left_over"]),
    ]
    out.print(pairs(rows))


def show_parts(own: Parts) -> None:
    """Print the piece types, layers and the number of positions of a puzzle."""
    out, puzzle, group = console(), own.puzzle, own.group
    out.print(_text(f"{puzzle.name}: {puzzle.description}", "bold"))
    if puzzle.note:
        out.print(_text(puzzle.note))
    rows = []
    for kind in puzzle.types:
        slots = own.slots_of(kind)
        more = f" … {len(slots) - LISTED} more" if len(slots) > LISTED else ""
        layers = " or ".join(map(str, own.layers_of(kind)))
        named = " ".join(slots[:LISTED]) + more
        moves = "yes" if kind.moves else "no"
        rows.append((kind.name, kind.count, kind.twists, moves, layers, named))
    heads = ("type", "count", "twists", "moves", "layers each", "slots")
    out.print(table(heads, rows, " rr r "))
    by_steps: dict[tuple[int, int], list[str]] = {}
    for k, layer in enumerate(puzzle.layers):
        by_steps.setdefault((layer.steps, own.pieces_in(k)), []).append(layer.name)
    lines = [(" ".join(names), f"1/{n}", count) for (n, count), names in by_steps.items()]
    out.print(table(("layers", "smallest turn", "pieces in each"), lines, " rr"))
    out.print(pairs([("held", f"{puzzle.up} up, {puzzle.front} in front")]))
    out.print(pairs(_positions(own)))
    for law in group.laws:
        out.print(Padding(_text(law.text), (0, 0, 0, 2)))


def _positions(own: Parts) -> list[tuple[str, object]]:
    group = own.group
    if group.proven:
        order = f"{group.order:,} with all pieces told apart"
    else:
        order = f"between {group.lower:,} and {group.upper:,} with all pieces told apart"
    alike = group.order_alike
    differs = alike is not None and alike != group.order
    return [
        ("positions", order),
        ("", f"{alike:,} that look different" if differs else ""),
        ("symmetries", f"{len(own.puzzle.symmetries)}, reflections among them"),
    ]


def show_puzzles(rows: Sequence[tuple[str, str]]) -> None:
    """Print the catalogue."""
    console().print(table(("puzzle", "what it is"), rows))


def kinds(puzzle: Puzzle) -> str:
    """Return the words for the types whose pieces move, for errors."""
    return ", ".join(plural(kind.name) for kind in puzzle.types if kind.moves)
