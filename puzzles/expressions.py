"""Sizes and angles in puzzle files: small formulas such as ``sqrt(3)/3`` or ``to(UFR) + 9deg``."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from puzzles.errors import PuzzleFileError

#: The longest formula that is read, in characters; a size never needs more.
LONGEST = 200
#: How deep brackets may be nested; deeper ones are no sizes.
DEEPEST = 20

#: From the letters of faces to the angle, in radians, that ``to(...)`` stands for.
Direction = Callable[[str], float]

_TOKEN = re.compile(r"\s*(?:(\d+\.?\d*(?:[eE][-+]?\d+)?|\.\d+)|([A-Za-z]+)|([-+*/()]))")
_OF_ANGLES = {"sin": math.sin, "cos": math.cos, "tan": math.tan}
_TO_ANGLES = {"asin": math.asin, "acos": math.acos, "atan": math.atan}


@dataclass(frozen=True)
class _Value:
    """A plain number, or an angle in radians."""

    amount: float
    is_angle: bool = False


def size(text: str | float | int, where: str) -> float:
    """Return the value of a formula made of numbers, ``+ - * /``, brackets and ``sqrt(...)``.

    Angles (``30deg``, ``acos(1/3)``) may stand inside ``sin``, ``cos`` and ``tan``. ``where`` names
    the entry of the file and stands in the error. Raises PuzzleFileError.
    """
    value = _value(text, where, None)
    if value.is_angle:
        raise PuzzleFileError(f"{where}: {text!r} is an angle; a number was expected")
    return value.amount


def angle(text: str | float | int, where: str, to: Direction | None = None) -> float:
    """Return the angle, in radians, of a formula such as ``30deg`` or ``to(UFR) + 9deg``.

    ``to`` gives the angle that ``to(LETTERS)`` stands for; without it that is not known here.
    Raises PuzzleFileError.
    """
    value = _value(text, where, to)
    if not value.is_angle:
        raise PuzzleFileError(
            f'{where}: {text!r} is a plain number; an angle was expected, such as "30deg"'
        )
    return value.amount


def either(text: str | float | int, where: str, to: Direction | None = None) -> tuple[float, bool]:
    """Return the value of a formula, and whether it is an angle; raises PuzzleFileError."""
    value = _value(text, where, to)
    return value.amount, value.is_angle


def _value(text: str | float | int, where: str, to: Direction | None) -> _Value:
    if isinstance(text, int | float):
        value = _Value(float(text))
    else:
        value = _Reader(text, where, to).value()
    if not math.isfinite(value.amount):
        raise PuzzleFileError(f"{where}: {text!r} is not a finite number")
    return value


class _Reader:
    """Recursive descent over one formula: sum, product, factor."""

    def __init__(self, text: str, where: str, to: Direction | None) -> None:
        self.text, self.where, self.to = text, where, to
        self.at, self.depth = 0, 0
        if len(text) > LONGEST:
            raise PuzzleFileError(f"{where}: a size of at most {LONGEST} characters was expected")
        self.tokens: list[tuple[int, str]] = []
        position = 0
        while text[position:].strip():
            match = _TOKEN.match(text, position)
            if match is None:
                bad = len(text) - len(text[position:].lstrip())
                if text[bad] == "?":
                    raise PuzzleFileError(
                        f"{where}: {text!r} leaves a size open; `trefoil depths` proposes sizes "
                        "from counted pieces"
                    )
                raise self.error(bad, "a number, sqrt, a bracket or one of + - * /")
            self.tokens.append((match.start(match.lastindex or 0), match.group().strip()))
            position = match.end()

    def error(self, position: int, expected: str) -> PuzzleFileError:
        return PuzzleFileError(
            f"{self.where}: {self.text!r} at character {position + 1}: expected {expected}"
        )

    def peek(self) -> str:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else ""

    def take(self) -> str:
        token = self.peek()
        self.at += 1
        return token

    def position(self) -> int:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else len(self.text)

    def value(self) -> _Value:
        result = self.sum()
        if self.at < len(self.tokens):
            raise self.error(self.position(), "the end")
        return result

    def sum(self) -> _Value:
        result = self.product()
        while self.peek() in ("+", "-"):
            sign = 1.0 if self.take() == "+" else -1.0
            position = self.position()
            other = self.product()
            if other.is_angle != result.is_angle:
                what = 'an angle, such as "9deg",' if result.is_angle else "a plain number"
                raise self.error(position, f"{what} to be added or taken away")
            result = _Value(result.amount + sign * other.amount, result.is_angle)
        return result

    def product(self) -> _Value:
        result = self.factor()
        while self.peek() in ("*", "/"):
            position, operator = self.position(), self.take()
            right = self.factor()
            if operator == "*":
                if result.is_angle and right.is_angle:
                    raise self.error(position, "a plain number on one side of *")
                both = result.is_angle or right.is_angle
                result = _Value(result.amount * right.amount, both)
                continue
            if right.amount == 0.0:
                raise self.error(position, "a divisor other than zero")
            if right.is_angle and not result.is_angle:
                raise self.error(position, "a plain number as a divisor")
            quotient = result.amount / right.amount
            result = _Value(quotient, result.is_angle and not right.is_angle)
        return result

    def factor(self) -> _Value:
        position, token = self.position(), self.take()
        if token == "-":
            # As deep as brackets, so that a long row of signs is no deep recursion.
            self.deeper(position)
            inside = self.factor()
            self.depth -= 1
            return _Value(-inside.amount, inside.is_angle)
        if token == "(":
            return self.bracket(position)
        if token == "to":
            return self.direction(position)
        if token == "sqrt":
            inside = self.argument(position, token)
            if inside.is_angle:
                raise self.error(position, "a root of a plain number")
            if inside.amount < 0.0:
                raise self.error(position, "a root of something that is not negative")
            return _Value(math.sqrt(inside.amount))
        if token in _OF_ANGLES:
            inside = self.argument(position, token)
            if not inside.is_angle or not math.isfinite(inside.amount):
                raise self.error(position, f'{token} of an angle, such as "30deg"')
            return _Value(_OF_ANGLES[token](inside.amount))
        if token in _TO_ANGLES:
            inside = self.argument(position, token)
            if inside.is_angle or (token != "atan" and abs(inside.amount) > 1.0 + 1e-12):
                raise self.error(position, f"{token} of a plain number from -1 to 1")
            amount = inside.amount if token == "atan" else max(-1.0, min(1.0, inside.amount))
            return _Value(_TO_ANGLES[token](amount), True)
        if token and (token[0].isdigit() or token[0] == "."):
            amount = float(token)
            if self.peek() == "deg":
                self.take()
                return _Value(math.radians(amount), True)
            return _Value(amount)
        raise self.error(position, "a number, sqrt or a bracket")

    def deeper(self, position: int) -> None:
        self.depth += 1
        if self.depth > DEEPEST:
            raise self.error(position, f"at most {DEEPEST} nested brackets")

    def argument(self, position: int, name: str) -> _Value:
        if self.take() != "(":
            raise self.error(position, f"a bracket after {name}")
        return self.bracket(position)

    def bracket(self, position: int) -> _Value:
        self.deeper(position)
        inside = self.sum()
        if self.take() != ")":
            raise self.error(min(self.position(), len(self.text)), "a closing bracket")
        self.depth -= 1
        return inside

    def direction(self, position: int) -> _Value:
        if self.to is None:
            raise self.error(position, "a size without to(), which is for the layers of a ball")
        letters = ""
        if self.take() == "(":
            letters = self.take()
        if not letters.isalpha() or self.take() != ")":
            raise self.error(position, "letters of faces in brackets after to, such as to(UFR)")
        return _Value(self.to(letters), True)
