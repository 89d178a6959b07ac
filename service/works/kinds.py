"""Which work does which kind of job; each is imported when the first of its kind is done."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import get_args

from puzzles.errors import RequestError
from service.questions import Kind
from service.works.base import Work

#: From the kind of a job to the module and the class that does it.
KINDS: dict[str, tuple[str, str]] = {
    "find": ("service.works.finding", "FindWork"),
    "atlas": ("service.works.atlas", "AtlasWork"),
    "effect": ("service.works.effects", "EffectWork"),
    "blocked": ("service.works.blocked", "BlockedWork"),
    "blocked-atlas": ("service.works.blocked", "BlockedAtlasWork"),
    "parts": ("service.works.parts", "PartsWork"),
    "finish": ("service.works.finishing", "FinishWork"),
    "solve": ("service.works.solving", "SolveWork"),
    "method": ("service.works.methods", "MethodWork"),
    "compile": ("service.works.compiling", "CompileWork"),
}
assert set(KINDS) == set(get_args(Kind))


@cache
def work_for(kind: str) -> Work:
    """Return what does jobs of a kind, always the same; raises RequestError for an unknown one."""
    if kind not in KINDS:
        raise RequestError(f"work of the kind {kind[:20]!r} is not known to this worker")
    module, name = KINDS[kind]
    made = getattr(import_module(module), name)()
    assert isinstance(made, Work)
    return made
