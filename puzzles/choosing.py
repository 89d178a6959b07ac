"""What may be chosen for a new puzzle: bodies, kinds of axes, their steps, and how deep to cut."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.bodies import BODIES, SAME, Body, Vectors
from puzzles.symmetry import matrices

#: The kinds of axes by the names they have in a choice. "others" are corners that are unlike those
#: of "corners": no turn carries one to the other.
KINDS = ("faces", "corners", "others", "edges")
#: Which face or corner is up and which face is in front, where that is not U and F.
_HELD = {
    "tetrahedron": ("FRL", "F"),
    "icosahedron": ("A", "K"),
    "rhombic-dodecahedron": ("A", "E"),
}
#: Depths to begin with, each with a puzzle of few pieces in which neighbouring layers share some.
_DEPTHS = {
    ("tetrahedron", "faces"): "0",
    ("tetrahedron", "corners"): "1/3",
    ("tetrahedron", "edges"): "1/3",
    ("cube", "faces"): "1/3",
    ("cube", "corners"): "0.8",
    ("cube", "edges"): "1/sqrt(2)",
    ("octahedron", "faces"): "1/3",
    ("octahedron", "corners"): "0.4",
    ("octahedron", "edges"): "0.7",
    ("dodecahedron", "faces"): "3/4",
    ("dodecahedron", "corners"): "1",
    ("dodecahedron", "edges"): "1",
    ("icosahedron", "faces"): "0.8",
    ("icosahedron", "corners"): "0.7",
    ("icosahedron", "edges"): "1",
    ("rhombic-dodecahedron", "faces"): "3/4",
    ("rhombic-dodecahedron", "corners"): "0.5",
    ("rhombic-dodecahedron", "others"): "0.7",
}
#: On a ball, the angle to begin with as a share of that between neighbouring axes: beyond one half
#: layers share pieces.
_SHARE = 0.56
#: The roundest number of parts into which a slider's range is divided.
_STEPS = {"solid": 0.005, "ball": 0.25}


@dataclass(frozen=True)
class Depths:
    """How deep layers of a kind may be cut: from ``least`` to ``most``, first at ``size``.

    On a solid a depth along the axis, on a ball an angle from it in degrees; ``size`` as it stands
    in a puzzle file. ``step`` is how far a slider moves at once.
    """

    least: float
    most: float
    step: float
    size: str


@dataclass(frozen=True)
class Kind:
    """Axes of one kind: their letters, smallest steps that carry the body to itself, and depths.

    ``all`` says whether they are all axes of the body's faces, corners or edges.
    """

    name: str
    axes: tuple[str, ...]
    all: bool
    steps: int
    solid: Depths
    ball: Depths

    @property
    def words(self) -> str:
        """The kind in words: "faces", or "corners of 4 faces" where there are several kinds."""
        if self.all:
            return self.name
        return f"corners of {len(self.axes[0])} faces"


@dataclass(frozen=True)
class Choices:
    """What may be chosen on one body, and how it is held."""

    body: str
    faces: tuple[str, ...]
    up: str
    front: str
    kinds: tuple[Kind, ...]

    def kind(self, name: str) -> Kind | None:
        """Return the kind of axes with a name, None where the body has none that can turn."""
        return next((own for own in self.kinds if own.name == name), None)


@lru_cache(maxsize=len(BODIES))
def choices(name: str) -> Choices:
    """Return what may be chosen on the body with a name."""
    body = BODIES[name]()
    up, front = _HELD.get(name, ("U", "F"))
    turns = [m for m in matrices(body.points) if np.linalg.det(m) > 0]
    found = []
    for kind in ("faces", "corners", "edges"):
        axes = body.axes(kind)
        orders = [_order(direction, turns) for _, direction in axes]
        # The axes with the most steps first; those with none cannot turn.
        for number, order in enumerate(sorted(set(orders) - {1}, reverse=True)):
            own = [x for x, steps in zip(axes, orders, strict=True) if steps == order]
            title = kind if number == 0 else "others"
            found.append(_kind(name, body, title, own, len(own) == len(axes), order))
    faces = tuple(face.name for face in body.faces)
    ordered = tuple(sorted(found, key=lambda own: KINDS.index(own.name)))
    return Choices(name, faces, up, front, ordered)


def _order(axis: Vectors, turns: list[Vectors]) -> int:
    """Return how many rotations of a body leave an axis where it is, the one by nothing too."""
    return sum(bool(np.abs(turn @ axis - axis).max() < 1e-6) for turn in turns)


def _kind(
    name: str, body: Body, kind: str, axes: list[tuple[str, Vectors]], every: bool, steps: int
) -> Kind:
    directions = np.array([direction for _, direction in axes])
    heights = directions @ body.points.T
    products = directions @ directions.T
    opposite = bool((products.min(axis=1) < SAME - 1).all())
    # What a layer does that reaches beyond the middle, the opposite one does as well.
    least = 0.0 if opposite else float(heights.min())
    nearest = math.degrees(math.acos(float(products[products < 1 - SAME].max())))
    return Kind(
        kind,
        tuple(letters for letters, _ in axes),
        every,
        steps,
        Depths(least, float(heights.max()), _STEPS["solid"], _DEPTHS[name, kind]),
        Depths(0.0, 90.0 if opposite else 180.0, _STEPS["ball"], f"{round(_SHARE * nearest)}deg"),
    )
