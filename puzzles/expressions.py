"""Sizes in puzzle files: numbers and small formulas such as ``sqrt(3)/3``, never evaluated."""

from __future__ import annotations

import math
import re

from puzzles.errors import PuzzleFileError

#: The longest formula that is read, in characters; a size never needs more.
LONGEST = 200
#: How deep brackets may be nested; deeper ones are no sizes.
DEEPEST = 20

_TOKEN = re.compile(r"\s*(?:(\d+\.?\d*(?:[eE][-+]?\d+)?|\.\d+)|([a-z]+)|([-+*/()]))")


def size(text: str | float | int, where: str) -> float:
    """Return the value of a formula made of numbers, ``+ - * /``, brackets and ``sqrt(...)``.

    ``where`` names the entry of the file and stands in the error. Raises PuzzleFileError.
    """
    value = float(text) if isinstance(text, int | float) else _Reader(text, where).value()
    if not math.isfinite(value):
        raise PuzzleFileError(f"{where}: {text!r} is not a finite number")
    return value


class _Reader:
    """Recursive descent over one formula: sum, product, factor."""

    def __init__(self, text: str, where: str) -> None:
        self.text, self.where, self.at, self.depth = text, where, 0, 0
        if len(text) > LONGEST:
            raise PuzzleFileError(f"{where}: a size of at most {LONGEST} characters was expected")
        self.tokens: list[tuple[int, str]] = []
        position = 0
        while text[position:].strip():
            match = _TOKEN.match(text, position)
            if match is None:
                bad = len(text) - len(text[position:].lstrip())
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

    def value(self) -> float:
        result = self.sum()
        if self.at < len(self.tokens):
            raise self.error(self.position(), "the end")
        return result

    def sum(self) -> float:
        result = self.product()
        while self.peek() in ("+", "-"):
            sign = 1.0 if self.take() == "+" else -1.0
            result += sign * self.product()
        return result

    def product(self) -> float:
        result = self.factor()
        while self.peek() in ("*", "/"):
            position, operator = self.position(), self.take()
            right = self.factor()
            if operator == "/" and right == 0.0:
                raise self.error(position, "a divisor other than zero")
            result = result * right if operator == "*" else result / right
        return result

    def factor(self) -> float:
        position, token = self.position(), self.take()
        if token == "-":
            return -self.factor()
        if token == "(" or token == "sqrt":
            if token == "sqrt" and self.take() != "(":
                raise self.error(position, "a bracket after sqrt")
            self.depth += 1
            if self.depth > DEEPEST:
                raise self.error(position, f"at most {DEEPEST} nested brackets")
            inside = self.sum()
            if self.take() != ")":
                raise self.error(min(self.position(), len(self.text)), "a closing bracket")
            self.depth -= 1
            if token == "(":
                return inside
            if inside < 0.0:
                raise self.error(position, "a root of something that is not negative")
            return math.sqrt(inside)
        if token and (token[0].isdigit() or token[0] == "."):
            return float(token)
        raise self.error(position, "a number, sqrt or a bracket")
