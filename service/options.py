"""The options that several commands share, and their values read from text."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError

if TYPE_CHECKING:
    from search.ranking import Weights
    from search.request import Bounds

PuzzleName = Annotated[
    str, typer.Argument(metavar="PUZZLE", help="A name of the catalogue, or a puzzle file's path.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
Picture = Annotated[
    str | None, typer.Option("--picture", metavar="FILE", help="Draw it too, as SVG.")
]
Layers = Annotated[
    str | None,
    typer.Option("--layers", metavar='"U R F"', help="The only layers that may turn."),
]
Keep = Annotated[
    str | None,
    typer.Option(
        "--keep",
        metavar="TYPE,…",
        help="The piece types that must stay; all others may end up anywhere.",
    ),
]
Free = Annotated[
    str | None,
    typer.Option("--free", metavar="TYPE,…", help="The piece types that may end up anywhere."),
]
Turns = Annotated[
    str | None,
    typer.Option("--turns", metavar="N", help="Look for all of up to N executed turns."),
]
HalfLength = Annotated[
    str | None,
    typer.Option(
        "--half-length",
        metavar="H",
        help="Look at all rings X Y Z X' Y' Z' with H turns in X, Y and Z.",
    ),
]
Setup = Annotated[
    str | None, typer.Option("--setup", metavar="S", help="Allow at most S turns of setup.")
]
Seconds = Annotated[
    str | None,
    typer.Option(
        "--seconds",
        metavar="T",
        help="Stop after T seconds. Without any bound: when the best is proven, or after 20.",
    ),
]
Threads = Annotated[
    str | None, typer.Option("--threads", metavar="N", help="Search with N threads at once.")
]
Cycle = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="A B C",
        help="Three stickers: A goes to where B is, B to where C is, C to where A is.",
    ),
]
Effect = Annotated[
    str | None,
    typer.Option(
        "--effect",
        metavar='"(A B)(C D)"',
        help="Another effect instead of a three-cycle: cycles in brackets, as `trefoil try` "
        "prints them; one within a slot, such as (UFR RUF FUR), twists its piece.",
    ),
]
Kind = Annotated[
    str | None,
    typer.Argument(metavar="[TYPE]", help="A piece type; all that move if none is given."),
]
AnyTwist = Annotated[
    bool,
    typer.Option("--any-twist", help="What goes to another slot may be twisted there in any way."),
]
Apart = Annotated[
    bool, typer.Option("--apart", help="Pieces that look the same may not change places.")
]
Pieces = Annotated[
    str | None,
    typer.Option("--pieces", metavar='"UFR=UBL …"', help="In the slot UFR sits the piece of UBL."),
]
Stickers = Annotated[
    str | None,
    typer.Option(
        "--stickers",
        metavar='"UFR=RUF …"',
        help="In the slot UFR the sticker on U has the colour of R, F that of U, R that of F.",
    ),
]
Colours = Annotated[
    str | None,
    typer.Option(
        "--colours", metavar='"U=white …"', help="What the colours of the stickers are called."
    ),
]
Alike = Annotated[
    bool, typer.Option("--alike", help="Pieces that look the same may change places.")
]
Most = Annotated[
    str | None, typer.Option("--most", metavar="N", help="Show at most N answers or lines.")
]
LeftHanded = Annotated[
    bool, typer.Option("--left-handed", help="Rank by what is easy for the left hand.")
]
Weighed = Annotated[
    str | None,
    typer.Option(
        "--weights",
        metavar="turns=1,hands=2",
        help="How much turns, layers, memory and hands count in the order of the answers.",
    ),
]
Service = Annotated[
    str | None,
    typer.Option(
        "--server",
        metavar="URL",
        envvar="TREFOIL_SERVER",
        show_envvar=False,
        help="Ask the service at this address; else the one that TREFOIL_SERVER names, if any.",
    ),
]
Share = Annotated[
    bool, typer.Option("--share", help="Print the link to the result's page on the service, last.")
]


#: What a whole number looks like; longer ones are none that anything here could use.
WHOLE = re.compile(r"[+-]?[0-9]{1,18}", re.ASCII)


def whole(option: str, text: str | None) -> int | None:
    """Return the whole number that was given for an option; raises RequestError."""
    if text is None:
        return None
    if not WHOLE.fullmatch(text.strip()):
        raise RequestError(f"{option}: a whole number was expected, and {text[:20]!r} was given")
    return int(text)


def _decimal(option: str, text: str | None) -> float | None:
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        raise RequestError(
            f"{option}: a number was expected, and {text[:20]!r} was given"
        ) from None


def bounds(
    turns: str | None, half_length: str | None, setup: str | None, seconds: str | None
) -> Bounds:
    """Return checked bounds; raises RequestError."""
    from search.request import Bounds

    return Bounds(
        whole("--turns", turns),
        whole("--half-length", half_length),
        whole("--setup", setup),
        _decimal("--seconds", seconds),
    )


def seconds(text: str | None) -> float | None:
    """Return the time limit that was given in seconds, None for none; raises RequestError."""
    from search.request import Bounds

    return Bounds(seconds=_decimal("--seconds", text)).seconds


def number(name: str, text: str | None, least: int, most: int, usual: int) -> int:
    """Return a number that was asked for, or the usual one; raises RequestError."""
    value = whole(f"--{name}", text)
    if value is None:
        return usual
    if not least <= value <= most:
        raise RequestError(f"{name} {value}: a number from {least} to {most:,} was expected")
    return value


def listed(text: str | None) -> list[str] | None:
    """Return the names in a text, None for none given, as a service reads them."""
    return None if text is None else text.replace(",", " ").split()


def not_far(threads: str | None) -> None:
    """Refuse what is said about searching on this machine when a service is to search."""
    if threads is not None:
        raise RequestError("--threads is for searches on this machine, not for those of a service")


def weighed(text: str | None) -> dict[str, float] | None:
    """Return weights by name from text such as ``turns=1,hands=2``; raises RequestError."""
    from search.ranking import Weights

    if text is None:
        return None
    names = [column.name for column in fields(Weights)]
    given: dict[str, float] = {}
    for part in text.replace(",", " ").split():
        name, sign, value = part.partition("=")
        try:
            weight = float(value) if sign else None
        except ValueError:
            weight = None
        if name not in names or weight is None:
            raise RequestError(
                f"weights: {part[:40]!r} was given; a name and a number are right, such as"
                f" turns=1,hands=2; the names are {' '.join(names)}"
            )
        given[name] = weight
    # What is not named keeps its usual weight; a weight that cannot be is refused.
    Weights(**given)
    return given


def weights(text: str | None) -> Weights | None:
    """Return weights from text such as ``turns=1,hands=2``; raises RequestError."""
    from search.ranking import Weights

    given = weighed(text)
    return None if given is None else Weights(**given)
