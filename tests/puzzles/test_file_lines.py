"""Where in a puzzle file an error is: each slip is made at a known line, and is found there."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import file
from puzzles.compile import compiled
from puzzles.errors import TrefoilError
from puzzles.file_lines import Spot, spot_of

TEXT = """\
# What stands on a shelf.
description = '''
[[layers]]
above = "nothing"
'''
body = "cube"
up = "U"
front = "F"

[[layers]]
axes = "faces"
steps = 4
above = "1/3"

  [[layers]]
  axes = ["U",
    "F",
    "R"]
  names = "2{axis}"
  steps = 4
  between = ["-1/3", "1/3"]
[types]
corner = "tip"
"""
WRITTEN = """\
description = "Two wheels"
shape = "written"
places = 5

[[turns]]
name = "L"
cycles = "(1 2 3)"

[[turns]]
name = "R"
cycles = "(3 4 5)"
"""


def said(text: str) -> tuple[str, Spot | None]:
    """Return what is wrong with a text, and where."""
    model = None
    try:
        model = file.parse(text, "it")
        compiled("it", model)
    except TrefoilError as error:
        told = str(error).removeprefix("it: ")
        return told, spot_of(text, told, model)
    raise AssertionError("nothing is wrong")


def test_the_text_is_right() -> None:
    compiled("it", file.parse(TEXT, "it"))
    compiled("it", file.parse(WRITTEN, "it"))


@pytest.mark.parametrize(
    ("old", "new", "line", "column"),
    [
        ('body = "cube"', 'body = "egg"', 6, 1),
        ('up = "U"', 'up = "Q"', 7, 1),
        ('front = "F"', 'front = "U"', 8, 1),
        ('front = "F"', 'frnt = "F"', 8, 1),
        ('front = "F"', 'front = "F', 8, 11),
        ('front = "F"', 'front = "F"\nfront = "F"', 9, 12),
        ('above = "1/3"', 'above = "1/0"', 13, 1),
        ('above = "1/3"', 'above = "1/3"\nwithin = "30deg"', 13, 1),
        ('above = "1/3"', 'abov = "1/3"', 13, 1),
        ('above = "1/3"', "above = true", 13, 1),
        ('above = "1/3"', "above = 3.5", 13, 1),
        ('steps = 4\nabove = "1/3"', 'above = "1/3"', 10, 1),
        ('    "R"]', '    "X"]', 16, 3),
        ('  names = "2{axis}"', '  names = "{axis}2"', 19, 3),
        ('"-1/3", "1/3"', '"1/3", "-1/3"', 21, 3),
        ('"-1/3", "1/3"', '"1/3", "a"', 21, 3),
        ("  steps = 4", "  steps = 1", 20, 3),
        ("[types]", "[type]", 22, 1),
        ('corner = "tip"', "corner = 3", 23, 1),
        ('corner = "tip"', 'corner = ["tip"', 23, 16),
    ],
)
def test_slips(old: str, new: str, line: int, column: int) -> None:
    assert TEXT.count(old) >= 1
    told, spot = said(TEXT.replace(old, new, 1))
    if new.startswith("  names"):
        # A name that is no name is that of no table.
        assert "layer name" in told
    assert spot is not None, told
    assert (spot.line, spot.column) == (line, column), told


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("places = 5", "places = 1", 3),
        ("(3 4 5)", "(3 4", 11),
        ("(1 2 3)", "(1 2 9)", 7),
        ('name = "R"', 'name = "R-"', 10),
        ('shape = "written"', 'shape = "written"\nhats = 3', 3),
    ],
)
def test_slips_where_turns_are_written(old: str, new: str, line: int) -> None:
    told, spot = said(WRITTEN.replace(old, new, 1))
    assert spot is not None, told
    assert spot.line == line, told


def test_what_is_no_single_line_is_none() -> None:
    assert said('body = "cube"\n')[1] is None
    assert spot_of(TEXT, "the cuts make 842 pieces; at most 800 are allowed") is None


def test_tables_in_one_line() -> None:
    text = 'description = "x"\nbody = "cube"\nup = "U"\nfront = "F"\nlayers = [{axes = "hats"}]\n'
    told, spot = said(text)
    assert spot == Spot(5, 1), told


@pytest.mark.parametrize("text", ["[" * 90_000, "a = '''" + "\n" * 90_000, "a = [\n" * 10_000])
def test_long_nonsense_takes_no_time(text: str) -> None:
    began = time.process_time()
    spot_of(text, "up: nothing of that kind")
    assert time.process_time() - began < 5


@given(st.text(max_size=200), st.text(max_size=60))
@settings(max_examples=200, deadline=None)
def test_anything_can_be_asked(text: str, told: str) -> None:
    spot = spot_of(text, told)
    assert spot is None or spot.line >= 1
