"""A sequence as people write it: a tree of turns, repeats, inverses, commutators, conjugates."""

from __future__ import annotations

from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Written:
    """A turn or a rotation by its name, with an amount from 0 to ``steps`` - 1, clockwise.

    ``at`` is the character (from 1) at which it was read, for errors; it makes no difference.
    """

    name: str
    amount: int
    steps: int
    at: int = field(default=0, compare=False, repr=False)

    def inverse(self) -> Written:
        return replace(self, amount=-self.amount % self.steps)


@dataclass(frozen=True)
class Sequence:
    """Parts done left to right: none, or two and more (one part alone stands for itself)."""

    parts: tuple[Tree, ...]


@dataclass(frozen=True)
class Repeat:
    """A part done several times over."""

    part: Tree
    times: int


@dataclass(frozen=True)
class Inverse:
    """A part undone."""

    part: Tree


@dataclass(frozen=True)
class Commutator:
    """``[A, B] = A B A' B'``."""

    a: Tree
    b: Tree


@dataclass(frozen=True)
class Conjugate:
    """``[S: X] = S X S'``."""

    setup: Tree
    part: Tree


Tree = Written | Sequence | Repeat | Inverse | Commutator | Conjugate


def sequence(parts: list[Tree] | tuple[Tree, ...]) -> Tree:
    """Return the parts in a row; one part alone is returned itself."""
    return parts[0] if len(parts) == 1 else Sequence(tuple(parts))


def amount_text(amount: int, steps: int) -> str:
    """Return an amount as it is written after a name: the way round that is shorter.

    A quarter turn is ``""``, ``"2"`` or ``"'"``, a fifth ``""``, ``"2"``, ``"2'"`` or ``"'"``;
    no turn at all is the whole turn, ``"4"`` of four steps.
    """
    amount = amount % steps or steps
    back = steps < 2 * amount < 2 * steps
    size = steps - amount if back else amount
    return ("" if size == 1 else str(size)) + ("'" if back else "")


def text(tree: Tree) -> str:
    """Return a tree as it is written; reading that gives the tree back."""
    match tree:
        case Written(name, amount, steps):
            return name + amount_text(amount, steps)
        case Sequence(parts):
            return " ".join(
                f"({text(part)})" if isinstance(part, Sequence) else text(part) for part in parts
            )
        case Repeat(part, times):
            return _closed(part, Repeat) + str(times)
        case Inverse(part):
            return _closed(part, Inverse) + "'"
        case Commutator(a, b):
            return f"[{text(a)}, {text(b)}]"
        case Conjugate(setup, part):
            return f"[{text(setup)}: {text(part)}]"


def _closed(part: Tree, outer: type[Repeat] | type[Inverse]) -> str:
    """Return a part so that a number or an apostrophe after it means all of it.

    A repeat may be followed by an apostrophe, an inverse by a number, once each.
    """
    if isinstance(part, Commutator | Conjugate):
        return text(part)
    if isinstance(part, Repeat | Inverse) and not isinstance(part, outer):
        simple = not isinstance(part.part, Repeat | Inverse)
        return text(part) if simple else f"({text(part)})"
    return f"({text(part)})"


def count(tree: Tree) -> int:
    """Return how many turns and rotations a tree is when written out, without doing so."""
    match tree:
        case Written():
            return 1
        case Sequence(parts):
            return sum(count(part) for part in parts)
        case Repeat(part, times):
            return times * count(part)
        case Inverse(part):
            return count(part)
        case Commutator(a, b):
            return 2 * (count(a) + count(b))
        case Conjugate(setup, part):
            return 2 * count(setup) + count(part)


def expand(tree: Tree) -> list[Written]:
    """Return the turns and rotations of a tree in the order in which they are done."""
    match tree:
        case Written():
            return [tree]
        case Sequence(parts):
            return [step for part in parts for step in expand(part)]
        case Repeat(part, times):
            return expand(part) * times
        case Inverse(part):
            return undone(expand(part))
        case Commutator(a, b):
            first, second = expand(a), expand(b)
            return first + second + undone(first) + undone(second)
        case Conjugate(setup, part):
            before = expand(setup)
            return before + expand(part) + undone(before)


def undone(steps: list[Written]) -> list[Written]:
    """Return the turns and rotations that undo some."""
    return [step.inverse() for step in reversed(steps)]
