"""One family of errors: what was wrong, where, and what would be right, in one sentence."""

from __future__ import annotations


class TrefoilError(ValueError):
    """Something that a person asked for and that cannot be; the text is one clear sentence."""


class PuzzleFileError(TrefoilError):
    """A puzzle file that is not well formed, or describes a body that cannot be cut so."""


class NameNotFoundError(TrefoilError):
    """An unknown puzzle, layer, piece type, slot or sticker; the text lists the nearest ones."""


class NotationError(TrefoilError):
    """A sequence that cannot be read; the text says at which character and what is allowed."""


class RequestError(TrefoilError):
    """A request that contradicts itself, such as a cycle that names a piece twice."""


class LimitError(TrefoilError):
    """A request that would need more turns, memory or time than is allowed or there."""
