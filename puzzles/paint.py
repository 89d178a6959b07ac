"""Colours of pictures: the paint of faces, paint that steps back, and ink that stands out on it."""

from __future__ import annotations

from collections.abc import Sequence

from puzzles.bodies import Body
from puzzles.svg import INK, PAPER

#: Colours that can be told apart (Okabe and Ito, Color Universal Design, 2008), then two greys.
PALETTE = (
    "#56B4E9",
    "#D55E00",
    "#F0E442",
    "#0072B2",
    "#009E73",
    "#CC79A7",
    "#E69F00",
    "#EEEEEE",
    "#9A9A9A",
)
#: Where there are more faces than colours, a core of one of these in every sticker of a face.
CORES = ("", "#000000", "#FFFFFF", "#555555", "#E69F00", "#56B4E9")
#: The body between the stickers, and stickers without paint.
BODY, UNPAINTED = "#2B2B2B", "#D2D2D2"
#: A grey that can be read on white and on black paper (contrast above 4.5 on both, WCAG 2).
GREY = "#767676"


def face_paint(body: Body) -> tuple[tuple[str, str], ...]:
    """Return colour and core ("" for none) of every face; no two faces are painted alike."""
    paints: list[tuple[str, str]] = []
    touching = [
        {k for k, f in enumerate(body.faces) if _edge(face.corners, f.corners)}
        for face in body.faces
    ]
    for number in range(len(body.faces)):
        core = CORES[number // len(PALETTE) % len(CORES)]
        near = {paints[k][0] for k in touching[number] if k < number}
        left = [c for c in PALETTE if (c, core) not in paints and c != core]
        paints.append((next((c for c in left if c not in near), left[0]), core))
    return tuple(paints)


def _edge(first: Sequence[int], second: Sequence[int]) -> bool:
    return len(set(first) & set(second)) == 2


def pale(colour: str) -> str:
    """Return a colour mixed with white, to step back behind the pieces of a cycle."""
    parts = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    return "#" + "".join(f"{round(x + (255 - x) * 0.55):02X}" for x in parts)


def ink(colour: str) -> str:
    """Return black or white, whichever stands out more (relative luminance of WCAG 2)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return INK if light > 0.179 else PAPER
