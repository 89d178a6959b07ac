"""Turns as people note them: cycles of numbered places, ``(1 2 3) (4 5+1 6)``, read and checked.

What is at the first place of a cycle goes to the second, and so on. ``5+1`` says that what comes to
place 5 arrives twisted by one step; ``(7+1)`` twists what is at 7 where it sits.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from puzzles.errors import PuzzleFileError

#: The most digits of a number; there are at most 1,000 places.
MOST_DIGITS = 6
#: How many places an error lists before it breaks off.
LISTED = 8

_ENTRY = re.compile(r"([0-9]+)(?:\s*([+-])\s*([0-9]+))?")
_RANGE = re.compile(r"\s*([0-9]+)(?:\s*-\s*([0-9]+))?\s*,?")


@dataclass(frozen=True)
class Carried:
    """What one step of a turn does: where the piece of each place goes, and how it is twisted.

    Places are counted from 0 here. ``inside`` are the places that the cycles name, those that stay
    where they are among them.
    """

    to: tuple[int, ...]
    twist: tuple[int, ...]
    inside: frozenset[int]


def read_cycles(text: str, where: str, ways: Sequence[int]) -> Carried:
    """Return what cycles do; ``ways`` says for each place in how many ways a piece can sit there.

    ``where`` names the turn and stands in the error. Raises PuzzleFileError.
    """
    to, twist = list(range(len(ways))), [0] * len(ways)
    inside: dict[int, int] = {}
    at = 0
    for number, cycle in enumerate(_bracketed(text, where), 1):
        entries: list[tuple[int, int]] = []
        for place, steps in cycle:
            number_there = inside.get(place)
            if number_there is not None:
                again = "twice in one cycle" if number_there == number else "in two cycles"
                raise PuzzleFileError(
                    f"{where}: the number {place + 1} stands {again}; a turn carries what is at a"
                    " place to one other place, so each number is written at most once"
                )
            inside[place] = number
            _check(place, steps, where, ways)
            if entries and ways[place] != ways[entries[0][0]]:
                one, other = entries[0][0], place
                raise PuzzleFileError(
                    f"{where}: places {one + 1} and {other + 1} stand in one cycle, but a piece"
                    f" sits in {_count(ways[one])} at {one + 1} and in {_count(ways[other])} at"
                    f" {other + 1}; `twists` must give places of a cycle the same number"
                )
            entries.append((place, steps))
        for k, (place, _) in enumerate(entries):
            there, steps = entries[(k + 1) % len(entries)]
            to[place], twist[place] = there, steps % ways[place]
        at += 1
    if not at or (to == list(range(len(ways))) and not any(twist)):
        raise PuzzleFileError(
            f"{where}: {_shown(text)} moves nothing; cycles such as (1 2 3) were expected"
        )
    return Carried(tuple(to), tuple(twist), frozenset(inside))


def _count(ways: int) -> str:
    return "one way" if ways == 1 else f"{ways} ways"


def _check(place: int, steps: int, where: str, ways: Sequence[int]) -> None:
    """Refuse places that are not there and twists that a place does not show."""
    if place < 0 or place >= len(ways):
        raise PuzzleFileError(
            f"{where}: {place + 1} is no place; the places are numbered from 1 to {len(ways)}"
        )
    if abs(steps) >= ways[place] > 1:
        raise PuzzleFileError(
            f"{where}: {place + 1}{steps:+d} twists by more than there is; a piece sits in"
            f" {_count(ways[place])} there, so +1 to +{ways[place] - 1} are right"
        )
    if steps and ways[place] == 1:
        raise PuzzleFileError(
            f"{where}: {place + 1}{steps:+d} twists a piece where `twists` says of none; a line"
            f' such as twists = {{"{place + 1}" = 3}} says in how many ways a piece can sit there'
        )


def _bracketed(text: str, where: str) -> list[list[tuple[int, int]]]:
    """Return the entries of all brackets: places counted from 0, and twists."""
    cycles: list[list[tuple[int, int]]] = []
    inside, place = False, 0
    while place < len(text):
        sign = text[place]
        found = _ENTRY.match(text, place) if inside else None
        if sign.isspace() or (sign == "," and (cycles or inside)):
            place += 1
        elif sign == "(" and not inside:
            cycles.append([])
            inside, place = True, place + 1
        elif sign == ")" and inside and cycles[-1]:
            inside, place = False, place + 1
        elif found is not None:
            steps = _number(found[3] or "0", where)
            cycles[-1].append((_number(found[1], where) - 1, -steps if found[2] == "-" else steps))
            place = found.end()
        else:
            wanted = "the number of a place" if inside else "'(' before the next cycle"
            if inside and cycles[-1]:
                wanted += " or ')'"
            raise PuzzleFileError(
                f"{where}: character {place + 1} of the cycles: {wanted} was expected, not"
                f" {_shown(sign)}"
            )
    if inside:
        raise PuzzleFileError(f"{where}: the last cycle is not closed; ')' was expected")
    return cycles


def _number(digits: str, where: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise PuzzleFileError(
            f"{where}: a number of {len(digits):,} digits is no place; at most {MOST_DIGITS} digits"
            " were expected"
        )
    return int(digits)


def _shown(text: str) -> str:
    clean = "".join(x if x.isprintable() else "?" for x in text)
    return repr(clean if len(clean) <= 20 else clean[:19] + "…")


def read_places(text: str, where: str, count: int) -> list[int]:
    """Return the places, counted from 0, that ``1-8, 12`` names; raises PuzzleFileError."""
    result: list[int] = []
    known: set[int] = set()
    place = 0
    while place < len(text):
        found = _RANGE.match(text, place)
        if found is None:
            break
        first = _number(found[1], where)
        last = _number(found[2] or found[1], where)
        if not 1 <= first <= last <= count:
            raise PuzzleFileError(
                f"{where}: {found[0].strip(' ,')} names no places; the places are numbered from 1"
                f" to {count}, the smaller number first"
            )
        for own in range(first - 1, last):
            if own in known:
                raise PuzzleFileError(f"{where}: place {own + 1} is named twice; once is right")
            known.add(own)
            result.append(own)
        place = found.end()
    if text[place:].strip() or not result:
        raise PuzzleFileError(
            f'{where}: {_shown(text)} is no list of places; numbers such as "1-8" or "1-8 12" were'
            " expected"
        )
    return result


def few(places: Sequence[int]) -> str:
    """Return places, counted from 0, in words: "place 3", "places 1, 2 and 5", "places 1, 2, …"."""
    names = [str(place + 1) for place in places]
    if len(names) == 1:
        return f"place {names[0]}"
    if len(names) > LISTED:
        return f"places {', '.join(names[: LISTED - 1])}, … {names[-1]}"
    return f"places {', '.join(names[:-1])} and {names[-1]}"
