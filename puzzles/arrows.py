"""Numbers and arrows of cycles in the views of a picture, all numbers on discs of one size.

A step from one view to the other is shown in both: by a dashed stub from the disc to a white one
with the next number, and by one to the disc from a white one with the number before.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from puzzles.bodies import Vectors
from puzzles.svg import INK, PAPER, pair, points, text
from puzzles.svg import number as n
from puzzles.views import Scene, Spot

#: How far arrows bend aside, as a share of their length, in the order in which it is tried.
BENDS = (0.22, -0.22, 0.5, -0.5, 0.9, -0.9, 1.5, -1.5)
#: How many directions are tried for a stub.
DIRECTIONS = 32
#: The least room between an arrow and a disc that it does not belong to.
CLEAR = 3.0
#: On a sticker with less room than this share of its radius a disc would hide all that is seen; it
#: stands beside the sticker then, so far away.
HIDING, BESIDE = 0.8, 3.0
#: The same share for numbers that no arrows join, for which there is always room.
HIDING_ALONE = 1.3
LARGEST_DISC, SMALLEST_DISC = 9.0, 6.0
LONGEST_HEAD, SHORTEST_HEAD = 9.0, 4.0
#: How far from its disc an arrow goes that leads round it, and how long its heads are.
SPIN, SPIN_HEAD = 4.5, 7.0
#: No points (0, 2) at all.
NOWHERE = np.empty((0, 2))


def disc_radius(spots: Iterable[Spot]) -> float:
    """Return the radius of the number discs: what fits on all stickers of a cycle, in bounds."""
    least = min((spot.space for spot in spots), default=0.0)
    return min(LARGEST_DISC, max(SMALLEST_DISC, least * 0.62))


def numbers(scene: Scene, spots: Mapping[int, Spot], radius: float) -> list[str]:
    """Number some steps of a cycle, given where they are in a view, without arrows."""
    places = _places(scene, spots, radius, HIDING_ALONE)
    result = []
    for k, spot in spots.items():
        if places[k] is not spot.place:
            result.extend(_pointer(places[k], spot.place, radius))
    return result + [disc(place, radius, k + 1, seen=True) for k, place in places.items()]


def arrows(
    scene: Scene,
    spots: Mapping[int, Spot],
    following: Sequence[int],
    radius: float,
    busy: Vectors = NOWHERE,
) -> tuple[list[str], Vectors]:
    """Number steps of cycles, given where they are in a view, and draw arrows and stubs.

    ``following`` has the step after each step, which is the same one for a piece that is twisted
    and whose stickers do not show how: an arrow with two heads goes round it then. Steps without a
    spot are shown elsewhere. ``busy`` are points (…, 2) of other lines. Returns them and points
    along arrows and around discs, for letters to keep clear of.
    """
    before = {after: step for step, after in enumerate(following)}
    places = _places(scene, spots, radius, HIDING)
    #: Stickers with their number beside them, which arrows had better not hide.
    small: list[Vectors] = []
    result: list[str] = []
    for k, spot in spots.items():
        if places[k] is not spot.place:
            result.extend(_pointer(places[k], spot.place, radius))
            small.append(spot.place)
            busy = np.concatenate([busy, spot.place[None]])
    for k, start in places.items():
        after = following[k]
        if after == k:
            drawn, along = spin(start, radius)
            result.extend(drawn)
            busy = np.concatenate([busy, along])
        elif after in places:
            others = [p for j, p in places.items() if j not in (k, after)] + small
            drawn, along = bent_arrow(start, places[after], radius, others)
            result.extend(drawn)
            busy = np.concatenate([busy, along])
    discs = [disc(place, radius, k + 1, seen=True) for k, place in places.items()]
    taken = [*places.values()]
    for k, place in places.items():
        for other, outward in ((following[k], True), (before[k], False)):
            if other in places:
                continue
            far = _stub_end(scene, place, radius, [*taken, *small], busy)
            taken.append(far)
            ends = (place, far) if outward else (far, place)
            drawn, along = _straight(*ends, radius)
            result.extend(drawn)
            busy = np.concatenate([busy, along, far[None]])
            discs.append(disc(far, radius, other + 1, seen=False))
    angles = np.linspace(0.0, 2 * math.pi, 12, endpoint=False)[:, None]
    around = radius * np.hstack([np.cos(angles), np.sin(angles)])
    for place in taken:
        busy = np.concatenate([busy, place[None], place + around])
    return [*result, *discs], busy


def _places(
    scene: Scene, spots: Mapping[int, Spot], radius: float, hiding: float
) -> dict[int, Vectors]:
    """Return the middle of each number's disc: on its sticker, or beside one that it would hide."""
    places = {k: spot.place for k, spot in spots.items()}
    low, high = scene.limits[0] + radius + 1.0, scene.limits[1] - radius - 1.0
    for k, spot in spots.items():
        if spot.space >= radius * hiding and not spot.apart:
            continue
        away = radius + (spot.apart or spot.space + BESIDE)
        out = spot.place - scene.middle
        out = out / max(float(np.linalg.norm(out)), 1e-6)
        others = [place for j, place in places.items() if j != k]
        others += [other.place for j, other in spots.items() if j != k]
        ahead = np.array([other.place - spot.place for j, other in spots.items() if j != k])
        ahead = ahead.reshape(-1, 2) / np.maximum(np.linalg.norm(ahead, axis=-1), 1e-6)[..., None]
        best, chosen = -math.inf, spot.place
        for angle in np.linspace(0.0, 2 * math.pi, DIRECTIONS, endpoint=False):
            way = np.array([math.cos(angle), math.sin(angle)])
            place = spot.place + way * away
            near = min([float(np.linalg.norm(place - other)) for other in others], default=99.0)
            beyond = float(np.maximum(np.maximum(low - place, place - high), 0.0).sum())
            value = min(near, 4 * radius) / radius + 0.3 * float(way @ out) - beyond
            value -= max(0.0, 2 * radius + CLEAR + SHORTEST_HEAD - near)
            # On the side of the others, lest arrows to them cross the sticker.
            value += 0.6 * float((ahead @ way).sum())
            if value > best + 1e-9:
                best, chosen = value, place
        places[k] = chosen
    return places


def _pointer(place: Vectors, to: Vectors, radius: float) -> list[str]:
    """Draw a line from a disc to the sticker that it stands beside."""
    way = (to - place) / np.linalg.norm(to - place)
    line = f"M{pair(place + way * radius)}L{pair(to)}"
    return [
        f'<path d="{line}" fill="none" stroke="{PAPER}" stroke-width="3"/>',
        f'<path d="{line}" fill="none" stroke="{INK}" stroke-width="1.2"/>',
    ]


def disc(place: Vectors, radius: float, number: int, seen: bool) -> str:
    """Return a number on a disc: black on its sticker, white for one in the other view."""
    (x, y), size = place, radius * 1.45
    fill, rim = (INK, PAPER) if seen else (PAPER, INK)
    return (
        f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(radius)}" fill="{fill}" stroke="{rim}" '
        f'stroke-width="1"/>{text(x, y + size * 0.36, size, str(number), rim)}'
    )


def spin(place: Vectors, radius: float) -> tuple[list[str], Vectors]:
    """Draw an arrow half round a disc with a head at both ends; points along it, too.

    It says that a piece is twisted; which way does not show.
    """
    wide = radius + SPIN
    angles = np.linspace(-0.05 * math.pi, 1.05 * math.pi, 13)
    along = place + wide * np.column_stack([np.cos(angles), np.sin(angles)])
    path = f"M{pair(along[0])}A{n(wide)} {n(wide)} 0 1 1 {pair(along[-1])}"
    heads = []
    for end, angle, sense in ((along[0], angles[0], -1.0), (along[-1], angles[-1], 1.0)):
        way = sense * np.array([-math.sin(angle), math.cos(angle)])
        heads.append(_head(_barbs(end + way * SPIN_HEAD, way, SPIN_HEAD)))
    return [
        f'<path d="{path}" fill="none" stroke="{PAPER}" stroke-width="5"/>',
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="2.4"/>',
        *heads,
    ], along


def bent_arrow(
    start: Vectors,
    end: Vectors,
    radius: float,
    others: Sequence[Vectors],
    bends: Sequence[float] = BENDS,
) -> tuple[list[str], Vectors]:
    """Draw an arrow that bends aside, from rim to rim of two discs; points along it, too.

    It bends as little as leaves room for its head and keeps clear of the other discs.
    """
    best: tuple[float, str, Vectors, Vectors] | None = None
    for share in bends:
        path, barbs, along, length = _bent(start, end, radius, share)
        line = np.concatenate([along, barbs])
        room_left = min(
            [float(np.linalg.norm(line - place, axis=1).min()) - radius - CLEAR for place in others]
            + [float(np.linalg.norm(barbs - start, axis=1).min()) - radius - 1.5, length - 10.0]
        )
        if best is None or room_left > best[0] + 1e-6:
            best = room_left, path, barbs, along
        if room_left >= 0:
            break
    assert best is not None
    _, path, barbs, along = best
    return [
        f'<path d="{path}" fill="none" stroke="{PAPER}" stroke-width="5"/>',
        _head(barbs),
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="2.4"/>',
    ], along


def _bent(
    start: Vectors, end: Vectors, radius: float, share: float
) -> tuple[str, Vectors, Vectors, float]:
    """Return path, head (3, 2), points along and length of an arrow that bends by a share."""
    way = end - start
    bend = (start + end) / 2 + np.array([-way[1], way[0]]) * share
    leave, arrive = bend - start, end - bend
    leave, arrive = leave / np.linalg.norm(leave), arrive / np.linalg.norm(arrive)
    first, tip = start + leave * radius, end - arrive * (radius + 2.0)
    length = float(np.linalg.norm(bend - first) + np.linalg.norm(tip - bend))
    length = (length + float(np.linalg.norm(tip - first))) / 2
    head = min(LONGEST_HEAD, max(SHORTEST_HEAD, length * 0.4))
    base = tip - arrive * head
    steps = np.linspace(0.0, 1.0, 13)[:, None]
    along = (1 - steps) ** 2 * first + 2 * steps * (1 - steps) * bend + steps**2 * base
    return f"M{pair(first)}Q{pair(bend)} {pair(base)}", _barbs(tip, arrive, head), along, length


def _barbs(tip: Vectors, way: Vectors, head: float) -> Vectors:
    base = tip - way * head
    side = np.array([-way[1], way[0]]) * head * 0.45
    return np.array([tip, base + side, base - side])


def _head(barbs: Vectors) -> str:
    return f'<polygon points="{points(barbs)}" fill="{INK}" stroke="{PAPER}" stroke-width="1.2"/>'


def _stub_length(radius: float) -> float:
    """Return how far apart the middles of the discs at both ends of a stub are."""
    return 3 * radius + 11.0


def _stub_end(
    scene: Scene,
    place: Vectors,
    radius: float,
    taken: list[Vectors],
    busy: Vectors,
) -> Vectors:
    """Return where the disc at the far end of a stub has most room, towards the outside if it may.

    ``taken`` are the middles of discs, ``busy`` points of arrows.
    """
    low = np.maximum(scene.frame.min(axis=0) - 6.0, scene.limits[0] + radius + 1.0)
    high = np.minimum(scene.frame.max(axis=0) + 6.0, scene.limits[1] - radius - 1.0)
    out = place - scene.middle
    out = out / max(float(np.linalg.norm(out)), 1e-6)
    others = np.array([p for p in taken if p is not place]).reshape(-1, 2)
    best, chosen = -math.inf, place
    for k in range(DIRECTIONS):
        angle = 2 * math.pi * k / DIRECTIONS
        way = np.array([math.cos(angle), math.sin(angle)])
        far = place + way * _stub_length(radius)
        line = place + way * np.linspace(radius, _stub_length(radius), 6)[:, None]
        beyond = float(np.maximum(np.maximum(low - far, far - high), 0.0).sum())
        discs = [float(np.linalg.norm(line - other, axis=1).min()) for other in others]
        discs += [float(np.linalg.norm(others - far, axis=1).min()) - radius] if discs else []
        wires = float(np.linalg.norm(busy - far, axis=1).min(initial=math.inf))
        crowded = max(0.0, radius + 2 * CLEAR - min(discs, default=math.inf))
        crowded += max(0.0, radius + CLEAR - wires)
        value = float(way @ out) - beyond * 5 - crowded
        if value > best + 1e-9:
            best, chosen = value, far
    return chosen


def _straight(start: Vectors, end: Vectors, radius: float) -> tuple[list[str], Vectors]:
    """Draw a dashed arrow from rim to rim of two discs; points along it, too."""
    way = (end - start) / np.linalg.norm(end - start)
    tip, head = end - way * (radius + 2.0), 5.5
    first, last = start + way * (radius + 1.0), tip - way * head
    cuts = first + np.linspace(0.0, 1.0, 6)[:, None] * (last - first)
    dashes = "".join(f"M{pair(cuts[k])}L{pair(cuts[k + 1])}" for k in (0, 2, 4))
    return [
        f'<path d="M{pair(first)}L{pair(last)}" fill="none" stroke="{PAPER}" stroke-width="5"/>',
        _head(_barbs(tip, way, head)),
        f'<path d="{dashes}" fill="none" stroke="{INK}" stroke-width="2"/>',
    ], np.array([first, (first + last) / 2, tip])
