"""What a puzzle is: bodies, layers, cutting, the compiled tables, notation, names, pictures."""

from puzzles.compile import load
from puzzles.errors import TrefoilError
from puzzles.puzzle import Puzzle

__all__ = ["Puzzle", "TrefoilError", "load"]
