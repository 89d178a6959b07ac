"""Results as a person reads them in a terminal: tables and short paragraphs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from puzzles.effects import cycle_text
from puzzles.laws import plural
from puzzles.puzzle import Puzzle
from service.layout import page

if TYPE_CHECKING:
    from search.answers import Answer, Found
    from search.atlas_entries import Entry
    from service.atlases import TypeAtlas
    from service.reports import Report


def show_find(found: Found) -> None:
    """Print the answers to a request: the leading ones in full, the others in a table."""
    with page() as out:
        twists = " in any twist" if found.request.any_twist else ""
        out.line(f"{found.request.puzzle.name}: {_arrows(found.cycle)}{twists}", "bold")
        out.line(_sentence(found.searched.text))
        for answer in found.answers:
            if answer.leads:
                out.line()
                out.named(f"{_sentence(answer.leads)[:-1]}:", answer.notation, "bold")
                out.pairs(_about(answer, found.cycle))
        others = [answer for answer in found.answers if not answer.leads]
        if others:
            heads = ["also", "turns", "things", "layers", "family"]
            rows = [
                [a.notation, a.turns, a.things, " ".join(a.layers), a.folded or ""] for a in others
            ]
            if any(answer.cycle != found.cycle for answer in others):
                heads.append("cycle")
                for row, answer in zip(rows, others, strict=True):
                    row.append(_other(answer, found.cycle))
            out.table(heads, rows, " rr r")
        if found.left_out:
            more = (
                "family more; --most shows it"
                if found.left_out == 1
                else f"families more; --most {len(found.answers) + found.left_out} shows them"
            )
            out.line(f"{found.left_out} {more}")


def _arrows(names: Sequence[str]) -> str:
    return " → ".join(names)


def _other(answer: Answer, asked: Sequence[str]) -> str:
    """Return the cycle that an answer does where it is another than the asked one, else nothing."""
    return "" if tuple(answer.cycle) == tuple(asked) else _arrows(answer.cycle)


def _about(answer: Answer, asked: Sequence[str]) -> list[tuple[str, object]]:
    things = f"{answer.things} thing{'s' if answer.things != 1 else ''} to remember"
    family = f"and {answer.folded} more of the same family" if answer.folded else ""
    holding = f"{answer.hold[0]} up, {answer.hold[1]} in front" if answer.hold[0] else ""
    if answer.held_sequence != answer.sequence:
        holding += f": {answer.held_sequence}"
    names = {"setup": "the setup", "a": "A", "b": "B"}
    undone = " and ".join(names[part] for part in answer.undone_same)
    same = "motions" if answer.motions else "turns"
    return [
        ("turns", f"{answer.sequence}  ({answer.turns} turns, {things})"),
        ("cycle", _other(answer, asked)),
        ("setup", answer.setup),
        ("A", answer.a),
        ("B", answer.b),
        ("hold", holding),
        ("hands", ", ".join(answer.motions)),
        ("undoing", f"{undone} by the same {same} again" if undone else ""),
        ("why", answer.why),
        ("", family),
    ]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def show_atlas(puzzle: Puzzle, parts: Sequence[TypeAtlas], most: int) -> None:
    """Print how many cycles have how many turns, then the first lines of each type's table."""
    with page() as out:
        for part in parts:
            out.line(f"{puzzle.name}, {part.kind.name}: {part.cycles:,} three-cycles", "bold")
            out.line(_sentence(part.searched.text))
            if part.missing:
                out.line(_without(part))
            if not part.entries:
                continue
            turns = Counter(entry.shortest.turns for entry in part.entries)
            things = Counter(entry.easiest.things for entry in part.entries)
            out.table(("turns", "cycles"), sorted(turns.items()), "rr")
            out.table(("things to remember", "cycles"), sorted(things.items()), "rr")
            rows = [_line(entry) for entry in part.entries[:most]]
            if rows:
                out.table(("cycle", "shortest", "turns", "easiest", "things"), rows, "  r r")
            left = len(part.entries) - len(rows)
            if left:
                out.line(f"{left:,} more; --most {len(part.entries)} or --json shows them")


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
        _arrows(entry.cycle),
        short.notation,
        short.turns,
        "the same" if easy == short else easy.notation,
        easy.things,
    )


def _order(order: int, repeats: int | None) -> str:
    if repeats is None:
        return f"{order:,} times over, nothing has moved"
    times = "once" if repeats == 1 else f"{repeats:,} times"
    return f"{order:,}, but it can be done only {times} in a row: then a turn is blocked"


def show_tried(report: Report, puzzle: Puzzle, cycles: Sequence[tuple[int, ...]]) -> None:
    """Print what a sequence does."""
    moved, order = report["pieces_moved"], report["order"]
    turns, written = report["turns"], len(report["written"].split())
    left = f"{turns:,} after cancelling: {report['sequence']}" if turns else "all of them cancel"
    rows: list[tuple[str, Any]] = [
        ("turns", f"{turns:,}" if turns == written else f"{written:,} as written, {left}"),
        ("moves", f"{moved} piece{'s' if moved != 1 else ''}"),
        ("cycles", " ".join(cycle_text(puzzle, cycle) for cycle in cycles)),
        ("order", _order(order, report["repeats"]) if moved else "1"),
        ("held", report["left_over"]),
    ]
    with page() as out:
        out.line(f"{puzzle.name}: {report['written'] or 'nothing'}", "bold")
        out.pairs(rows)


def show_puzzles(rows: Sequence[tuple[str, str]]) -> None:
    """Print the catalogue."""
    with page() as out:
        out.table(("puzzle", "what it is"), rows)


def kinds(puzzle: Puzzle) -> str:
    """Return the words for the types whose pieces move, for errors."""
    return ", ".join(plural(kind.name) for kind in puzzle.types if kind.moves)
