"""What later methods of a puzzle say again: told once, and then as in the method that had it."""

from __future__ import annotations

from decimal import Decimal

from service.reports import Report

#: Numbers with more digits are rounded; the 20 digits of the 3x3x3 are known to many.
MOST_DIGITS = 24


def told_once(report: Report) -> Report:
    """Return a report in which steps and what they take say which earlier method had the same.

    Its number is ``again`` in steps, sequences, costs, mends and twists, None where they come
    first. A step has it where all but its own sentence, which has figures of its scrambles, stood
    in one before; ``sentence_again`` is the method that had the same sentence. Joining methods only
    say again what the others had.
    """
    before: dict[object, int] = {}
    methods = []
    for number, own in enumerate(report["methods"], 1):
        methods.append({**own, "steps": [_step(step, number, before) for step in own["steps"]]})
    # No number: nothing of these is there for others to say again.
    joined = [
        {**own, "steps": [_step(step, None, before) for step in own["steps"]]}
        for own in report["joined"]
    ]
    return {**report, "methods": methods, "joined": joined}


def _step(step: Report, number: int | None, before: dict[object, int]) -> Report:
    kept = tuple(step["keeps"])
    mends, twists = step.get("mends", ()), step.get("twists", ())
    own = {
        **step,
        "sequences": [
            _told(one, (one["type"], one["notation"], one["cycle"]), number, before)
            for one in step["sequences"]
        ],
        "three_cycles": [
            _told(one, ("cost", kept, *one.values(), *_named(step, one["type"])), number, before)
            for one in step["three_cycles"]
        ],
        # What is odd once others are right is another thing to know once more others are.
        "mends": [_told(one, ("mend", one["text"]), number, before) for one in mends],
        "twists": [_told(one, ("twists", one["text"]), number, before) for one in twists],
    }
    same = (
        tuple(step["types"]),
        kept,
        tuple((one["notation"], one["cycle"]) for one in step["sequences"]),
        tuple(
            (one["type"], one["count"], one["mean"], one["most"]) for one in step["three_cycles"]
        ),
        tuple(one["text"] for one in (*mends, *twists)),
        step.get("left"),
    )
    own["again"] = _earlier(same, number, before)
    own["sentence_again"] = _earlier(("text", step["text"]), number, before)
    return own


def _named(step: Report, kind: str) -> tuple[str, ...]:
    """Return the sequences of a step for a type."""
    return tuple(one["notation"] for one in step["sequences"] if one["type"] == kind)


def _told(
    one: Report, same: tuple[object, ...], number: int | None, before: dict[object, int]
) -> Report:
    return {**one, "again": _earlier(same, number, before)}


def _earlier(same: object, number: int | None, before: dict[object, int]) -> int | None:
    """Return the earlier method that had something; else this one has it from here on."""
    if number is None:
        return before.get(same)
    first = before.setdefault(same, number)
    return None if first == number else first


def arranged(digits: str) -> str:
    """Return a whole number with commas, one of many digits as 8.1·10^149."""
    if len(digits) <= MOST_DIGITS:
        return f"{int(digits):,}"
    mantissa, power = f"{Decimal(digits):.1e}".split("e+")
    return f"{mantissa}·10^{power}"
