"""A solved puzzle as an SVG picture, seen from in front and from behind, with arrows of cycles.

Every sticker of a flat-cut body is seen in exactly one of the views; on a ball the horizon parts
them, and what lies across it is seen in both. Only attributes are used, no styles, scripts or
references, so that the text can stand in any page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from xml.sax.saxutils import escape

from puzzles import enlarging
from puzzles.arrows import LARGEST_DISC, NOWHERE, arrows, disc_radius
from puzzles.ball_picture import BallScene, ball_scenes
from puzzles.enlarging import Detail
from puzzles.names import placement_name, slot_names
from puzzles.paint import CORES, GREY, PALETTE, face_paint
from puzzles.puzzle import Puzzle
from puzzles.solid_picture import SolidScene
from puzzles.svg import number as number_text
from puzzles.svg import text
from puzzles.views import Spot, views

__all__ = ["CORES", "PALETTE", "cycle_stickers", "draw", "face_paint"]

CAPTION = "seen from behind, below"
#: How wide pictures may be, in units of the picture.
WIDTHS = range(120, 2001)
#: The most bodies of fastened pieces that a picture's description lists.
MOST_BODIES = 6


def draw(
    puzzle: Puzzle,
    cycle: Sequence[int] | None = None,
    marked: Iterable[int] = (),
    width: int = 480,
    hidden: bool = True,
    alone: bool = False,
    holding: int = 0,
    cycles: Sequence[Sequence[int]] = (),
) -> str:
    """Return the solved puzzle as the text of an SVG picture.

    ``cycle`` is a tuple of placements: their pieces are outlined, their stickers numbered in order
    and joined by arrows; a step to the other view is a dashed stub with the other's number.
    ``cycles`` are several of these, numbered on from one to the next; one within a slot twists its
    piece, and where its stickers do not show how, an arrow goes round its number.
    On a ball, pieces too small for that stand enlarged below, and rings say where they are.
    ``marked`` are slots to outline; with ``alone`` all others step back, as beside a cycle.
    Without ``hidden`` the second view, from behind and below, is
    left out. ``width`` is in pixels. ``holding`` is the number of the symmetry by which the puzzle
    is held otherwise than its file says.
    Raises ValueError for a width out of bounds and for a cycle of several types.
    """
    if width not in WIDTHS:
        raise ValueError(f"width {width}: {WIDTHS.start} to {WIDTHS.stop - 1} were expected")
    rows = [tuple(int(p) for p in row) for row in ([cycle] if cycle else cycles)]
    if any(len({int(puzzle.type_of[puzzle.slot_of[p]]) for p in row}) > 1 for row in rows):
        raise ValueError("cycle: placements of one type were expected")
    faded = alone or bool(rows)
    outlined = {int(slot) for slot in marked} | {int(puzzle.slot_of[p]) for r in rows for p in r}
    if puzzle.shape == "written":
        from puzzles import written_picture

        said = _title(puzzle, rows), _description(puzzle, rows, outlined)
        return written_picture.draw(puzzle, rows, outlined, width, *said, faded)
    scenes: Sequence[SolidScene | BallScene]
    if puzzle.shape == "ball":
        scenes, whole = ball_scenes(puzzle, width, hidden, holding)
    else:
        both, whole = views(puzzle, width, hidden, holding)
        scenes = [SolidScene(puzzle, view, (width, whole)) for view in both]
    steps, shown, following = _steps(puzzle, rows, [scene.spots for scene in scenes])
    balls = [scene for scene in scenes if isinstance(scene, BallScene)]
    details, height = enlarging.details(puzzle, balls, shown, (width, whole))
    enlarged = _enlarged(puzzle, steps, details)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {number_text(height)}" '
        f'width="{width}" height="{number_text(height)}" role="img">',
        f"<title>{escape(_title(puzzle, rows))}</title>",
        f"<desc>{escape(_description(puzzle, rows, outlined, enlarged))}</desc>",
    ]
    crowded = {step for detail in details if not detail.alone for step in detail.steps}
    here = {step: k for step, k in enumerate(shown) if step not in crowded}
    radius = disc_radius(
        [scene.spots[k] for scene in scenes for k in here.values() if k in scene.spots]
    )
    for number, scene in enumerate(scenes):
        parts.append("<g>")
        if number == 1:
            x, y = scene.frame.mean(axis=0)[0], whole - 7
            size = min(11.0, width / len(CAPTION) * 1.6)
            # A letter is about 0.55 of its size wide, in common sans-serif type.
            x = min(x, width - len(CAPTION) * size * 0.55 / 2 - 2)
            parts.append(text(x, y, size, CAPTION, GREY))
        spots = {step: scene.spots[k] for step, k in here.items() if k in scene.spots}
        rings: list[str] = []
        busy = NOWHERE
        if isinstance(scene, BallScene):
            rings, busy, spots = enlarging.rings(details, scene, shown, spots)
        drawn, busy = arrows(scene, spots, following, radius, busy)
        letters, plain = scene.letters(outlined, faded, busy)
        plain |= set(here.values())
        if isinstance(scene, BallScene):
            # A thick outline would hide what is so small.
            finely = {puzzle.stickers[shown[k]].slot for detail in details for k in detail.steps}
            parts.extend(scene.stickers(outlined, faded, plain, finely))
        else:
            parts.extend(scene.stickers(outlined, faded, plain))
        parts.extend([*rings, *letters, *drawn, "</g>"])
    radius = disc_radius([spot for detail in details for spot in detail.spots(shown).values()])
    for detail in details:
        parts.extend(["<g>", *detail.draw(shown, following, outlined, radius), "</g>"])
    parts.append("</svg>")
    return "\n".join(parts)


Rows = Sequence[tuple[int, ...]]


def _steps(
    puzzle: Puzzle, rows: Rows, spots: Sequence[Mapping[int, Spot]]
) -> tuple[list[int], list[int], list[int]]:
    """Return the placements of all steps, the sticker that stands for each, the step after each.

    Where stickers do not show how their piece sits, each piece is one step.
    """
    steps: list[int] = []
    shown: list[int] = []
    following: list[int] = []
    for row in rows:
        stickers = cycle_stickers(puzzle, row, spots)
        own = [k for k, sticker in enumerate(stickers) if sticker not in stickers[:k]]
        first = len(steps)
        steps += [row[k] for k in own]
        shown += [stickers[k] for k in own]
        following += [first + (k + 1) % len(own) for k in range(len(own))]
    return steps, shown, following


def _title(puzzle: Puzzle, rows: Rows) -> str:
    texts = [" to ".join(placement_name(puzzle, p) for p in row) for row in rows]
    return f"{puzzle.name}: {', '.join(texts)}" if rows else puzzle.name


def _description(puzzle: Puzzle, rows: Rows, outlined: set[int], enlarged: str = "") -> str:
    sentences = [puzzle.description]
    slots = {int(puzzle.slot_of[p]) for row in rows for p in row}
    for one, said in (
        ([row for row in rows if not _stays(puzzle, row)], "go in a cycle"),
        ([row for row in rows if _stays(puzzle, row)], "are twisted in place"),
    ):
        texts = [" to ".join(placement_name(puzzle, p) for p in (*row, row[0])) for row in one]
        if len(texts) > 1:
            said = said.replace("a cycle", "cycles")
        if texts:
            sentences.append(f"The pieces {said}: {'; '.join(texts)}.")
    if puzzle.bonds and len(puzzle.bonds) <= MOST_BODIES:
        names = [" to ".join(slot_names(puzzle)[slot] for slot in own) for own in puzzle.bonds]
        sentences.append("Fastened together: " + "; ".join(names) + ".")
    rest = sorted(outlined - slots)
    if rest:
        sentences.append("Outlined: " + ", ".join(slot_names(puzzle)[slot] for slot in rest) + ".")
    return " ".join([*sentences, enlarged] if enlarged else sentences)


def _stays(puzzle: Puzzle, row: tuple[int, ...]) -> bool:
    return len({int(puzzle.slot_of[p]) for p in row}) == 1


def _enlarged(puzzle: Puzzle, steps: Sequence[int], details: Sequence[Detail]) -> str:
    """Say in a sentence which steps stand in details; nothing where there are none."""
    own = sorted(step for detail in details for step in detail.steps)
    names = [placement_name(puzzle, steps[step]) for step in own]
    return "Enlarged: " + ", ".join(names) + "." if names else ""


def cycle_stickers(
    puzzle: Puzzle, places: tuple[int, ...], spots: Sequence[Mapping[int, Spot]]
) -> list[int]:
    """Return the sticker that stands for each placement, all of one class, most of them seen.

    Where the slots of the type are not painted alike, it is each slot's largest one.
    """
    if places and not puzzle.types[int(puzzle.type_of[puzzle.slot_of[places[0]]])].stickered:
        return [_largest(puzzle, int(puzzle.slot_of[place]), spots) for place in places]
    best: tuple[int, ...] = ()
    most = (-1, 0.0)
    space = {k: spot.space for view in spots for k, spot in view.items()}
    first = [k for k, s in enumerate(puzzle.stickers) if places and _shows(puzzle, k, places[0])]
    for start in first:
        kind = puzzle.stickers[start].kind
        chosen = [
            next(
                k
                for k, s in enumerate(puzzle.stickers)
                if s.kind == kind and _shows(puzzle, k, place)
            )
            for place in places
        ]
        # Of classes seen alike, the first that has room for all numbers.
        least = min(min(space.get(k, 0.0), LARGEST_DISC) for k in chosen)
        value = sum(k in spots[0] for k in chosen), least
        if value > most:
            best, most = tuple(chosen), value
    return list(best)


def _largest(puzzle: Puzzle, slot: int, spots: Sequence[Mapping[int, Spot]]) -> int:
    """Return the sticker of a slot with most room in a view, the first view counting first."""
    own = [k for k, sticker in enumerate(puzzle.stickers) if sticker.slot == slot]
    for view in spots:
        there = [k for k in own if k in view]
        if there:
            return max(there, key=lambda k: (round(view[k].space, 6), -k))
    return own[0]


def _shows(puzzle: Puzzle, sticker: int, place: int) -> bool:
    """Whether a sticker stands for a placement: by its twist, or by its slot if it shows none."""
    own = puzzle.stickers[sticker]
    return own.placement == place or (own.placement < 0 and own.slot == puzzle.slot_of[place])
