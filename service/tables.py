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
    from service.reports import Report


def show_find(report: Report, any_twist: bool) -> None:
    """Print the answers to a request: the leading ones in full, the others in a table."""
    answers, left = report["answers"], report["left_out"]
    cycle = report["effect"] if "effect" in report else report["cycle"]
    with page() as out:
        twists = " in any twist" if any_twist else ""
        out.line(f"{report['puzzle']}: {_arrows(cycle)}{twists}", "bold")
        out.line(_sentence(report["searched"]["text"]))
        for answer in answers:
            if answer["leads"]:
                out.line()
                leads = _sentence(" and ".join(answer["leads"]))[:-1]
                out.named(f"{leads}:", answer["notation"], "bold")
                out.pairs(_about(answer, cycle))
        others = [answer for answer in answers if not answer["leads"]]
        if others:
            heads = ["also", "turns", "things", "layers", "family"]
            rows = [
                [a["notation"], a["turns"], a["things"], " ".join(a["layers"]), a["folded"] or ""]
                for a in others
            ]
            if any(answer["cycle"] != cycle for answer in others):
                heads.append("cycle")
                for row, answer in zip(rows, others, strict=True):
                    row.append(_other(answer, cycle))
            out.table(heads, rows, " rr r")
        if left:
            more = (
                "family more; --most shows it"
                if left == 1
                else f"families more; --most {len(answers) + left} shows them"
            )
            out.line(f"{left} {more}")


def _arrows(names: Sequence[str]) -> str:
    """Return three names with arrows between them; cycles, which have brackets, side by side."""
    return ("" if names[0].startswith("(") else " → ").join(names)


def _other(answer: Report, asked: Sequence[str]) -> str:
    """Return the cycle that an answer does where it is another than the asked one, else nothing."""
    return "" if answer["cycle"] == asked else _arrows(answer["cycle"])


def _about(answer: Report, asked: Sequence[str]) -> list[tuple[str, object]]:
    things = f"{answer['things']} thing{'s' if answer['things'] != 1 else ''} to remember"
    family = f"and {answer['folded']} more of the same family" if answer["folded"] else ""
    hold, held = answer["hold"], answer["held_sequence"]
    holding = f"{hold['up']} up, {hold['front']} in front" if hold["up"] else ""
    if held != answer["sequence"]:
        holding += f": {held}"
    names = {"setup": "the setup", "a": "A", "b": "B"}
    undone = " and ".join(names[part] for part in answer["undone_same"])
    same = "motions" if answer["motions"] else "turns"
    return [
        ("turns", f"{answer['sequence']}  ({answer['turns']} turns, {things})"),
        ("cycle", _other(answer, asked)),
        ("setup", answer["setup"]),
        ("A", answer["a"]),
        ("B", answer["b"]),
        ("hold", holding),
        ("hands", ", ".join(answer["motions"])),
        ("undoing", f"{undone} by the same {same} again" if undone else ""),
        ("why", answer["why"]),
        ("", family),
    ]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) else ".")


def show_atlas(report: Report, most: int) -> None:
    """Print how many cycles have how many turns, then the first lines of each type's table."""
    with page() as out:
        for part in report["types"]:
            out.line(f"{report['puzzle']}, {part['type']}: {part['cycles']:,} three-cycles", "bold")
            out.line(_sentence(part["searched"]["text"]))
            if part["missing"]:
                out.line(_without(part))
            entries = [own for own in report["entries"] if own["type"] == part["type"]]
            if not entries:
                continue
            turns = Counter(own["turns"] for own in entries)
            things = Counter(own["easiest"]["things"] for own in entries)
            out.table(("turns", "cycles"), sorted(turns.items()), "rr")
            out.table(("things to remember", "cycles"), sorted(things.items()), "rr")
            rows = [_line(own) for own in entries[:most]]
            if rows:
                out.table(("cycle", "shortest", "turns", "easiest", "things"), rows, "  r r")
            left = len(entries) - len(rows)
            if left:
                out.line(f"{left:,} more; --most {len(entries)} or --json shows them")


def _without(part: Report) -> str:
    open_ones = part["missing"] - part["impossible"]
    says = []
    if part["impossible"]:
        says.append(f"{part['impossible']:,} are proven impossible")
    if open_ones:
        says.append(f"{open_ones:,} were not found within the bound")
    return _sentence(" and ".join(says))


def _line(entry: Report) -> tuple[object, ...]:
    easy = entry["easiest"]
    same = all(easy[name] == entry[name] for name in ("sequence", "notation"))
    return (
        _arrows(entry["cycle"]),
        entry["notation"],
        entry["turns"],
        "the same" if same else easy["notation"],
        easy["things"],
    )


def _order(order: int, repeats: int | None) -> str:
    if repeats is None:
        return f"{order:,} times over, nothing has moved"
    times = "once" if repeats == 1 else f"{repeats:,} times"
    return f"{order:,}, but it can be done only {times} in a row: then a turn is blocked"


#: What is said of a sequence after which all looks as before.
UNSEEN = "as before: what moved looks the same as what was there"


def show_tried(report: Report, puzzle: Puzzle, cycles: Sequence[tuple[int, ...]]) -> None:
    """Print what a sequence does."""
    moved, order = report["pieces_moved"], report["order"]
    turns, written = report["turns"], len(report["written"].split())
    left = f"{turns:,} after cancelling: {report['sequence']}" if turns else "all of them cancel"
    rows: list[tuple[str, Any]] = [
        ("turns", f"{turns:,}" if turns == written else f"{written:,} as written, {left}"),
        ("moves", f"{moved} piece{'s' if moved != 1 else ''}"),
        ("looks", "" if report["looks_moved"] or not moved else UNSEEN),
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
