"""What is chosen for a new puzzle: its file says the same, and is read back where it can be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import file
from puzzles.bodies import BODIES
from puzzles.choosing import KINDS, choices
from service.choice import (
    FIRST,
    SIZES,
    Choice,
    choice_of,
    completed,
    describing,
    fault_of,
    model_of,
    text_of,
)

SOLID = st.sampled_from(["0", "0.25", "1/3", "1/sqrt(2)", ".5", "-0.125", "12345.000000000001"])
BALL = st.sampled_from(["36", "34deg", "to(UFR) + 9deg", "0.5", "acos(1/3)"])


@st.composite
def chosen(draw: st.DrawFn) -> Choice:
    """Return a choice in which something turns."""
    body = draw(st.sampled_from([*BODIES]))
    shape = draw(st.sampled_from(["solid", "ball"]))
    size = BALL if shape == "ball" else SOLID
    able = [own.name for own in choices(body).kinds]
    data: dict[str, Any] = {"body": body, "shape": shape}
    for kind in draw(st.lists(st.sampled_from(able), min_size=1, unique=True)):
        data[kind] = draw(size)
        if draw(st.booleans()):
            data[f"{kind}_inner"] = draw(size)
        if draw(st.booleans()):
            data[f"{kind}_steps"] = draw(st.integers(2, 24))
    if draw(st.booleans()):
        data["description"] = draw(
            st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=40)
        ).strip()
    return Choice.model_validate(data)


@given(chosen())
@settings(max_examples=200, deadline=None)
def test_a_file_says_what_was_chosen(choice: Choice) -> None:
    assert fault_of(choice) is None
    text = text_of(choice)
    model = file.parse(text, "it")
    assert model == model_of(choice)
    again = choice_of(model)
    assert again is not None
    assert text_of(again) == text
    assert Choice.model_validate(choice.given()) == choice, "an address holds it all"


def test_what_the_catalogue_says_is_read_back_or_left_alone() -> None:
    for name in file.catalogue():
        _, model = file.read(name)
        own = choice_of(model)
        if own is not None:
            assert isinstance(model, file.PuzzleModel)
            assert model_of(own).layers[0].steps == model.layers[0].steps
            assert own.description == model.description
    known = {name for name in file.catalogue() if choice_of(file.read(name)[1]) is not None}
    assert {"3x3x3", "4x4x4", "dodecahedron-faces", "cube-edges", "ball-corners"} <= known
    # Layers at some corners only, twists told apart, stops, turns that are written down.
    assert known.isdisjoint({"cube-corners", "ball-sixths", "3x3x3-stops", "three-wheels", "5x5x5"})


@pytest.mark.parametrize(
    "change",
    [
        'note = "x"\n',
        "keep_twists = true\n",
        'bonds = [["UFR", "UF"]]\n',
        'up = "D"\n',
        "closed = false\n",
    ],
)
def test_what_says_more_is_no_choice(change: str) -> None:
    text = text_of(Choice(shape="ball", faces="50"))
    key = change.partition(" ")[0]
    lines = [line for line in text.split("\n") if not line.startswith(f"{key} ")]
    model = file.parse(change + "\n".join(lines), "it")
    assert choice_of(model) is None


def test_faults() -> None:
    assert fault_of(FIRST) is None
    for data, name in (
        ({}, "faces"),
        ({"faces": "1", "others": "1"}, "others"),
        ({"faces": "1", "others_steps": 4}, "others_steps"),
        ({"body": "rhombic-dodecahedron", "edges": "1"}, "edges"),
        ({"faces": "1", "corners_inner": "0"}, "corners_inner"),
    ):
        fault = fault_of(Choice.model_validate(data))
        assert fault is not None
        assert fault[0] == name


def test_something_turns_where_nothing_was_said() -> None:
    for body in BODIES:
        own = completed(Choice.model_validate({"body": body, "shape": "ball"}))
        assert fault_of(own) is None
    assert completed(FIRST) == FIRST


def test_descriptions() -> None:
    assert describing(FIRST) == "A cube; its 6 faces turn by quarters."
    ball = Choice(body="icosahedron", shape="ball", faces="20", corners="30", corners_steps=7)
    assert describing(ball) == (
        "A ball painted like an icosahedron; its 20 faces turn by thirds and its 12 corners by "
        "parts of 7 to a full turn."
    )


def test_sizes_have_the_names_of_kinds() -> None:
    fields = {*Choice.model_fields}
    assert {*SIZES} | {f"{kind}_steps" for kind in KINDS} <= fields
    assert len(fields) == len(SIZES) + len(KINDS) + 3


def test_the_words_of_the_file_stand_nowhere_else() -> None:
    """The page's module has the kinds once more; they are the same."""
    script = Path(__file__).parents[2] / "service" / "pages" / "static" / "choosing.js"
    words = ", ".join(f'"{kind}"' for kind in KINDS)
    assert f"const KINDS = [{words}];" in script.read_text()
