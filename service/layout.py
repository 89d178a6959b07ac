"""How wide lines are broken: paragraphs, names with values, and tables, on one printed page."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from service.output import PIPED_WIDTH, clean, write

#: The narrowest page, in characters.
LEAST_WIDTH = 20
#: Spaces between the columns of a table, and before what belongs to a heading.
GAP = INDENT = 2

_TRAILING = re.compile(r"[ ]+((?:\x1b\[[0-9;]*m)*)$", re.MULTILINE)
_GROUPED = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+[.;:]?")


class _Sheet(io.StringIO):
    """Text for standard output, which decides what signs there are."""

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return sys.stdout.encoding or "utf-8"


class Page:
    """What is printed at once; no line is longer than the page unless a word of it is."""

    def __init__(self, console: Console) -> None:
        self._console, self.width = console, console.width

    def line(self, text: object = "", style: str = "", indent: int = 0) -> None:
        """Print a paragraph."""
        for part in broken(clean(str(text)), self.width - indent):
            self._put(Text(" " * indent).append(part, style))

    def named(self, name: str, text: object, style: str = "") -> None:
        """Print a paragraph that begins with a name in another style."""
        lines = broken(f"{clean(name)} {clean(str(text))}", self.width)
        left = len(clean(name))
        for part in lines:
            plain = min(left, len(part))
            left -= plain
            self._put(Text(part[:plain]).append(part[plain:], style))

    def pairs(self, rows: Iterable[tuple[str, object]]) -> None:
        """Print names and values in two columns, indented; empty values are left out."""
        shown = [(n, clean(str(value))) for n, value in rows if value not in ("", None)]
        left = max((len(name) for name, _ in shown), default=0) + GAP
        for name, value in shown:
            for k, part in enumerate(broken(value, self.width - INDENT - left)):
                start = Text(" " * INDENT).append(("" if k else name).ljust(left), "dim")
                self._put(start.append(part))

    def table(
        self, columns: Sequence[str], rows: Iterable[Sequence[object]], numbers: str = ""
    ) -> None:
        """Print a table, or names and values for each row where its words are too wide for one.

        ``numbers`` has an ``r`` at each column that is set to the right, and a ``w`` at each of
        which cells stay whole where there is room.
        """
        cells = [[clean(str(value)) for value in row] for row in rows]
        every = [[head, *(row[k] for row in cells)] for k, head in enumerate(columns)]
        least = [max(len(word) for text in own for word in [*text.split(), ""]) for own in every]
        natural = [max(len(text) for text in own) for own in every]
        room = self.width - GAP * (len(columns) - 1)
        whole = [natural[k] if numbers[k : k + 1] == "w" else least[k] for k in range(len(columns))]
        least = whole if sum(whole) <= room else least
        if sum(least) > room:
            for row in cells:
                self.line()
                self.pairs(zip(columns, row, strict=True))
            return
        result = Table(
            box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold", padding=0
        )
        result.padding = (0, GAP - 1, 0, 0)
        wide = _widths(least, natural, room)
        for k, column in enumerate(columns):
            right = numbers[k : k + 1] == "r"
            result.add_column(column, justify="right" if right else "left", width=wide[k])
        for row in cells:
            result.add_row(*(Text(value) for value in row))
        self.line()
        self._console.print(result, crop=False)
        self.line()

    def _put(self, text: Text) -> None:
        self._console.print(text, soft_wrap=True)


def _widths(least: Sequence[int], natural: Sequence[int], room: int) -> list[int]:
    """Return widths between the least and the natural ones that fit into a room together."""
    wide = list(least)
    for _ in range(room - sum(least)):
        lacking = [want - has for want, has in zip(natural, wide, strict=True)]
        if max(lacking, default=0) <= 0:
            break
        wide[lacking.index(max(lacking))] += 1
    return wide


def broken(text: str, width: int) -> list[str]:
    """Return the lines of a paragraph; words stay whole, and long numbers break after a comma."""
    width = max(width, 1)
    lines = []
    for paragraph in text.split("\n"):
        lines += textwrap.wrap(
            " ".join(part for word in paragraph.split() for part in _number(word, width)),
            width,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [""]
    return lines


def _number(word: str, width: int) -> list[str]:
    """Return a number that is too long for a line in pieces that fit, else a word as it is."""
    if len(word) <= width or not _GROUPED.fullmatch(word):
        return [word]
    pieces = [""]
    for group in re.findall("[^,]+,?", word):
        if pieces[-1] and len(pieces[-1]) + len(group) > width:
            pieces.append("")
        pieces[-1] += group
    return pieces


@contextlib.contextmanager
def page() -> Iterator[Page]:
    """Give a page, and write it to standard output at the end; nothing on it is read as markup."""
    sheet = _Sheet()
    width = shutil.get_terminal_size((PIPED_WIDTH, 24)).columns
    console = Console(
        file=sheet,
        force_terminal=sys.stdout.isatty(),
        width=max(width, LEAST_WIDTH),
        markup=False,
        highlight=False,
        emoji=False,
    )
    yield Page(console)
    write(_TRAILING.sub(r"\1", sheet.getvalue()))
