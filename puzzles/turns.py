"""Layers and turns, the values that sequences are made of."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Layer:
    """What turns as one: everything between two depths on an axis.

    ``axis`` is a unit vector; ``low`` and ``high`` are distances from the centre along it;
    ``steps`` smallest steps make a full turn. A positive amount is clockwise as seen from outside.
    """

    name: str
    axis: tuple[float, float, float]
    low: float
    high: float
    steps: int


@dataclass(frozen=True, order=True)
class Turn:
    """One layer turned by an amount, counted in the layer's smallest steps, clockwise."""

    layer: str
    amount: int

    def __str__(self) -> str:
        return self.layer + ("" if self.amount == 1 else str(self.amount))
