"""Drafts of puzzles, looked at and not kept: what comes of a file, and which sizes give what.

A process with limits of its own does this; see ``service.api.drafting``.
"""

from __future__ import annotations

import json
import math
import re
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from puzzles import compile, depths, file, unknowns, wanted_counts
from puzzles.bodies import BODIES
from puzzles.choosing import KINDS, Depths, Kind, choices
from puzzles.counting import Counted
from puzzles.errors import PuzzleFileError, RequestError, TrefoilError
from puzzles.exact_sizes import decimal, formula
from puzzles.file_lines import group_of, spot_of
from puzzles.puzzle import Puzzle
from puzzles.puzzle_text import written
from puzzles.surveying import EndedError, Survey, plain
from puzzles.sweeping import Range
from puzzles.unknowns import OpenPuzzle, Unknown
from service import depth_reports
from service.choice import FIRST, Choice, choice_of, fault_of, model_of, text_of
from service.forgetting import make_room

Report = dict[str, Any]

#: How the file is called in sentences about it, which leave that out here.
WHERE = "the draft"
#: The most seconds of computing for all sizes of a slider, and by the clock, where others compute
#: as well; and the most by the clock in which depths are proposed.
RANGE_SECONDS, RANGE_CLOCK, DEPTH_SECONDS = 2.0, 5.0, 4.0
#: The most ranges of a slider that are told, and the most proposals.
MOST_RANGES, MOST_PROPOSALS = 80, 12


class DraftError(RequestError):
    """A draft that is wrong in one ``field`` of what was sent."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


# --- What may be chosen -------------------------------------------------------------------------


def able() -> Report:
    """Return what may be chosen for a new puzzle, and the limits of it."""
    from puzzles.layering import MOST_LAYERS

    return {
        "bodies": [_body(name) for name in BODIES],
        "first": FIRST.given(),
        "limits": {
            "pieces": compile.MOST_PIECES,
            "types": compile.MOST_TYPES,
            "layers": MOST_LAYERS,
            "file_bytes": file.LARGEST_FILE,
            "open_sizes": unknowns.MOST_UNKNOWN,
            "counts": wanted_counts.MOST_KINDS,
        },
    }


def _body(name: str) -> Report:
    own = choices(name)
    return {
        "name": name,
        "faces": list(own.faces),
        "up": own.up,
        "front": own.front,
        "kinds": [_kind(kind) for kind in own.kinds],
    }


def _kind(kind: Kind) -> Report:
    return {
        "name": kind.name,
        "words": kind.words,
        "axes": list(kind.axes),
        "steps": kind.steps,
        "solid": _depths(kind.solid),
        "ball": _depths(kind.ball),
    }


def _depths(own: Depths) -> Report:
    return {
        "from": round(own.least, 6) + 0.0,
        "to": round(own.most, 6),
        "step": own.step,
        "usual": own.size.removesuffix("deg"),
    }


# --- A draft ------------------------------------------------------------------------------------


def draft(choice: Choice | None, text: str | None, drawn: bool) -> Report:
    """Return what comes of a choice, or of the text of a file: the puzzle in short, or a problem.

    With ``drawn`` it has the drawing as well. Raises DraftError where there is nothing to look at.
    """
    if text is None:
        text = text_of(_sound(choice or FIRST))
    puzzle, model, problem = _compiled(text)
    own = choice
    # Comments would be lost if the file were made anew.
    if own is None and model is not None and "#" not in text:
        own = choice_of(model)
    if problem is not None:
        at = problem.pop("group")
        problem["size"] = own.sizes[at - 1] if own is not None and at else None
    report: Report = {
        "file": text,
        "choice": None if own is None else own.given(),
        "sizes": {} if own is None or puzzle is None else _sizes(own, puzzle),
        "problem": problem,
        "puzzle": None if puzzle is None else _short(puzzle),
        "drawing": None,
    }
    if puzzle is not None and drawn:
        from puzzles.drawing import drawing

        report["drawing"] = json.loads(drawing(puzzle).text())
    return report


def picture(choice: Choice | None, text: str | None) -> bytes:
    """Return a picture of a draft as SVG; raises TrefoilError where there is no puzzle."""
    from puzzles.picture import draw

    if text is None:
        text = text_of(_sound(choice or FIRST))
    return draw(compile.from_text("draft", text, WHERE)).encode()


def _sound(choice: Choice) -> Choice:
    """Return a choice that has no fault; raises DraftError."""
    fault = fault_of(choice)
    if fault is not None:
        raise DraftError(fault[1], fault[0])
    return choice


def _compiled(text: str) -> tuple[Puzzle | None, file.Model | None, Report | None]:
    """Return the puzzle of a text, its model, and what is wrong with it, what there is of these."""
    size = len(text.encode())
    if size > file.LARGEST_FILE:
        said = f"a puzzle file has at most {file.LARGEST_FILE:,} bytes; this one has {size:,}"
        return None, None, {"detail": said, "line": None, "column": None, "group": 0}
    model = None
    try:
        model = file.parse(text, WHERE)
        return compile.from_text("draft", text, WHERE), model, None
    except TrefoilError as error:
        said = str(error).removeprefix(f"{WHERE}: ")
        spot, at = spot_of(text, said, model), group_of(said, model)
        if spot is None and isinstance(model, file.PuzzleModel) and len(model.layers) == 1:
            # What comes of the cuts is a matter of the only size that there is.
            spot, at = spot_of(text, "layers 1: ", model), 1
        line, column = (None, None) if spot is None else (spot.line, spot.column)
        return None, model, {"detail": said, "line": line, "column": column, "group": at}


def _sizes(choice: Choice, puzzle: Puzzle) -> dict[str, float]:
    """Return the sizes of a choice as numbers by their names, on a ball in degrees."""
    found: dict[str, float] = {}
    layers = iter(puzzle.layers)
    for kind in choice.kinds:
        for name in (kind.name, f"{kind.name}_inner"):
            if choice.size(name):
                own = [next(layers) for _ in kind.axes]
                height = own[0].low
                found[name] = _number(math.degrees(math.acos(height)) if choice.ball else height)
    return found


def _short(puzzle: Puzzle) -> Report:
    return {
        "description": puzzle.description,
        "pieces": puzzle.slot_count,
        "types": [
            {"name": own.name, "count": own.count, "twists": own.seen, "moves": own.moves}
            for own in puzzle.types
        ],
        "layers": [layer.name for layer in puzzle.layers],
        "held": {"up": puzzle.up, "front": puzzle.front},
        "can_block": puzzle.can_block,
    }


# --- Sizes --------------------------------------------------------------------------------------


def ranges(choice: Choice, size: str) -> Report:
    """Return which sizes of one kind of layer give which pieces, the others being as they are.

    Ranges in which nothing changes, and between them sizes that give something else; ``complete``
    says whether all were looked at, ``reason`` why there are none. Raises DraftError for a choice
    in which nothing turns.
    """
    _sound(choice)
    try:
        puzzle = _opened(choice, (size,))
    except DraftError as error:
        none: Report = {"size": size, "unit": None, "complete": False, "ranges": [], "exact": []}
        return {**none, "reason": str(error)}
    unknown = puzzle.unknowns[0]
    survey = Survey(puzzle, _looking(RANGE_SECONDS, RANGE_CLOCK), lambda share: None)
    complete = True
    try:
        survey.run()
    except EndedError:
        complete = False
    found = [_range(puzzle, own) for sweep in survey.sweeps for own in sweep.merged()]
    exact = [
        _exact(puzzle, unknown, x.at, x.found)
        for sweep in survey.sweeps
        for x in sweep.own_specials()
        if isinstance(x.found, Counted)
    ]
    return {
        "size": size,
        "unit": "degrees" if unknown.angle else None,
        "complete": complete,
        "ranges": sorted(found, key=lambda own: own["from"])[:MOST_RANGES],
        "exact": sorted(exact, key=lambda own: own["at"])[:MOST_RANGES],
        "reason": None,
    }


def _range(puzzle: OpenPuzzle, own: Range) -> Report:
    unknown = puzzle.unknowns[0]
    ends = sorted((unknown.written(own.low), unknown.written(own.high)))
    return {
        "from": _number(ends[0]),
        "to": _number(ends[1]),
        "entry": _bare(decimal(unknown, plain(puzzle, 0, own.low, own.high))),
        "pieces": own.found.pieces,
        "counts": list(own.found.counts),
    }


def _exact(puzzle: OpenPuzzle, unknown: Unknown, at: float, found: Counted) -> Report:
    entry = _bare(formula(puzzle, unknown, at) or decimal(unknown, at))
    return {
        "at": _number(unknown.written(at)),
        "entry": entry,
        "pieces": found.pieces,
        "counts": list(found.counts),
    }


def _number(value: float) -> float:
    return round(value, 6) + 0.0


def _bare(size: str) -> str:
    """Return a size as somebody writes it, who leaves out that a number is one of degrees."""
    number = size.removesuffix("deg")
    return number if re.fullmatch(r"[0-9.]+", number) else size


def proposals(
    choice: Choice | None, text: str | None, opened: Sequence[str], counts: str, most: int
) -> Report:
    """Return sizes that give the counted pieces: of a choice those in ``opened``, else of a file.

    As `trefoil depths --json` prints them, each with the choice that it comes to. Raises
    DraftError.
    """
    try:
        wanted = wanted_counts.parsed(counts)
    except RequestError as error:
        raise DraftError(str(error).replace("--count ", ""), "counts") from None
    puzzle = _open_file(text) if text is not None else _opened(choice or FIRST, opened)
    found = depths.find(puzzle, wanted, seconds=DEPTH_SECONDS, most=most)
    files = [depth_reports.Written(written(own.model), None, None, None) for own in found.proposals]
    report = depth_reports.report(puzzle, wanted, found, files, False)
    for told, own in zip(report["proposals"], found.proposals, strict=True):
        del told["file"], told["picture"], told["problem"]
        chosen = choice_of(own.model)
        told["choice"] = None if chosen is None else chosen.given()
    del report["stopped"], report["puzzle"]
    report.setdefault("reason", None)
    return report


def _open_file(text: str) -> OpenPuzzle:
    try:
        model = file.parse(text, WHERE, unknown=True)
        if isinstance(model, file.WrittenModel):
            raise PuzzleFileError("turns that are written down have no depths to be found")
        return unknowns.opened("draft", model)
    except TrefoilError as error:
        raise DraftError(str(error).removeprefix(f"{WHERE}: "), "file") from None


def _opened(choice: Choice, names: Sequence[str]) -> OpenPuzzle:
    """Return the puzzle of a choice with the sizes by some names left open; raises DraftError."""
    _sound(choice)
    for name in names:
        if not choice.size(name):
            raise DraftError(f"{name} does not turn, so that it has no size to be found", "open")
        if name in KINDS and choice.size(f"{name}_inner"):
            text = f"{name} have inner layers, which begin where that size is; leave these out"
            raise DraftError(text, "open")
    try:
        return unknowns.opened("draft", model_of(choice, names))
    except TrefoilError as error:
        raise DraftError(str(error), "open" if not names else "choice") from None


def _looking(seconds: float, clock: float) -> Callable[[], None]:
    """Return what is called before each look, and ends them after some seconds of computing."""
    spent, until = time.process_time() + seconds, time.monotonic() + clock

    def look() -> None:
        if time.process_time() > spent or time.monotonic() > until:
            raise EndedError

    return look


# --- Messages -----------------------------------------------------------------------------------


def done(message: Mapping[str, Any]) -> bytes:
    """Return what comes of a message to a reader; raises TrefoilError."""
    make_room()
    given = message.get("choice")
    choice = None if given is None else Choice.model_validate(given)
    text: str | None = message.get("file")
    match message["do"]:
        case "able":
            return _bytes(able())
        case "draft":
            return _bytes(draft(choice, text, bool(message.get("drawn"))))
        case "draft-picture":
            return picture(choice, text)
        case "ranges":
            return _bytes(ranges(choice or FIRST, message["size"]))
        case _:
            opened, counts = message["open"], message["counts"]
            return _bytes(proposals(choice, text, opened, counts, message["most"]))


def _bytes(report: Report) -> bytes:
    return json.dumps(report).encode()
