"""Puzzle files in which a size is left open with ``?``: what it bounds, and files without it.

Inside, an open size is measured by the bound that it sets: on a ball the angle from the axis to the
circle, in radians, on a solid the depth of the plane. A person reads and writes what stands in the
file for the ``?``: degrees, or a plain number.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from puzzles import file
from puzzles.bodies import SAME, Body
from puzzles.compile import body_of
from puzzles.errors import PuzzleFileError
from puzzles.layering import layers_of
from puzzles.turns import Layer

#: The most sizes that may be left open; a third would need a search of its own.
MOST_UNKNOWN = 2
#: Sizes that are tried until a file can be read with them; three of each kind show a straight line.
_TRIED_DEGREES = ((40.0, 44.0, 50.0), (10.0, 12.0, 15.0), (1.0, 1.5, 2.5), (80.0, 84.0, 95.0))
_TRIED_SIZES = ((0.3, 0.4, 0.6), (0.03, 0.05, 0.09), (1.2, 1.5, 2.1), (0.9, 0.95, 0.98))


@dataclass(frozen=True)
class Unknown:
    """One size that is left open.

    It stands under ``key`` of the table number ``table`` (from 0), as entry number ``entry`` where
    that is a list, and sets the ``low`` or ``high`` bound (``side``) of ``layers``. The bound t is
    ``factor * x + offset`` for an angle or a depth x, from ``least`` to ``most``; for a height x on
    a ball the cosine of t is. ``angle`` says whether x is an angle, ``ball`` whether t is one.
    """

    table: int
    key: str
    entry: int | None
    text: str
    words: str
    layers: tuple[int, ...]
    side: str
    angle: bool
    ball: bool
    factor: float
    offset: float
    least: float
    most: float

    def height(self, bound: float) -> float:
        """Return the height or depth at which a layer with a bound begins or ends."""
        return math.cos(bound) if self.ball else bound

    def written(self, bound: float) -> float:
        """Return what the file would have for the ``?``: degrees or a plain number."""
        if self.ball and self.angle:
            return math.degrees((bound - self.offset) / self.factor)
        return (self.height(bound) - self.offset) / self.factor

    def bound(self, written: float) -> float:
        """Return the bound that a number in place of the ``?`` sets."""
        if self.ball and self.angle:
            return self.factor * math.radians(written) + self.offset
        value = self.factor * written + self.offset
        return math.acos(max(-1.0, min(1.0, value))) if self.ball else value

    def filled(self, size: str) -> str:
        """Return the formula of the file with a size, itself a formula, for the ``?``."""
        if self.text.strip() == "?":
            return size
        simple = size.replace(".", "").replace("deg", "").isalnum() or size.endswith(")")
        return self.text.replace("?", size if simple and "+" not in size else f"({size})")


@dataclass(frozen=True, eq=False)
class OpenPuzzle:
    """A puzzle whose file leaves sizes open: its model, body, layers as an example, unknowns."""

    name: str
    model: file.PuzzleModel
    body: Body
    example: tuple[Layer, ...]
    unknowns: tuple[Unknown, ...]

    def layers(self, bounds: Sequence[float]) -> tuple[Layer, ...]:
        """Return the layers with bounds for the unknowns."""
        result = list(self.example)
        for unknown, bound in zip(self.unknowns, bounds, strict=True):
            for k in unknown.layers:
                height = unknown.height(bound)
                if unknown.side == "low":
                    result[k] = replace(result[k], low=height)
                else:
                    result[k] = replace(result[k], high=height)
        return tuple(result)

    def filled(self, entries: Sequence[str]) -> file.PuzzleModel:
        """Return the model with an entry, a formula without ``?``, for each unknown."""
        return _substituted(self.model, self.unknowns, entries)

    def only(self, kept: int) -> OpenPuzzle:
        """Return the puzzle without the layers that other unknowns bound."""
        gone = {
            k for n, unknown in enumerate(self.unknowns) if n != kept for k in unknown.layers
        } - set(self.unknowns[kept].layers)
        left = [k for k in range(len(self.example)) if k not in gone]
        own = self.unknowns[kept]
        moved = replace(own, layers=tuple(left.index(k) for k in own.layers))
        example = tuple(self.example[k] for k in left)
        return replace(self, example=example, unknowns=(moved,))


def read(name: str) -> OpenPuzzle:
    """Return the puzzle of a file in which one or two sizes are left open.

    A table of layers without a depth has an open one, too. Raises NameNotFoundError and
    PuzzleFileError.
    """
    title, model = file.read(name, unknown=True)
    if isinstance(model, file.WrittenModel):
        raise PuzzleFileError(f"{name}: turns that are written down have no depths to be found")
    try:
        return opened(title, model)
    except PuzzleFileError as error:
        raise PuzzleFileError(f"{name}: {error}") from None


def opened(name: str, model: file.PuzzleModel) -> OpenPuzzle:
    """Return the puzzle of a model in which one or two sizes are left open."""
    ball = model.shape == "ball"
    tables = [
        table
        if table.above is not None or table.within is not None or table.between is not None
        else table.model_copy(update={"within" if ball else "above": "?"})
        for table in model.layers
    ]
    model = model.model_copy(update={"layers": tables})
    places: list[tuple[int, str, int | None, str]] = []
    for number, table in enumerate(tables):
        own: list[tuple[int, str, int | None, str]] = []
        for key in ("above", "within"):
            text = getattr(table, key)
            if isinstance(text, str) and "?" in text:
                own.append((number, key, None, text))
        for entry, text in enumerate(table.between or ()):
            if isinstance(text, str) and "?" in text:
                own.append((number, "between", entry, text))
        if len(own) > 1 or any(text.count("?") > 1 for *_, text in own):
            raise PuzzleFileError(f"layers {number + 1}: one ? at most was expected")
        places += own
    if not places:
        raise PuzzleFileError(
            'no size is left open; write "?" for one that is to be found, such as '
            + ('within = "?"' if ball else 'above = "?"')
        )
    if len(places) > MOST_UNKNOWN:
        raise PuzzleFileError(
            f"{len(places)} sizes are left open, and {MOST_UNKNOWN} at most can be found at once; "
            "give the others a value"
        )
    body = body_of(model)
    return _measured(name, model, body, places)


def _measured(
    name: str, model: file.PuzzleModel, body: Body, places: list[tuple[int, str, int | None, str]]
) -> OpenPuzzle:
    """Find out, by trying, what each open size bounds and how."""
    ball = model.shape == "ball"
    blank = [Unknown(*place, "", (), "", False, ball, 1.0, 0.0, 0.0, 0.0) for place in places]
    complaint: PuzzleFileError | None = None
    choices = [_choices(model, unknown) for unknown in blank]
    for chosen in itertools.product(*choices):
        try:
            seen = [
                layers_of(_substituted(model, blank, _sizes(blank, chosen, which, k)), body)
                for which in range(len(blank))
                for k in range(3)
            ]
        except PuzzleFileError as error:
            complaint = complaint or error
            continue
        found = [
            _unknown(model, body, unknown, chosen[n], seen[3 * n : 3 * n + 3])
            for n, unknown in enumerate(blank)
        ]
        return OpenPuzzle(name, model, body, seen[0], tuple(found))
    assert complaint is not None
    raise PuzzleFileError(str(complaint).replace("(40.0deg)", "?").replace("(0.3)", "?"))


#: Three sizes to be tried, and whether they are degrees.
_Choice = tuple[tuple[float, float, float], bool]


def _choices(model: file.PuzzleModel, unknown: Unknown) -> list[_Choice]:
    """Return the sizes to be tried for an unknown; which kind is right only trying shows."""
    degrees: list[_Choice] = [(three, True) for three in _TRIED_DEGREES]
    plain: list[_Choice] = [(three, False) for three in _TRIED_SIZES]
    if not unknown.ball or unknown.key == "above":
        return plain
    return degrees if unknown.key == "within" else degrees + plain


def _sizes(blank: Sequence[Unknown], chosen: Sequence[_Choice], which: int, k: int) -> list[str]:
    """Return formulas with the first of the chosen sizes, but of one unknown with number k."""
    result = []
    for n, (unknown, (sizes, degrees)) in enumerate(zip(blank, chosen, strict=True)):
        size = sizes[k if n == which else 0]
        result.append(unknown.text.replace("?", f"({size}deg)" if degrees else f"({size})"))
    return result


def _substituted(
    model: file.PuzzleModel, unknowns: Sequence[Unknown], values: Sequence[str]
) -> file.PuzzleModel:
    """Return the model with formulas in place of those that have a ``?``."""
    tables = list(model.layers)
    for unknown, value in zip(unknowns, values, strict=True):
        table = tables[unknown.table]
        update: dict[str, object] = {unknown.key: value}
        if unknown.entry is not None:
            assert table.between is not None
            first, second = table.between
            update = {"between": (value, second) if unknown.entry == 0 else (first, value)}
        tables[unknown.table] = table.model_copy(update=update)
    return model.model_copy(update={"layers": tables})


def _unknown(
    model: file.PuzzleModel,
    body: Body,
    blank: Unknown,
    chosen: _Choice,
    seen: Sequence[tuple[Layer, ...]],
) -> Unknown:
    """Read off which bounds an unknown sets, and the straight line by which it does."""
    where = f"layers {blank.table + 1}"
    sizes, degrees = chosen
    bounds = np.array([[[layer.low, layer.high] for layer in layers] for layers in seen])
    moved = (bounds[0] != bounds[1]) & np.isfinite(bounds[0])
    layers = tuple(np.flatnonzero(moved.any(axis=1)).tolist())
    if not layers:
        raise PuzzleFileError(f"{where}: {blank.text!r} does not depend on the ?")
    side = "low" if moved[layers[0], 0] else "high"
    own = bounds[:, list(layers), 0 if side == "low" else 1]
    if blank.ball and degrees:
        own = np.arccos(own)
        sizes = (math.radians(sizes[0]), math.radians(sizes[1]), math.radians(sizes[2]))
    factor = round(float(own[1, 0] - own[0, 0]) / (sizes[1] - sizes[0]), 12)
    offset = float(own[0, 0]) - factor * sizes[0]
    expected = np.array(sizes)[:, None] * factor + offset
    if np.abs(own - expected).max() > SAME:
        raise PuzzleFileError(
            f"{where}: {blank.text!r}: a ? to which the same is added for all axes was expected, "
            'such as "? + 9deg"'
        )
    example = [seen[0][k] for k in layers]
    least, most = _range(model, body, blank, example, side)
    return replace(
        blank,
        words=_words(model, blank.table),
        layers=layers,
        side=side,
        angle=degrees,
        factor=factor,
        offset=offset,
        least=least,
        most=most,
    )


def _range(
    model: file.PuzzleModel, body: Body, blank: Unknown, layers: Sequence[Layer], side: str
) -> tuple[float, float]:
    """Return the least and the greatest bound that is worth a look.

    Where the opposite of each axis is an axis, too, a layer that reaches beyond the middle does
    what the rest of the puzzle does in one that ends as far on the other side.
    """
    axes = np.array([layer.axis for layer in layers])
    heights = axes @ body.points.T
    least, most = (0.0, math.pi) if blank.ball else (float(heights.min()), float(heights.max()))
    if (np.linalg.norm(axes[:, None] + axes, axis=2) < SAME).any(axis=1).all():
        least, most = (least, math.pi / 2) if blank.ball else (0.0, most)
    if blank.key != "between":
        return least, most
    other = layers[0].high if side == "low" else layers[0].low
    if blank.ball:
        other = math.acos(other)
    # On a ball the low bound is the wide angle.
    least, most = (least, other) if (side == "low") != blank.ball else (other, most)
    if least >= most - SAME:
        raise PuzzleFileError(f"layers {blank.table + 1}: the size of the other end leaves no room")
    return least, most


def _words(model: file.PuzzleModel, number: int) -> str:
    """Return words for the layers of a table: faces, corners, edges, or their axes."""
    axes = [table.axes for table in model.layers]
    own = axes[number]
    said = own if isinstance(own, str) else "layers " + " ".join(own)
    return said if axes.count(own) == 1 else f"{said} (layers {number + 1})"
