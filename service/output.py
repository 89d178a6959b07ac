"""What reaches a terminal or a script: clean text, JSON, exit codes, files written whole."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import tempfile
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from puzzles.errors import RequestError

#: Exit codes.
FOUND, NONE_FOUND, BAD_INPUT, IMPOSSIBLE = 0, 1, 2, 3
INTERRUPTED, BROKEN_PIPE, UNEXPECTED = 130, 141, 70
#: How wide tables are where the output is no terminal, in characters.
PIPED_WIDTH = 120


def clean(text: str) -> str:
    """Return text without what could steer a terminal: control and invisible characters.

    A line break stays. Surrogates, which stand for bytes that are no text, become ``\\ufffd``.
    """
    kept = []
    for sign in text:
        kind = unicodedata.category(sign)
        if kind == "Cs":
            kept.append("\ufffd")
        elif sign == "\n" or kind not in ("Cc", "Cf", "Zl", "Zp"):
            kept.append(sign)
    return "".join(kept)


def say(text: str) -> None:
    """Tell the person at the terminal something, on standard error, in one line."""
    line = " ".join(clean(text).split())
    with contextlib.suppress(OSError, ValueError):
        print(f"trefoil: {line}", file=sys.stderr, flush=True)


def print_json(data: Mapping[str, Any]) -> None:
    """Print an object as JSON in plain ASCII, in which no control character is left."""
    print(json.dumps(data, indent=2, ensure_ascii=True), flush=True)


def print_text(text: str = "") -> None:
    """Print plain text, control characters dropped, what the output cannot show replaced."""
    encoding = sys.stdout.encoding or "utf-8"
    print(clean(text).encode(encoding, "replace").decode(encoding), flush=True)


def check_writable(path: Path | None) -> None:
    """Raise RequestError if a file could not be written, before long work is begun for it."""
    if path is None:
        return
    if path.is_dir():
        raise RequestError(f"{path}: a file was expected, this is a folder")
    folder = path.parent
    if not folder.is_dir():
        raise RequestError(f"{path}: cannot be written, the folder {folder} is not there")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise RequestError(f"{path}: cannot be written, the folder {folder} is not writable")


def write_file(path: Path, text: str) -> None:
    """Write a file whole or not at all; raises RequestError if it cannot be written."""
    check_writable(path)
    temporary = None
    try:
        number, temporary = tempfile.mkstemp(dir=path.parent, prefix=".trefoil-")
        with os.fdopen(number, "w", encoding="utf-8") as stream:
            stream.write(text)
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise RequestError(f"{path}: cannot be written ({error.strerror})") from None
