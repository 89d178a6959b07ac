"""Processes that leave when the one that began them is gone, whatever they are doing."""

from __future__ import annotations

import os
import threading
import time

#: How often it is looked whether the parent is there, in seconds.
LOOK_SECONDS = 0.1


def leave_with(parent: int, grace: float = 0.0) -> None:
    """End this process soon after its parent has ended; ``grace``: seconds to leave by itself.

    It is looked from a thread, since the work may take long. What a worker had is taken by others
    when its lease has run out.
    """

    def look() -> None:
        while os.getppid() == parent:
            time.sleep(LOOK_SECONDS)
        time.sleep(grace)
        os._exit(1)

    threading.Thread(target=look, name="parent", daemon=True).start()
