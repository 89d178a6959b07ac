"""What somebody chooses for a new puzzle, and the puzzle file that says so."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from puzzles import file
from puzzles.choosing import KINDS, Choices, Kind, choices
from puzzles.laws import joined
from puzzles.puzzle_text import written

#: A size as somebody writes it: a number, on a ball of degrees, or a formula; empty for no layers.
Size = Annotated[str, Field(max_length=200)]
Steps = Annotated[int, Field(ge=2, le=24)]
#: The sizes of a choice by their names, in the order in which a file has them.
SIZES = tuple(name for kind in KINDS for name in (kind, f"{kind}_inner"))
#: A plain number, as a file has it without quotes.
_PLAIN = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,12})?", re.ASCII)
_PARTS = {
    2: "halves",
    3: "thirds",
    4: "quarters",
    5: "fifths",
    6: "sixths",
    8: "eighths",
    10: "tenths",
    12: "twelfths",
}

BodyName = Literal[
    "tetrahedron", "cube", "octahedron", "dodecahedron", "icosahedron", "rhombic-dodecahedron"
]


class Choice(BaseModel):
    """A body, and for each kind of axes how deep its layers are cut and in what steps they turn.

    Layers of a kind without a size do not turn. With an inner size there are inner layers as well,
    each from there to where the outer one begins.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    body: BodyName = Field(default="cube", description="the body")
    shape: Literal["solid", "ball"] = Field(
        default="solid", description="the body itself, or a ball painted like it"
    )
    description: str = Field(default="", max_length=500, description="what the puzzle is, in words")
    faces: Size = Field(default="", description="how deep layers at faces are cut")
    faces_inner: Size = Field(default="", description="where their inner layers end")
    faces_steps: Steps | None = Field(default=None, description="their smallest steps to a turn")
    corners: Size = Field(default="", description="how deep layers at corners are cut")
    corners_inner: Size = Field(default="", description="where their inner layers end")
    corners_steps: Steps | None = Field(default=None, description="their smallest steps to a turn")
    others: Size = Field(default="", description="the same at corners of the second kind")
    others_inner: Size = Field(default="", description="where their inner layers end")
    others_steps: Steps | None = Field(default=None, description="their smallest steps to a turn")
    edges: Size = Field(default="", description="how deep layers at edges are cut")
    edges_inner: Size = Field(default="", description="where their inner layers end")
    edges_steps: Steps | None = Field(default=None, description="their smallest steps to a turn")

    def size(self, name: str) -> str:
        """Return a size by its name."""
        return str(getattr(self, name)).strip()

    def steps(self, kind: Kind) -> int:
        """Return the steps in which layers of a kind turn."""
        own: int | None = getattr(self, f"{kind.name}_steps")
        return kind.steps if own is None else own

    @property
    def ball(self) -> bool:
        return self.shape == "ball"

    @property
    def kinds(self) -> list[Kind]:
        """The kinds whose layers turn."""
        return [own for own in choices(self.body).kinds if self.size(own.name)]

    @property
    def sizes(self) -> list[str]:
        """The names of the sizes of its layers, one for each table of its file."""
        return [name for name in SIZES if self.size(name)]

    def given(self) -> dict[str, str]:
        """Return what was chosen, by names and as texts, without what is usual."""
        told = self.model_dump(exclude_defaults=True)
        return {name: str(value) for name, value in {"body": self.body, **told}.items()}


#: What the page begins with: a puzzle that everybody knows.
FIRST = Choice(faces="1/3")


def completed(choice: Choice) -> Choice:
    """Return a choice in which something turns: the first kind of the body if nothing else does."""
    if any(choice.size(name) for name in SIZES):
        return choice
    kind = choices(choice.body).kinds[0]
    usual = kind.ball.size if choice.ball else kind.solid.size
    return choice.model_copy(update={kind.name: usual.removesuffix("deg")})


def fault_of(choice: Choice) -> tuple[str, str] | None:
    """Return what is wrong with a choice as a whole: which name of it, and a sentence."""
    able = choices(choice.body)
    for kind in KINDS:
        if able.kind(kind) is None:
            for name in (kind, f"{kind}_inner", f"{kind}_steps"):
                if getattr(choice, name):
                    words = joined([own.words for own in able.kinds])
                    has = f"on this body layers turn about {words}"
                    return name, f"{name}: there is no such kind on the {choice.body}; {has}"
        elif choice.size(f"{kind}_inner") and not choice.size(kind):
            name = f"{kind}_inner"
            return name, f"{name}: an inner layer needs an outer one; give {kind} as well"
    if not choice.kinds:
        names = joined([own.name for own in able.kinds])
        first = able.kinds[0].name
        return first, f"nothing turns; a size was expected for at least one of {names}"
    return None


def model_of(choice: Choice, opened: Sequence[str] = ()) -> file.PuzzleModel:
    """Return the model of a choice that has no fault; sizes by the names in ``opened`` are open."""
    able = choices(choice.body)
    data: dict[str, Any] = {"description": choice.description.strip() or describing(choice)}
    if choice.ball:
        data["shape"] = "ball"
    data |= {"body": choice.body, "up": able.up, "front": able.front}
    sizes = {name: "?" if name in opened else _entry(choice, name) for name in SIZES}
    layers: list[dict[str, Any]] = []
    for kind in choice.kinds:
        axes = {"axes": kind.name if kind.all else list(kind.axes)}
        steps = {"steps": choice.steps(kind)}
        outer, inner = sizes[kind.name], sizes[f"{kind.name}_inner"]
        layers.append({**axes, ("within" if choice.ball else "above"): outer, **steps})
        if inner != "":
            between = (outer, inner) if choice.ball else (inner, outer)
            layers.append({**axes, "names": "2{axis}", "between": between, **steps})
    return file.PuzzleModel.model_validate({**data, "layers": layers})


def text_of(choice: Choice) -> str:
    """Return the puzzle file of a choice that has no fault."""
    return written(model_of(choice))


def choice_of(model: file.Model) -> Choice | None:
    """Return the choice that a model says, None where it says more than can be chosen."""
    if not isinstance(model, file.PuzzleModel) or not isinstance(model.body, str):
        return None
    body = model.body.replace(" ", "-")
    able = choices(body)
    data: dict[str, Any] = {"body": body, "shape": model.shape}
    for table in model.layers:
        kind = _kind(able, table.axes)
        if kind is None:
            return None
        depth = table.within if model.shape == "ball" else table.above
        if table.between is not None:
            data[f"{kind.name}_inner"] = _said(table.between[model.shape == "ball"])
        elif depth is not None:
            data[kind.name] = _said(depth)
        if table.steps != kind.steps:
            data[f"{kind.name}_steps"] = table.steps
    try:
        own = Choice.model_validate(data)
        if fault_of(own) is not None:
            return None
        if model.description != describing(own):
            own = own.model_copy(update={"description": model.description})
        # What it says beside that is seen by making the file anew.
        return own if _same(model_of(own), model) else None
    except ValueError:
        return None


def _same(one: file.PuzzleModel, other: file.PuzzleModel) -> bool:
    return bool(_plain(one.model_dump()) == _plain(other.model_dump()))


def _plain(value: Any) -> Any:
    """Return a value in which sizes that are written differently and are the same are the same."""
    if isinstance(value, Mapping):
        return {name: _plain(own) for name, own in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(own) for own in value]
    if isinstance(value, str) and _PLAIN.fullmatch(value):
        return float(value)
    return value.replace("rhombic ", "rhombic-") if isinstance(value, str) else value


def _kind(able: Choices, axes: str | list[str]) -> Kind | None:
    if isinstance(axes, str):
        return next((own for own in able.kinds if own.all and own.name == axes), None)
    return next((own for own in able.kinds if not own.all and list(own.axes) == axes), None)


def _entry(choice: Choice, name: str) -> str | float:
    """Return a size as a file has it: a number of degrees as an angle, another as a number."""
    text = choice.size(name)
    if not _PLAIN.fullmatch(text):
        return text
    return f"{text}deg" if choice.ball else float(text)


def _said(size: str | float) -> str:
    """Return a size of a file as somebody writes it."""
    if isinstance(size, str):
        return size
    return f"{size:.12f}".rstrip("0").rstrip(".") if abs(size) < 1e6 else str(size)


def describing(choice: Choice) -> str:
    """Return what a chosen puzzle is, in words."""
    able = choices(choice.body)
    article = "An" if choice.body[0] in "aeio" else "A"
    name = choice.body.replace("rhombic-", "rhombic ")
    begin = f"A ball painted like {article.lower()} {name}" if choice.ball else f"{article} {name}"
    parts = [
        f"its {len(kind.axes)} {kind.words} by {_parts(choice.steps(kind))}"
        + (", with an inner layer each" if choice.size(f"{kind.name}_inner") else "")
        for kind in able.kinds
        if choice.size(kind.name)
    ]
    if not parts:
        return begin + "."
    first, *rest = parts
    whole, _, steps = first.partition(" by ")
    return f"{begin}; {joined([f'{whole} turn by {steps}', *rest])}."


def _parts(steps: int) -> str:
    return _PARTS.get(steps, f"parts of {steps} to a full turn")
