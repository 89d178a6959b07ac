"""The puzzle file: TOML read into a checked model, its JSON Schema, and the catalogue's folder."""

from __future__ import annotations

import difflib
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    TypeAdapter,
    ValidationError,
)

from puzzles.complaints import complaint, not_toml
from puzzles.errors import NameNotFoundError, PuzzleFileError

#: The largest puzzle file that is read, in bytes; the catalogue's are below 2,000.
LARGEST_FILE = 100_000

#: Strict, because ``above = true`` is a slip and no 1.
Size = StrictFloat | Annotated[str, Field(max_length=200)]
Point = tuple[Size, Size, Size]
Spot = tuple[Size, Size]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class HullModel(_Model):
    """A body that is the convex hull of points; ``faces`` gives a direction for each letter."""

    points: Annotated[list[Point], Field(min_length=4, max_length=120)]
    faces: dict[Annotated[str, Field(pattern="^[A-Za-z]$")], Point] | None = None


class LayersModel(_Model):
    """Layers of one kind: their axes, how they are named, where they begin and end."""

    axes: Literal["faces", "corners", "edges"] | Annotated[list[str], Field(min_length=1)] = Field(
        description="every axis of a kind, or axes by the letters of the faces they lie between"
    )
    names: list[str] | str | None = Field(
        default=None,
        description="one name an axis, or one name for all in which {axis} stands for the letters",
    )
    steps: Annotated[StrictInt, Field(ge=2, le=24)] = Field(
        description="smallest steps in a full turn"
    )
    above: Size | None = Field(default=None, description="all that is farther out than this")
    within: Size | None = Field(
        default=None, description="on a ball, all within this angle of the axis"
    )
    between: tuple[Size, Size] | None = Field(
        default=None, description="all between two depths, or on a ball between two angles"
    )
    stops: Annotated[list[Size], Field(min_length=1, max_length=24)] | None = Field(
        default=None, description="the angles at which a layer may stop, besides where it starts"
    )


class PuzzleModel(_Model):
    """A puzzle: a convex body and the layers that turn."""

    description: Annotated[str, Field(min_length=1, max_length=500)]
    shape: Literal["solid", "ball"] = Field(
        default="solid", description="the body itself, cut by planes, or a ball painted like it"
    )
    paint: StrictBool = Field(default=True, description="whether a ball is painted like the body")
    closed: StrictBool = Field(
        default=True,
        description="whether the cuts of a ball are carried on until no turn is ever blocked",
    )
    body: (
        Literal[
            "tetrahedron",
            "cube",
            "octahedron",
            "dodecahedron",
            "icosahedron",
            "rhombic-dodecahedron",
            "rhombic dodecahedron",
        ]
        | HullModel
    )
    up: str = Field(description="the face or corner, by letters, that is held on top")
    front: str = Field(description="the face, edge or corner, by letters, that is held in front")
    layers: Annotated[list[LayersModel], Field(min_length=1, max_length=20)]
    types: dict[str, str] = Field(
        default_factory=dict, description="own words for piece types, by the name they would have"
    )
    keep_twists: StrictBool | list[str] = Field(
        default=False, description="types whose twists are told apart although paint hides them"
    )
    accept: Annotated[StrictFloat, Field(gt=0.5, le=1)] | None = Field(
        default=None, description="how much of its new slot a piece must cover, 0.5 to 1"
    )
    accept_gap: Size | None = Field(
        default=None, description="or how far outlines may be apart, as an angle"
    )
    bonds: Annotated[list[Annotated[list[str], Field(min_length=2)]], Field(max_length=200)] = (
        Field(default_factory=list, description="slots whose pieces are fastened together")
    )
    note: str = Field(default="", description="a sentence that `parts` says, such as on names")


class TurnModel(_Model):
    """A turn by what it does: ``(1 2 3+1)`` takes 1 to 2, 2 to 3 with a twist, and 3 to 1."""

    name: Annotated[str, Field(min_length=1, max_length=12, pattern="^[0-9]*[A-Za-z]+$")]
    cycles: Annotated[str, Field(min_length=1, max_length=20_000)] = Field(
        description="cycles of numbered places; +k after a place: what comes there arrives twisted"
    )


class WrittenModel(_Model):
    """A puzzle without geometry: numbered places, and turns as cycles of them."""

    description: Annotated[str, Field(min_length=1, max_length=500)]
    shape: Literal["written"] = Field(description="turns are written down, nothing is cut")
    places: Annotated[StrictInt, Field(ge=2, le=1000)] = Field(
        description="how many numbered places there are"
    )
    names: dict[str, str] | list[str] = Field(
        default_factory=dict, description="own names of places; the number is the name of others"
    )
    twists: dict[str, Annotated[StrictInt, Field(ge=1, le=60)]] = Field(
        default_factory=dict,
        description='in how many ways a piece can sit in some places, such as {"1-8" = 3}',
    )
    turns: Annotated[list[TurnModel], Field(min_length=1, max_length=62)]
    positions: dict[str, Spot] | list[Spot] = Field(
        default_factory=dict, description="where a picture shows the places: across and up"
    )
    colours: dict[str, str] = Field(
        default_factory=dict, description="colours of the pieces of some places, for pictures"
    )
    alike: list[str] = Field(
        default_factory=list, description='places whose pieces look the same, such as ["1-5 9"]'
    )
    bonds: Annotated[
        list[Annotated[list[str | StrictInt], Field(min_length=2)]], Field(max_length=200)
    ] = Field(default_factory=list, description="places whose pieces are fastened together")
    types: dict[str, str] = Field(
        default_factory=dict, description="own words for piece types, by the name they would have"
    )
    note: str = Field(default="", description="a sentence that `parts` says, such as on names")


#: What a puzzle file may describe.
Model = PuzzleModel | WrittenModel

_KEYS = {
    "": [*PuzzleModel.model_fields],
    "body": [*HullModel.model_fields],
    "layers": [*LayersModel.model_fields],
}
_WRITTEN_KEYS = {"": [*WrittenModel.model_fields], "turns": [*TurnModel.model_fields]}


def schema() -> dict[str, Any]:
    """Return the JSON Schema of puzzle files."""
    return TypeAdapter[Model](Model).json_schema()


def catalogue() -> list[str]:
    """Return the names in the catalogue, in order."""
    folder = resources.files("puzzles") / "catalogue"
    names = [entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return sorted(names)


def read(name: str, unknown: bool = False) -> tuple[str, Model]:
    """Return name and model of a catalogue puzzle or of the file at a path.

    With ``unknown``, layers may be given without depths. Raises NameNotFoundError for an unknown
    name, PuzzleFileError for a file that is not right.
    """
    title, text = found(name)
    return title, parse(text, name, unknown)


def found(name: str) -> tuple[str, str]:
    """Return name and text of a catalogue puzzle or of the file at a path; raises as ``read``."""
    if not name.strip():
        raise NameNotFoundError("the puzzle's name is empty")
    known = catalogue()
    if name in known:
        entry = resources.files("puzzles") / "catalogue" / f"{name}.toml"
        return name, entry.read_text(encoding="utf-8")
    path = Path(name)
    if path.suffix == ".toml" or "/" in name or path.exists():
        return path.stem, _text(path)
    near = difflib.get_close_matches(name, known, n=3, cutoff=0.4)
    hint = f"did you mean {' or '.join(near)}" if near else "`trefoil puzzles` lists them"
    raise NameNotFoundError(
        f"there is no puzzle {name!r} in the catalogue; {hint}?"
        if near
        else f"there is no puzzle {name!r} in the catalogue; {hint}"
    )


def _text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise PuzzleFileError(f"{path}: cannot be read ({error.strerror})") from None
    if len(data) > LARGEST_FILE:
        raise PuzzleFileError(f"{path}: a puzzle file has at most {LARGEST_FILE:,} bytes")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise PuzzleFileError(f"{path}: a puzzle file is text in UTF-8") from None


def parse(text: str, where: str, unknown: bool = False) -> Model:
    """Return the model that a puzzle file's text describes; raises PuzzleFileError.

    With ``unknown``, layers may be given without depths.
    """
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise PuzzleFileError(f"{where}: {not_toml(error)}") from None
    written = data.get("shape") == "written"
    try:
        if written:
            return WrittenModel.model_validate(data)
        model = PuzzleModel.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False)
        said = complaint(data, found, _WRITTEN_KEYS if written else _KEYS, written)
        raise PuzzleFileError(f"{where}: {said}") from None
    _agreeing(model, where, unknown)
    return model


def _agreeing(model: PuzzleModel, where: str, unknown: bool) -> None:
    """Refuse keys that do not go together."""
    ball = model.shape == "ball"
    for number, layers in enumerate(model.layers, 1):
        given = [k for k in ("above", "within", "between") if getattr(layers, k) is not None]
        if len(given) != 1 and not (unknown and not given):
            either = "`above`, `within` or `between`" if ball else "`above` or `between`"
            raise PuzzleFileError(
                f"{where}: layers {number}: give either {either}, and not "
                + ("both" if not ball else "several")
            )
        if given == ["within"] and not ball:
            raise PuzzleFileError(
                f'{where}: layers {number}: `within` is for balls (shape = "ball"); a solid\'s '
                "layers are given by `above` or `between`"
            )
    for key in ("paint", "closed", "accept", "accept_gap"):
        if not ball and key in model.model_fields_set:
            raise PuzzleFileError(f'{where}: `{key}` is for balls (shape = "ball")')
    if model.accept is not None and model.accept_gap is not None:
        raise PuzzleFileError(f"{where}: give either `accept` or `accept_gap`, and not both")
