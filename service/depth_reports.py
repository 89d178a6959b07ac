"""Proposals for open sizes, as JSON and as a person reads them in a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from puzzles.depths import Found, Proposal, Size
from puzzles.puzzle_text import in_toml
from puzzles.unknowns import OpenPuzzle
from service.layout import Page, page


@dataclass(frozen=True)
class Written:
    """A proposal's puzzle file: its text, where it and its picture are, or why they are not."""

    text: str
    file: Path | None
    picture: Path | None
    problem: str | None


def report(
    puzzle: OpenPuzzle,
    wanted: Sequence[int],
    found: Found,
    written: Sequence[Written],
    stopped: bool,
) -> dict[str, Any]:
    """Return proposals as a JSON object; angles are in degrees."""
    result: dict[str, Any] = {
        "puzzle": puzzle.name,
        "wanted": list(wanted),
        "proposals": [
            _proposal(own, there) for own, there in zip(found.proposals, written, strict=True)
        ],
        "left_out": found.left_out,
        "nearest": [
            {"counts": list(own.counts), "entries": list(own.entries)} for own in found.nearest
        ],
        "searched": {
            "complete": found.complete,
            "looks": found.looks,
            "counts_met": found.met,
            "never_close": found.endless,
            "text": how_far(found),
        },
        "stopped": stopped,
    }
    if not found.proposals:
        result["reason"] = _none(wanted, found)
    return result


def _proposal(own: Proposal, written: Written) -> dict[str, Any]:
    return {
        "pieces": own.pieces,
        "counts": list(own.counts),
        "counted_as": [list(part) for part in own.fit.parts],
        "not_counted": list(own.fit.left),
        "sizes": [
            {
                "layers": size.words,
                "key": size.key,
                "unit": "degrees" if size.angle else None,
                "exact": size.exact,
                "example": size.example,
                "entry": size.entry,
                "from": size.low,
                "to": size.high,
                "from_formula": size.low_formula,
                "to_formula": size.high_formula,
            }
            for size in own.sizes
        ],
        "together": None if own.together is None else [list(pair) for pair in own.together],
        "checked": own.checked,
        "toml": written.text,
        "file": None if written.file is None else str(written.file),
        "picture": None if written.picture is None else str(written.picture),
        "problem": written.problem,
    }


def show(
    puzzle: OpenPuzzle, wanted: Sequence[int], found: Found, written: Sequence[Written]
) -> None:
    """Print proposals, or the nearest counts where there are none."""
    with page() as out:
        if not found.proposals:
            out.line(_none(wanted, found))
            return
        for number, (own, there) in enumerate(zip(found.proposals, written, strict=True), 1):
            if number > 1:
                out.line()
            _show(out, puzzle, number, wanted, own, there)
        if found.left_out:
            out.line()
            out.line(
                f"{found.left_out} more; --most {len(found.proposals) + found.left_out} shows them"
            )


def _show(
    out: Page,
    puzzle: OpenPuzzle,
    number: int,
    wanted: Sequence[int],
    own: Proposal,
    written: Written,
) -> None:
    out.line(f"{number}. {own.pieces} pieces: {_listed(own.counts)}", "bold")
    rows: list[tuple[str, object]] = [(size.words, _said(size)) for size in own.sizes]
    if own.together is not None:
        ranges = [
            f"{size.words} {_number(low)} to {_number(high)}"
            for size, (low, high) in zip(own.sizes, own.together, strict=True)
        ]
        rows.append(("together", f"{' with '.join(ranges)}: any of these, as far as was tested"))
    elif any(size.exact for size in own.sizes):
        if any(size.low == size.high and not size.exact for size in own.sizes):
            rows.append(("together", "the exact size depends on the other one"))
    elif len(own.sizes) > 1:
        rows.append(("ranges", "each holds where the other size is as in its example"))
    for count, part in zip(wanted, own.fit.parts, strict=True):
        if len(part) > 1:
            rows.append((f"your {count}", " + ".join(map(str, part))))
    rows.append(("not counted", _listed(own.fit.left)))
    rows.append(("unchecked", "" if own.checked else "the ranges may be wider; time was over"))
    rows.append(("file", written.file or "; ".join(_entries(puzzle, own))))
    rows.append(("picture", written.picture))
    rows.append(("but", written.problem))
    out.pairs(rows)


def _entries(puzzle: OpenPuzzle, own: Proposal) -> list[str]:
    """Return the lines of the file in which a size was open."""
    lines = []
    for unknown in puzzle.unknowns:
        value = getattr(own.model.layers[unknown.table], unknown.key)
        lines.append(f"{unknown.key} = {in_toml(value)}")
    return lines


def _listed(counts: Sequence[int]) -> str:
    return ", ".join(map(str, counts))


def _number(value: float) -> str:
    """Return a size as people read it: an angle or a large one with one decimal, else with four."""
    text = f"{value:.1f}" if abs(value) >= 10 else f"{value:.4f}"
    text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _said(size: Size) -> str:
    """Return in words what a proposal says about a size."""
    unit = " degrees" if size.angle else ""
    if size.exact:
        plain = f"{size.example:.6f}".rstrip("0").rstrip(".") + unit
        text = size.entry
        said = plain if _plain(text) else f"{text}, {plain}"
        return f"{size.key} exactly {said}"
    if size.low == size.high:
        return f"{size.key} {_number(size.example)}{unit}, for example"
    low, high = (
        _number(value) + (f" ({text})" if text is not None and not _plain(text) else "")
        for value, text in ((size.low, size.low_formula), (size.high, size.high_formula))
    )
    return f"{size.key} {low} to {high}{unit}, for example {_number(size.example)}"


def _plain(text: str) -> bool:
    """Return whether a formula is nothing but a number."""
    return text.removesuffix("deg").removeprefix("-").replace(".", "").isdigit()


def _none(wanted: Sequence[int], found: Found) -> str:
    """Return the sentence for counts that were not met."""
    text = f"no size was found that gives {' and '.join(map(str, wanted))} pieces"
    if found.nearest:
        near = "; ".join(
            f"{_listed(own.counts)} (with {' and '.join(own.entries)})" for own in found.nearest
        )
        return f"{text}; the nearest counts are {near}"
    if found.endless:
        return f"{text}: the cuts never close, or are too many"
    return f"{text}: none of the sizes that were looked at gives a puzzle"


def how_far(found: Found) -> str:
    """Return how far the search came, in words."""
    looks = f"pieces were counted for {found.looks:,} choices of sizes"
    if found.endless:
        looks += f"; for {found.endless:,} of them the cuts never close"
    if found.complete:
        return f"all ranges were looked at; {looks}"
    return f"not all ranges were looked at; {looks}; more seconds would show more"
