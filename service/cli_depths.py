"""The command that finds open sizes of a puzzle file from counted pieces: depths."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError, TrefoilError
from service import options
from service.output import FOUND, INTERRUPTED, NONE_FOUND, print_json, say, write_file

if TYPE_CHECKING:
    from puzzles.depths import Found, Progress, Proposal
    from puzzles.puzzle import Puzzle
    from puzzles.unknowns import OpenPuzzle
    from service.depth_reports import Written

#: How long is looked for sizes unless somebody asks for another time, in seconds.
USUAL_SECONDS = 20.0
#: Proposals that are made unless more are asked for, and the most that are.
USUAL_PROPOSALS, MOST_PROPOSALS = 6, 100

OpenFile = Annotated[
    str,
    typer.Argument(
        metavar="FILE",
        help='A puzzle file with open sizes: within = "?", above = "? + 9deg", or none at all.',
    ),
]
Count = Annotated[
    str,
    typer.Option(
        "--count",
        metavar='"48 12"',
        help="How many pieces of some kinds there are; kinds may be counted together.",
    ),
]
PictureFolder = Annotated[
    str | None,
    typer.Option("--picture", metavar="FOLDER", help="Draw each proposal there, as SVG."),
]
OutFolder = Annotated[
    str | None,
    typer.Option("--out", metavar="FOLDER", help="Write a puzzle file for each proposal there."),
]
DepthSeconds = Annotated[
    str | None,
    typer.Option("--seconds", metavar="T", help="Stop after T seconds; after 20 unless given."),
]
Proposals = Annotated[
    str | None, typer.Option("--most", metavar="N", help="Make at most N proposals.")
]


def depths(
    file: OpenFile,
    count: Count,
    picture: PictureFolder = None,
    out: OutFolder = None,
    seconds: DepthSeconds = None,
    most: Proposals = None,
    json: options.Json = False,
) -> int:
    """Propose the sizes that a puzzle file leaves open, from counted pieces."""
    from puzzles import depths as searching
    from puzzles import unknowns, wanted_counts
    from service import depth_reports
    from service.watching import Stopper

    wanted = wanted_counts.parsed(count)
    shown = options.number("most", most, 1, MOST_PROPOSALS, USUAL_PROPOSALS)
    given = options.bounds(None, None, None, seconds).seconds
    pictures, files = _folder("--picture", picture), _folder("--out", out)
    puzzle = unknowns.read(file)
    with Stopper().listening() as stop, _watching() as progress:
        found = searching.find(
            puzzle,
            wanted,
            seconds=USUAL_SECONDS if given is None else given,
            most=shown,
            stop=stop,
            progress=progress,
        )
    written = [
        _written(puzzle, number, proposal, pictures, files)
        for number, proposal in enumerate(found.proposals, 1)
    ]
    if json:
        print_json(depth_reports.report(puzzle, wanted, found, written, stop.pressed))
    else:
        depth_reports.show(puzzle, wanted, found, written)
        _say_how_far(found, stop.pressed)
    return INTERRUPTED if stop.pressed else FOUND if found.proposals else NONE_FOUND


def _say_how_far(found: Found, stopped: bool) -> None:
    from service.depth_reports import how_far

    if stopped or not found.complete:
        say(("stopped; " if stopped else "") + how_far(found))


def _folder(option: str, text: str | None) -> Path | None:
    """Return a folder to be written to, made if it is not there; raises RequestError."""
    if text is None:
        return None
    if not text or "\0" in text:
        raise RequestError(f"{option}: the name of a folder was expected")
    path = Path(text)
    try:
        path.mkdir(exist_ok=True)
    except FileExistsError:
        raise RequestError(f"{option}: {path} is a file; a folder was expected") from None
    except OSError as error:
        raise RequestError(f"{option}: {path} cannot be made ({error.strerror})") from None
    return path


def _written(
    puzzle: OpenPuzzle,
    number: int,
    proposal: Proposal,
    pictures: Path | None,
    files: Path | None,
) -> Written:
    """Return the text of a proposal's file; write it and its picture where they are wanted."""
    from service.depth_reports import Written

    title = f"{puzzle.name}-{number}-{proposal.pieces}-pieces"
    try:
        compiled, text = (
            _compiled(title, proposal) if pictures or files else (None, _text(proposal))
        )
    except TrefoilError as error:
        return Written(_text(proposal), None, None, str(error))
    file = picture = None
    if files is not None:
        file = files / f"{title}.toml"
        write_file(file, text)
    if pictures is not None and compiled is not None:
        from puzzles.picture import draw

        picture = pictures / f"{title}.svg"
        write_file(picture, draw(compiled))
    return Written(text, file, picture, None)


def _text(proposal: Proposal) -> str:
    from puzzles.puzzle_text import written

    return written(proposal.model)


def _compiled(title: str, proposal: Proposal) -> tuple[Puzzle, str]:
    """Return the puzzle of a proposal and its file's text.

    Words for piece types are left out where the puzzle has no such types. Raises TrefoilError.
    """
    from puzzles import file
    from puzzles.compile import compiled
    from puzzles.puzzle_text import written

    text = written(proposal.model)
    try:
        return compiled(title, file.parse(text, title)), text
    except TrefoilError:
        if not proposal.model.types and isinstance(proposal.model.keep_twists, bool):
            raise
    text = written(proposal.model, without=("types", "keep_twists"))
    return compiled(title, file.parse(text, title)), text


@contextmanager
def _watching() -> Iterator[Progress | None]:
    """Give what shows the progress: a bar on standard error, None where that is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from service.watching import started

    bar, task = started()

    def told(share: float, met: int) -> None:
        words = f"{met} that fit" if met else "none that fits yet"
        bar.update(task, completed=share, level="looking at sizes", best=words)

    try:
        yield told
    finally:
        bar.stop()
