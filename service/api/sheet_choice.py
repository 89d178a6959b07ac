"""What the address of a sheet chooses: sequences, cycles, results, a place, parts and the paper."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from service.api.asking import BETWEEN, TICKS

#: The parts of a sheet in their order, and what they are called.
PARTS = {
    "about": "the puzzle",
    "types": "its types of piece",
    "strips": "the sequences turn by turn",
    "cards": "cards to cut out",
    "grid": "the cycles from one place",
}
#: The paper, by its name in an address.
SIZES = {"a4": "A4", "letter": "Letter"}
#: What may stand between sequences, cycles or results that are given together.
APART = re.compile(r"[;\r\n]+")
RESULT = re.compile(r"(?P<digest>[0-9a-f]{64})(?::(?P<cycle>.+))?", re.DOTALL)
#: Fields that say how cycles are to be searched for, as on the page on which one asks.
OPTIONS = ("layers", "free", "matters", *TICKS)


@dataclass(frozen=True)
class Choice:
    """What an address asks for, as far as it can be read; ``wrong`` says what cannot.

    ``results`` are digests with cycles, which may be empty; ``options`` are those of the page on
    which one asks, as they were given.
    """

    sequences: tuple[str, ...] = ()
    cycles: tuple[str, ...] = ()
    results: tuple[tuple[str, str], ...] = ()
    start: str = ""
    size: str = "a4"
    parts: tuple[str, ...] = tuple(PARTS)
    options: tuple[tuple[str, str], ...] = ()
    wrong: tuple[str, ...] = ()

    @property
    def query(self) -> dict[str, str]:
        """What was read, as an address in which every field stands once."""
        results = (digest + (f":{cycle}" if cycle else "") for digest, cycle in self.results)
        told = {
            "sequence": ";".join(self.sequences),
            "cycle": ";".join(self.cycles),
            "result": ";".join(results),
            "start": self.start,
            "size": "" if self.size == "a4" else self.size,
            "parts": "" if self.parts == tuple(PARTS) else ",".join(self.parts),
        }
        for name, text in self.options:
            told[name] = f"{told[name]},{text}" if told.get(name) else text
        return {name: text for name, text in told.items() if text}


def choice(given: list[tuple[str, str]], told: Mapping[str, Any], most: int) -> Choice:
    """Return what an address asks to stand on a sheet, with at most so many sequences.

    ``told`` is the puzzle in short.
    """
    fields: dict[str, list[str]] = {}
    for name, value in given:
        fields.setdefault(name, []).append(value)
    wrong: list[str] = []

    def listed(name: str) -> tuple[str, ...]:
        texts = [one.strip() for text in fields.get(name, ()) for one in APART.split(text)]
        found = tuple(dict.fromkeys(one for one in texts if one))
        if len(found) > most:
            wrong.append(f"{name}: {len(found):,} were given; the first {most:,} were read")
        return found[:most]

    cycles = tuple(",".join(BETWEEN.split(text.strip(", "))) for text in listed("cycle"))
    results = []
    for text in listed("result"):
        found = RESULT.fullmatch(text)
        if found is None:
            wrong.append(
                f"result: {text[:20]!r} was given; the 64 letters and digits of a result's address "
                "were expected, and after a colon its cycle if need be"
            )
        else:
            results.append((found["digest"], found["cycle"] or ""))
    size = (fields.get("size") or ["a4"])[-1] or "a4"
    if size not in SIZES:
        wrong.append(f"size: {size[:20]!r} was given; one of {' '.join(SIZES)} was expected")
        size = "a4"
    asked = [one for text in fields.get("parts", ()) for one in BETWEEN.split(text) if one]
    unknown = next((one for one in asked if one not in PARTS), None)
    if unknown is not None:
        wrong.append(f"parts: there is no part {unknown[:20]!r}; there are {' '.join(PARTS)}")
    parts = tuple(name for name in PARTS if name in asked) or tuple(PARTS)
    options = [(name, text) for name in OPTIONS for text in fields.get(name, ()) if text]
    start = (fields.get("start") or [""])[-1].strip()
    return Choice(
        listed("sequence"), cycles, tuple(results), start, size, parts, tuple(options), tuple(wrong)
    )


Paper = Literal["a4", "letter"]
