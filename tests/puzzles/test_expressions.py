"""Formulas for sizes, against Python's own arithmetic, and fuzzed."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from puzzles.errors import PuzzleFileError
from puzzles.expressions import DEEPEST, LONGEST, size

numbers = st.one_of(
    st.integers(0, 99).map(str), st.floats(0.001, 99).map("{:.4f}".format), st.just("2.5e-1")
)
formulas = st.recursive(
    numbers,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from("+-*/"), inner).map(" ".join),
        inner.map("({})".format),
        inner.map("-({})".format),
        inner.map("sqrt({})".format),
    ),
    max_leaves=8,
)


@given(formulas)
def test_formulas_have_the_value_that_python_gives_them(text: str) -> None:
    """The outside check is Python's own evaluation, which is used nowhere but in this test."""
    assume(len(text) <= LONGEST)
    try:
        expected = eval(text, {"__builtins__": {}, "sqrt": math.sqrt})
    except (ZeroDivisionError, ValueError):
        with pytest.raises(PuzzleFileError):
            size(text, "layers 1.above")
        return
    assert math.isclose(size(text, "layers 1.above"), expected, rel_tol=1e-12, abs_tol=1e-12)


@given(st.one_of(st.text(max_size=40), st.text("0123456789.+-*/()sqrte ", max_size=40)))
def test_any_text_gives_a_number_or_one_sentence(text: str) -> None:
    value, sentence = 0.0, "layers 1.above: "
    try:
        value = size(text, "layers 1.above")
    except PuzzleFileError as error:
        sentence = str(error)
    assert math.isfinite(value)
    assert sentence.startswith("layers 1.above: ")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1/3", 1 / 3),
        ("sqrt(3)/3", math.sqrt(3) / 3),
        ("2 - 3 - 4", -5),
        ("8/4/2", 1),
        ("-2*-3", 6),
        ("2*(3+4)", 14),
        (" 1e-3 ", 0.001),
        (".5", 0.5),
        (0.25, 0.25),
        (2, 2),
    ],
)
def test_examples(text: str | float, value: float) -> None:
    assert size(text, "x") == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "character 1: expected a number"),
        ("1 +", "character 4: expected a number"),
        ("1 2", "character 3: expected the end"),
        ("1/0", "character 2: expected a divisor other than zero"),
        ("1/(2-2)", "a divisor other than zero"),
        ("sin(1e308*10*1deg)", "character 1: expected sin of an angle"),
        ("sqrt(-1)", "a root of something that is not negative"),
        ("sqrt 2", "a bracket after sqrt"),
        ("(1", "character 3: expected a closing bracket"),
        ("1)", "character 2: expected the end"),
        ("x", "character 1: expected a number"),
        ("1 $ 2", "character 3: expected a number"),
        ("exit()", "character 1"),
        ("1e999", "not a finite number"),
        (math.nan, "not a finite number"),
        (math.inf, "not a finite number"),
        ("1" * (LONGEST + 1), f"at most {LONGEST} characters"),
        ("(" * (DEEPEST + 1) + "1" + ")" * (DEEPEST + 1), f"at most {DEEPEST} nested brackets"),
    ],
)
def test_a_bad_formula_says_where_and_what_would_be_right(text: str | float, sentence: str) -> None:
    with pytest.raises(PuzzleFileError, match=sentence) as caught:
        size(text, "layers 1.above")
    assert str(caught.value).startswith("layers 1.above: ")
