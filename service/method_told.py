"""What is said of a stage of a method, wherever turns can be blocked or not."""

from __future__ import annotations

from search.method_trying import Stretch
from service.reports import Report


def stretch_report(own: Stretch) -> Report:
    """Return what a stage took in the median."""
    return {
        "pieces": own.pieces,
        "right_before": own.begins,
        "right_by_free_play": own.placed,
        "free_turns": own.free,
        "odd_turns": own.odd,
        "three_cycles": own.cycles,
        "three_cycle_turns": own.cycling,
        "looked_up_turns": own.looked_up,
        "ways": [{"right": w.right, "ways": w.ways, "turns": w.turns} for w in own.ways],
    }


def free_text(own: Stretch, most: int) -> str:
    """Return what free play does in a stage, in words; numbers are medians."""
    words = f"free play by words of up to {most} turns"
    if own.placed >= own.pieces > own.begins:
        return f"{words} suffices for all {own.pieces}."
    one = own.cycles == 1
    cycles = f"{own.cycles:g} three-cycle{'' if one else 's'} in {own.cycling:g} turns"
    if own.placed > own.begins:
        return f"{words} puts {own.placed:g} of {own.pieces} right, {cycles} the others."
    return (
        f"free play puts none right without disturbing others; {cycles} {'does' if one else 'do'}."
    )
