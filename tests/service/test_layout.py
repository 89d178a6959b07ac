"""How printed lines are broken: at any width words and numbers stay whole."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.cli import run
from service.layout import broken

COMMANDS = [
    ["parts", "5x5x5"],
    ["parts", "dodecahedron-faces"],
    ["puzzles"],
    ["try", "3x3x3", "(R U F)5"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "5"],
    ["atlas", "3x3x3", "corner", "--half-length", "4", "--most", "5"],
]


def _printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: str | None
) -> list[str]:
    if width is None:
        monkeypatch.delenv("COLUMNS", raising=False)
    else:
        monkeypatch.setenv("COLUMNS", width)
    pages = []
    for command in COMMANDS:
        assert run(command) == 0
        pages.append(capsys.readouterr().out)
    return pages


@pytest.mark.parametrize(("columns", "width"), [("40", 40), ("80", 80), (None, 100), ("x", 100)])
def test_lines_fit_and_words_stay_whole(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    columns: str | None,
    width: int,
) -> None:
    wide = _printed(capsys, monkeypatch, "5000")
    for page, whole in zip(_printed(capsys, monkeypatch, columns), wide, strict=True):
        for line in page.splitlines():
            assert line == line.rstrip()
            assert len(line) <= width
        # A long number may end a line, after a comma; then it goes on in the next one.
        joined = re.sub(r"(?<=[0-9],)\n +(?=[0-9]{3}\b)", "", page)
        words = set(re.findall(r"[^\s─]+", joined))
        assert words <= set(re.findall(r"[^\s─]+", whole))


def test_output_that_is_wider_uses_the_width(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    longest = [
        max(
            len(line) for page in _printed(capsys, monkeypatch, width) for line in page.splitlines()
        )
        for width in (None, "140")
    ]
    assert 90 < longest[0] <= 100
    assert 120 < longest[1] <= 140


@given(st.integers(10**6, 10**90), st.integers(4, 60))
def test_numbers_break_after_commas_only(number: int, width: int) -> None:
    text = f"{number:,}"
    lines = broken(text, width)
    assert "".join(lines) == text
    assert all(len(line) <= width for line in lines)
    assert all(line.endswith(",") for line in lines[:-1])
    if len(text) <= width:
        assert lines == [text]


@given(st.lists(st.text("abc-", min_size=1, max_size=30)), st.integers(1, 40))
def test_words_are_never_broken(words: list[str], width: int) -> None:
    assert " ".join(broken(" ".join(words), width)).split() == words
