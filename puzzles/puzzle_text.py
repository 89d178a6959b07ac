"""A puzzle's model as the text of a puzzle file, which reads back as the same model."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from typing import Any

from puzzles import file


def written(model: file.PuzzleModel, without: Collection[str] = ()) -> str:
    """Return the text of the puzzle file that describes a model, without some of its keys."""
    data = {
        key: value
        for key, value in model.model_dump(exclude_unset=True).items()
        if key not in without
    }
    plain = {k: v for k, v in data.items() if not _table(v)}
    lines = [f"{key} = {in_toml(value)}" for key, value in plain.items()]
    for key, value in data.items():
        if not _table(value):
            continue
        for entry in value if isinstance(value, list) else [value]:
            head = f"[[{key}]]" if isinstance(value, list) else f"[{key}]"
            lines += ["", head]
            lines += [f"{name} = {in_toml(own)}" for name, own in entry.items()]
    return "\n".join(lines) + "\n"


def _table(value: Any) -> bool:
    """Return whether a value stands in a table, or tables, of its own."""
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and all(isinstance(x, dict) for x in value)
    )


def in_toml(value: Any) -> str:
    """Return a value as it stands in a puzzle file."""
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_text(str(k))} = {in_toml(v)}" for k, v in value.items())
        return "{" + inside + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(in_toml(x) for x in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    return repr(value)


def _text(text: str) -> str:
    # TOML reads the escapes of JSON, but for surrogate pairs; those are not needed unescaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
