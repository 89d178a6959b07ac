"""Parities and sums of twists, up to what some sequences add to them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]

#: With more values that sequences add than this, all sums that they change count as theirs to mend.
MOST_ADDED = 128
#: Codes stay below this.
MOST_CODES = 2**62
_ODD = np.uint64(0x9E3779B97F4A7C15)


class Sums:
    """Vectors modulo ``moduli``, taken for the same where they differ by what some add together."""

    def __init__(self, moduli: Numbers, added: Iterable[Numbers]) -> None:
        self.moduli = moduli
        rows = {tuple((own % moduli).tolist()) for own in added}
        zero = tuple([0] * len(moduli))
        found, queue = {zero}, [zero]
        for own in queue:
            for row in sorted(rows):
                there = tuple(
                    (a + b) % int(m) for a, b, m in zip(own, row, moduli.tolist(), strict=True)
                )
                if there not in found and len(found) <= MOST_ADDED:
                    found.add(there)
                    queue.append(there)
        #: Which sums nothing that is added changes.
        changed = np.array(sorted(found), dtype=np.int64).reshape(len(found), len(moduli)) != 0
        self.fixed: NDArray[np.bool_] = np.logical_not(changed.any(axis=0))
        every = len(found) <= MOST_ADDED
        self._group = np.array(sorted(found) if every else [zero], dtype=np.int64)
        radix, product = [], 1
        for modulus, fixed in zip(moduli.tolist(), self.fixed.tolist(), strict=True):
            counts = (every or fixed) and product * int(modulus) < MOST_CODES
            radix.append(product if counts else 0)
            product *= int(modulus) if counts else 1
        self._radix = np.array(radix, dtype=np.int64)

    def codes(self, values: Numbers) -> Numbers:
        """Return a number for each of some vectors (n, sums): nought for what can be mended."""
        if not len(self.moduli):
            return np.zeros(len(values), dtype=np.int64)
        best = np.full(len(values), MOST_CODES, dtype=np.int64)
        for own in self._group:
            np.minimum(best, ((values + own) % self.moduli) @ self._radix, out=best)
        return best

    def code(self, value: Numbers) -> int:
        """Return the number of one vector."""
        return int(self.codes(value[None, :])[0])

    @staticmethod
    def marks(codes: Numbers) -> NDArray[np.uint64]:
        """Return a number to be added to keys for each code, nought for nought."""
        return codes.astype(np.uint64) * _ODD
