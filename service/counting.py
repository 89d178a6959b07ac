"""How often an asker does something within a day or an hour, counted in the store for everybody."""

from __future__ import annotations

import hashlib
import time

from service.stores.base import Store, TooManyError

#: How many entries are looked through for those of windows that are past.
SWEPT = 1_000


def count(store: Store, kind: str, asker: str, most: int, seconds: int, text: str) -> None:
    """Count one more of a kind in the window of so many seconds that it is now.

    Raises TooManyError with ``text`` if the asker has had ``most`` of them, StoreError.
    """
    now = time.time()
    window = f"{int(now // seconds)}-"
    for name in store.things.names(kind, SWEPT):
        if not name.startswith(window):
            store.things.remove(kind, name)
    who = hashlib.sha256(asker.encode()).hexdigest()[:32]
    if not any(store.things.put(kind, f"{window}{who}-{k}", b"") for k in range(most)):
        raise TooManyError(text, retry_after=int(seconds - now % seconds) + 1)
