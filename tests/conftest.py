"""What all tests share: hypothesis without time limits, so that a slow machine fails nothing."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("trefoil", deadline=None, max_examples=60, derandomize=True)
settings.load_profile("trefoil")
