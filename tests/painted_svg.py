"""What an SVG picture of ours shows at a point: the paint of what was drawn there last."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Painted:
    """A shape of a picture: its loops (…, 2), its paint, and its attributes."""

    loops: tuple[Points, ...]
    fill: str
    given: dict[str, str]

    def holds(self, x: float, y: float) -> bool:
        """Return whether a point lies inside, by the even-odd rule."""
        inside = False
        for own in self.loops:
            loop = own.tolist()
            for (ax, ay), (bx, by) in zip(loop, loop[1:] + loop[:1], strict=True):
                if (ay > y) != (by > y):
                    inside ^= x < ax + (y - ay) / (by - ay) * (bx - ax)
        return inside


@dataclass(frozen=True)
class Picture:
    """The painted shapes of a picture in the order in which they are drawn, and its writing."""

    shapes: tuple[Painted, ...]
    words: tuple[tuple[str, float, float], ...]

    @cached_property
    def _boxes(self) -> Points:
        """The least and greatest x and y of each shape, (n, 2, 2)."""
        every = [np.concatenate(own.loops) for own in self.shapes]
        return np.array([[one.min(axis=0), one.max(axis=0)] for one in every])

    def at(self, x: float, y: float) -> Painted | None:
        """Return the last shape that was drawn over a point."""
        low, high = self._boxes[:, 0], self._boxes[:, 1]
        near = np.flatnonzero(((low <= (x, y)) & ((x, y) <= high)).all(axis=1))
        return next((self.shapes[k] for k in near[::-1] if self.shapes[k].holds(x, y)), None)

    def clear(self, x: float, y: float, around: float) -> Painted | None:
        """Return what is at a point if the same is all around it, else None."""
        steps = ((0.0, 0.0), (around, 0.0), (-around, 0.0), (0.0, around), (0.0, -around))
        found = [self.at(x + dx, y + dy) for dx, dy in steps]
        return found[0] if all(one is found[0] for one in found) else None


def picture(text: str) -> Picture:
    """Return what a picture shows; what is only a line, and what is beside the picture, is not."""
    root = ElementTree.fromstring(text)
    shapes: list[Painted] = []
    words: list[tuple[str, float, float]] = []
    _collect(root, root.get("fill", ""), shapes, words)
    return Picture(tuple(shapes), tuple(words))


def _collect(
    element: ElementTree.Element,
    fill: str,
    shapes: list[Painted],
    words: list[tuple[str, float, float]],
) -> None:
    for child in element:
        kind = child.tag.rpartition("}")[2]
        own = child.get("fill", fill)
        if kind in ("defs", "title", "desc"):
            continue
        if kind == "text":
            words.append((child.text or "", float(child.get("x", 0)), float(child.get("y", 0))))
        elif kind in ("polygon", "circle", "path") and own != "none":
            loops = _loops(kind, child)
            if loops:
                shapes.append(Painted(loops, own, dict(child.attrib)))
        _collect(child, own, shapes, words)


def _loops(kind: str, element: ElementTree.Element) -> tuple[Points, ...]:
    if kind == "polygon":
        numbers = [float(one) for one in re.split(r"[\s,]+", element.get("points", "").strip())]
        return (np.array(numbers).reshape(-1, 2),)
    if kind == "circle":
        x, y, r = (float(element.get(name, 0)) for name in ("cx", "cy", "r"))
        angles = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        return (np.column_stack([x + r * np.cos(angles), y + r * np.sin(angles)]),)
    loops = []
    for start, steps in re.findall(r"M([^lLzM]+)l([^z]+)z", element.get("d", "")):
        first = np.array([float(one) for one in start.split()])
        rest = np.array([float(one) for one in steps.split()]).reshape(-1, 2)
        loops.append(np.concatenate([first[None], first + np.cumsum(rest, axis=0)]))
    return tuple(loops)
