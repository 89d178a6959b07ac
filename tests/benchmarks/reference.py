"""Words for the same three-cycle from computer algebra systems, beside ours.

They are asked what they are made for: to write an element of a permutation group as a word in the
generators, found by a stabiliser chain. Nothing asks them for a short one, and they don't say that
they look for one.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator

from puzzles import load
from puzzles.puzzle import Puzzle, Word
from puzzles.words import length
from search import find
from tests.benchmarks.tables import Table, seconds

#: The puzzles and the three-cycles that are asked for.
CASES = (("2x2x2", "UFR UBL DFL"), ("3x3x3", "UFR UBL DFL"), ("3x3x3", "UF UR FR"))
#: Seconds after which a system is stopped.
LIMIT = 60.0


def generators(puzzle: Puzzle) -> list[int]:
    """Return the turn by one step of every layer."""
    return [int(puzzle.turn_layer.tolist().index(k)) for k in range(len(puzzle.layers))]


def wanted(puzzle: Puzzle, cycle: str) -> list[int]:
    """Return the permutation of placements that a three-cycle is, from the first answer found."""
    answer = find(puzzle, cycle, turns=16).answers[0]
    return [int(p) for p in puzzle.effect(answer.word)]


def is_word_for(puzzle: Puzzle, word: Word, effect: list[int]) -> bool:
    """Return whether a word has an effect."""
    return [int(p) for p in puzzle.effect(word)] == effect


def sympy_word(name: str, effect: list[int]) -> Word:
    """Return the word of sympy's PermutationGroup.generator_product, as turns of a puzzle."""
    from sympy.combinatorics import Permutation, PermutationGroup  # type: ignore[import-untyped]

    puzzle = load(name)
    turns = generators(puzzle)
    group = PermutationGroup([Permutation(puzzle.moves[t].tolist()) for t in turns])
    names = {}
    for t in turns:
        names[Permutation(puzzle.moves[t].tolist())] = t
        names[Permutation(puzzle.moves[t].tolist()) ** -1] = int(puzzle.inverses[t])
    word = tuple(names[g] for g in group.generator_product(Permutation(effect), original=True))
    return word if is_word_for(puzzle, word, effect) else word[::-1]


def gap_word(name: str, effect: list[int]) -> Word:
    """Return the word of GAP's EpimorphismFromFreeGroup and PreImagesRepresentative."""
    puzzle = load(name)
    turns = generators(puzzle)
    lists = [[int(p) + 1 for p in puzzle.moves[t]] for t in turns]
    text = (
        f"g := Group(List({lists}, PermList));;\n"
        "f := EpimorphismFromFreeGroup(g);;\n"
        f"w := PreImagesRepresentative(f, PermList({[p + 1 for p in effect]}));;\n"
        'SetPrintFormattingStatus("*stdout*", false);;\n'
        'Print("word", LetterRepAssocWord(w), "\\n");\nQUIT;\n'
    )
    done = subprocess.run(
        ["gap", "-q"], input=text, capture_output=True, text=True, timeout=LIMIT, check=True
    )
    letters = json.loads(done.stdout.split("word", 1)[1])
    return tuple(turns[k - 1] if k > 0 else int(puzzle.inverses[turns[-k - 1]]) for k in letters)


def asked(system: str, name: str, effect: list[int]) -> tuple[float, Word | None]:
    """Ask a system in a process of its own; return the seconds, and the word or None."""
    command = [sys.executable, "-m", "tests.benchmarks.reference", system, name]
    started = time.perf_counter()
    try:
        done = subprocess.run(
            command,
            input=json.dumps(effect),
            capture_output=True,
            text=True,
            timeout=LIMIT,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return time.perf_counter() - started, None
    spent = time.perf_counter() - started
    if done.returncode:
        print(f"{system}, {name}: {done.stderr.strip().splitlines()[-1:]}", file=sys.stderr)
        return spent, None
    word = tuple(json.loads(done.stdout))
    if not is_word_for(load(name), word, effect):
        raise AssertionError(f"the word of {system} does not have the effect on {name}")
    return spent, word


def reference(small: bool = False) -> Iterator[Table]:
    """Ask sympy, and GAP where it is installed, for a word, and compare with ours."""
    systems = ["sympy"]
    notes = [
        f"Wall time; turns by quarters and halves counted as one, after cancelling; {LIMIT:.0f} s "
        "at most. Each in a process of its own, the import included; ours with an empty cache."
    ]
    if shutil.which("gap"):
        systems.append("GAP")
    else:
        notes.append("GAP is not installed here, so it was not asked.")
    rows = []
    for name, cycle in CASES[:1] if small else CASES:
        puzzle = load(name)
        effect = wanted(puzzle, cycle)
        started = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", OURS, name, cycle], capture_output=True, text=True, check=True
        )
        ours = time.perf_counter() - started
        found = find(puzzle, cycle, turns=16)
        row = [name, cycle, seconds(ours), str(found.answers[0].turns)]
        for system in ("sympy", "GAP"):
            if system not in systems:
                row += ["not installed", ""]
                continue
            spent, word = asked(system, name, effect)
            if word is None:
                row += [f"none in {spent:.0f} s", ""]
            else:
                row += [seconds(spent), f"{length(puzzle, word):,}"]
        rows.append(row)
    yield Table(
        "A word for the same three-cycle",
        ["puzzle", "cycle", "ours", "turns", "sympy", "turns", "GAP", "turns"],
        rows,
        notes,
    )


#: Our search as a process of its own.
OURS = """
import sys
from puzzles import load
from search import find
assert find(load(sys.argv[1]), sys.argv[2]).answers
"""


if __name__ == "__main__":
    ask = {"sympy": sympy_word, "GAP": gap_word}[sys.argv[1]]
    print(json.dumps(ask(sys.argv[2], json.load(sys.stdin))))
