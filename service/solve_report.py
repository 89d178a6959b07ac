"""A solution as an object: what `trefoil solve --json` prints, and what its text is made from."""

from __future__ import annotations

from collections.abc import Mapping

from puzzles.notation import write
from puzzles.states import State, hold
from search.solving_steps import Solution
from search.solving_sums import Balance
from search.solving_told import told
from search.tools import Tools
from service.reports import Report


def solution(
    state: State,
    found: Solution,
    tools: Mapping[int, Tools] | None = None,
    balance: Balance | None = None,
) -> Report:
    """Return the report of a solution; its steps as they are done, and all in a row cancelled."""
    puzzle = found.puzzle
    steps = [
        {
            "kind": own.step.kind,
            "sequence": own.sequence,
            "notation": own.notation,
            "turns": len(own.step.word),
            "cycle": own.cycle,
            "setup": write(puzzle, own.step.setup),
            "learned": own.step.said or None,
            "puts_right": list(own.right),
            "disturbs": list(own.moved),
            "keeps": list(own.kept),
            "done": list(own.done),
            "reason": own.reason,
        }
        for own in told(found, tools, balance)
    ]
    return {
        "puzzle": puzzle.name,
        "hold": hold(puzzle),
        "state": state.text(),
        "solved": found.solved,
        "steps": steps,
        "turns": found.turns,
        "executed": len(found.word),
        "sequence": write(puzzle, found.word),
        "different": found.families,
    }
