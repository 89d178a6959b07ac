"""The puzzle file: TOML read into a checked model, its JSON Schema, and the catalogue's folder."""

from __future__ import annotations

import difflib
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictFloat, StrictInt, ValidationError

from puzzles.complaints import complaint, not_toml
from puzzles.errors import NameNotFoundError, PuzzleFileError

#: The largest puzzle file that is read, in bytes; the catalogue's are below 2,000.
LARGEST_FILE = 100_000

#: Strict, because ``above = true`` is a slip and no 1.
Size = StrictFloat | Annotated[str, Field(max_length=200)]
Point = tuple[Size, Size, Size]


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
    between: tuple[Size, Size] | None = Field(default=None, description="all between two depths")


class PuzzleModel(_Model):
    """A puzzle: a convex body and the layers that turn."""

    description: Annotated[str, Field(min_length=1, max_length=500)]
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
    note: str = Field(default="", description="a sentence that `parts` says, such as on names")


_KEYS = {
    "": [*PuzzleModel.model_fields],
    "body": [*HullModel.model_fields],
    "layers": [*LayersModel.model_fields],
}


def schema() -> dict[str, Any]:
    """Return the JSON Schema of puzzle files."""
    return PuzzleModel.model_json_schema()


def catalogue() -> list[str]:
    """Return the names in the catalogue, in order."""
    folder = resources.files("puzzles") / "catalogue"
    names = [entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return sorted(names)


def read(name: str) -> tuple[str, PuzzleModel]:
    """Return name and model of a catalogue puzzle or of the file at a path.

    Raises NameNotFoundError for an unknown name, PuzzleFileError for a file that is not right.
    """
    if not name.strip():
        raise NameNotFoundError("the puzzle's name is empty")
    known = catalogue()
    if name in known:
        entry = resources.files("puzzles") / "catalogue" / f"{name}.toml"
        return name, parse(entry.read_text(encoding="utf-8"), name)
    path = Path(name)
    if path.suffix == ".toml" or "/" in name or path.exists():
        return path.stem, parse(_text(path), str(path))
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


def parse(text: str, where: str) -> PuzzleModel:
    """Return the model that a puzzle file's text describes; raises PuzzleFileError."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise PuzzleFileError(f"{where}: {not_toml(error)}") from None
    try:
        model = PuzzleModel.model_validate(data)
    except ValidationError as error:
        said = complaint(data, error.errors(include_url=False), _KEYS)
        raise PuzzleFileError(f"{where}: {said}") from None
    for number, layers in enumerate(model.layers, 1):
        if (layers.above is None) == (layers.between is None):
            raise PuzzleFileError(
                f"{where}: layers {number}: give either `above` or `between`, and not both"
            )
    return model
