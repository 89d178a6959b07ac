"""What later methods say again is told once, long numbers are rounded, unproven orders left out."""

from __future__ import annotations

from typing import Any

import pytest

from puzzles import load
from search.method import find_methods
from service.cli_method import show, ways_text
from service.method_repeats import arranged, told_once
from service.method_report import methods
from service.pages.frame import rendered


def sequence(kind: str, notation: str) -> dict[str, Any]:
    return {"type": kind, "notation": notation, "cycle": "(1 2 3)"}


def step(kind: str, keeps: list[str], *notations: str, text: str = "so", odd: str = "") -> Any:
    return {
        "types": [kind],
        "keeps": keeps,
        "text": text,
        "sequences": [sequence(kind, own) for own in notations],
        "three_cycles": [{"type": kind, "count": 9, "mean": len(notations), "most": 5}],
        "mends": [{"text": odd}] if odd else [],
        "left": "6",
    }


def test_what_stood_in_an_earlier_method_says_in_which() -> None:
    report = {
        "methods": [
            {"steps": [step("edge", [], "A", odd="one turn"), step("corner", ["edge"], "B")]},
            {
                "steps": [
                    step("edge", [], "A", "C", odd="one turn", text="other"),
                    step("corner", ["edge"], "B"),
                ]
            },
            {"steps": [step("edge", [], "A", "C", odd="one turn", text="third")]},
        ],
        "joined": [{"steps": [step("edge", [], "A"), step("edge", [], "D")]}],
    }
    first, second, third = told_once(report)["methods"]
    assert [own["again"] for own in first["steps"]] == [None, None]
    assert [own["again"] for own in second["steps"]] == [None, 1]
    edges = second["steps"][0]
    assert [own["again"] for own in edges["sequences"]] == [1, None]
    assert [own["again"] for own in edges["mends"]] == [1]
    assert [own["again"] for own in edges["three_cycles"]] == [None]
    assert (edges["sentence_again"], second["steps"][1]["sentence_again"]) == (None, 1)
    assert third["steps"][0]["again"] == 2
    joined = told_once(report)["joined"][0]["steps"]
    assert [own["sequences"][0]["again"] for own in joined] == [1, None]
    # With another sequence the same figures are others'.
    assert [own["three_cycles"][0]["again"] for own in joined] == [1, None]
    # The report itself, which is what JSON has, stays as it is.
    assert "again" not in report["methods"][1]["steps"][1]


def test_long_numbers_are_rounded() -> None:
    assert arranged("43252003274489856000") == "43,252,003,274,489,856,000"
    assert arranged("8097238067" + "0" * 140) == "8.1·10^149"


def test_an_order_that_is_not_proven_is_not_called_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("search.method.order_of", lambda *asked: None)
    report = methods(find_methods(load("cube-corners"), count=2))
    own = report["methods"][0]["steps"][0]
    assert own["kind"] == "looked up"
    assert "0 arrangements" not in own["text"]
    assert "lack three-cycles" in own["text"]


def test_the_terminal_and_the_page_say_once_what_two_methods_have(
    capsys: pytest.CaptureFixture[str],
) -> None:
    report = methods(find_methods(load("tetrahedron-corners"), count=2))
    own = report["methods"][0]
    twice = {**report, "result": None, "methods": [own, own]}
    [notation] = [one["notation"] for step in own["steps"] for one in step["sequences"]]
    show(twice)
    printed = capsys.readouterr().out
    assert printed.count(f"{notation}, as in method 1") == 1
    assert printed.count("with setups") == 1
    for shape, folded in (("cube", 0), ("ball", 1)):
        told = {"name": "tetrahedron-corners", "description": "", "shape": shape}
        data = {"report": twice, "puzzle": "tetrahedron-corners", "told": told}
        text = rendered("methods_told.html", data)
        assert text.count("/picture.svg?") == 1
        assert text.count("<summary>a picture") == folded
        assert text.count("With setups") == 1
        assert 'as in <a href="#method1">method 1</a>' in text


def test_medians_between_two_counts_are_said_as_counts() -> None:
    rows = [{"right": 2, "ways": 530.5, "turns": 1.5}, {"right": 3, "ways": 0.5, "turns": 3.0}]
    assert ways_text(rows, 3).endswith(
        "with 2 right 530, the shortest has 1 or 2 turns; with 3 right 0.5, the shortest 3 turns"
    )
