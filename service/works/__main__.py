"""One worker process as the service begins it: `python -m service.works PARENT`."""

from __future__ import annotations

import logging
import sys
from collections.abc import Sequence

from puzzles.errors import RequestError
from service import logs
from service.output import BAD_INPUT, FOUND, say
from service.settings import service_settings
from service.stores.base import StoreError
from service.works import process


def main(arguments: Sequence[str]) -> int:
    """Be a worker of the process whose number is given; return the exit status."""
    if len(arguments) != 1 or not arguments[0].isdecimal():
        say("a worker is begun by `trefoil serve`; `trefoil work` begins one more")
        return BAD_INPUT
    logs.configure(level=logging.WARNING)
    try:
        settings = service_settings()
        process.work(settings, int(arguments[0]), process.tell_ready)
    except (RequestError, StoreError) as error:
        say(str(error))
        return BAD_INPUT
    return FOUND


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
