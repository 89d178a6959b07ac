"""All kernels are compiled before a search's clock starts: none gets another signature later."""

from __future__ import annotations

import subprocess
import sys

import pytest

#: Kernels that are compiled within others, with the same signatures, and called from Python later.
INNER = ("begin_word", "normalise")
#: What both programs begin with: how many signatures of kernels this process has, and a search
#: that notes it when the clock starts.
COUNTED = (
    f"INNER = {INNER}"
    + """
import importlib, pkgutil
import numba
import search.kernels
from puzzles import load
from search.request import Bounds, request

def known():
    found = {}
    for one in pkgutil.iter_modules(search.kernels.__path__):
        module = importlib.import_module(f"search.kernels.{one.name}")
        for name, value in vars(module).items():
            if isinstance(value, numba.core.dispatcher.Dispatcher) and name not in INNER:
                found[f"{value.py_func.__module__}.{name}"] = len(value.signatures)
    return found

counts = []
def noting(compiling):
    def act(*given):
        compiling(*given)
        counts.append(known())
    return act
"""
)
#: Levels and long steps, as a search without bounds has them.
FREE = """
from search import deepening, plan
from search.encoding import scope
from search.goals import Goal

plan.PATIENCE = 1_000
class Steps(Goal):
    def reached(self, scope, found):
        return len(found.steps) >= 2
deepening._compile = noting(deepening._compile)
for _ in deepening.deepen(scope(load("cube-edges"), None, None, (0,)), Steps(None, None, None)):
    pass
"""
#: Levels where stickers are bonded to others.
FIXED = """
from dataclasses import replace
from puzzles.names import read_placement
from search import fixed
from search.blocked_finding import problem_of

fixed._compile = noting(fixed._compile)
puzzle = load("3x3x3")
bond = tuple(read_placement(puzzle, name).slot for name in ("UBL", "UL"))
wanted = request(replace(puzzle, bonds=(bond,)), "UFR DFR DFL", bounds=Bounds(half_length=4))
for _ in fixed.deepen(problem_of(wanted), fixed.goal_of(wanted.bounds)):
    pass
"""
SHOWN = """
(before,) = counts
print(sorted(name for name, count in known().items() if count > before[name]))
"""


@pytest.mark.parametrize("program", [FREE, FIXED], ids=["free", "fixed"])
def test_no_kernel_is_compiled_or_loaded_while_the_clock_runs(program: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", COUNTED + program + SHOWN],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "[]", done.stdout + done.stderr[-2000:]
