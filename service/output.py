"""What reaches a terminal or a script: clean text, JSON, exit codes, files written whole."""

from __future__ import annotations

import contextlib
import errno
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
#: How wide lines are where neither a terminal nor COLUMNS says it, in characters.
PIPED_WIDTH = 100
#: What the system says when there is no room for what is written.
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)


class OutputError(Exception):
    """Standard output that takes nothing, such as one on a full disk; the text says so."""


def output_error(error: OSError) -> OutputError:
    """Return the error that says why nothing could be printed."""
    return OutputError(f"the output could not be written ({error.strerror})")


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


def write(text: str) -> None:
    """Write text to standard output at once; raises BrokenPipeError and OutputError.

    What the output's encoding does not have is replaced.
    """
    encoding = sys.stdout.encoding or "utf-8"
    try:
        sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise output_error(error) from None


def discard() -> None:
    """Let what standard output could not take, and all that follows, go nowhere."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def print_json(data: Mapping[str, Any]) -> None:
    """Print an object as JSON in plain ASCII, in which no control character is left."""
    write(json.dumps(data, indent=2, ensure_ascii=True) + "\n")


def print_text(text: str = "") -> None:
    """Print plain text, control characters dropped."""
    write(clean(text) + "\n")


def checked(text: str | None) -> Path | None:
    """Return the path of a file to be written, before long work is begun for it.

    Raises RequestError if it could not be written.
    """
    if text is None:
        return None
    if not text:
        raise RequestError("the name of the picture is empty")
    if "\0" in text:
        raise RequestError("the name of the picture has a character that no name can have")
    path = Path(text)
    try:
        path.stat()
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            raise RequestError(f"{text[:40]}…: the name of the picture is too long") from None
    if path.is_dir():
        raise RequestError(f"{path}: a file was expected, this is a folder")
    folder = path.parent
    if not folder.is_dir():
        raise RequestError(f"{path}: cannot be written, the folder {folder} is not there")
    if _special(path):
        return path
    if not os.access(folder, os.W_OK | os.X_OK):
        raise RequestError(f"{path}: cannot be written, the folder {folder} is not writable")
    return path


def _special(path: Path) -> bool:
    """Return whether a path is a device or a pipe, which is written to and never replaced."""
    return path.exists() and not path.is_file()


def write_file(path: Path, text: str) -> None:
    """Write a file whole or not at all; raises RequestError if it cannot be written."""
    temporary = None
    try:
        if _special(path):
            path.write_text(text, encoding="utf-8")
            return
        number, temporary = tempfile.mkstemp(dir=path.parent, prefix=".trefoil-")
        with os.fdopen(number, "w", encoding="utf-8") as stream:
            stream.write(text)
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
        temporary = None
    except OSError as error:
        raise RequestError(f"{path}: cannot be written ({error.strerror})") from None
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
