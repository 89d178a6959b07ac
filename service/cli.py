"""The command `trefoil`: how it starts and ends, and what becomes of errors.

Next to nothing is imported here, so that Ctrl-C is listened to before the slow imports begin.
"""

from __future__ import annotations

import os
import signal
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import FrameType

#: The exit status after an interrupt.
INTERRUPTED = 130
#: One entry for each time that an interrupt came.
_interrupts: list[int] = []


def _leave(number: int, frame: FrameType | None) -> None:
    """Leave at once: while nothing is begun, and when all is done, there is nothing to clean up."""
    os._exit(INTERRUPTED)


def _interrupt(number: int, frame: FrameType | None) -> None:
    _interrupts.append(number)
    raise KeyboardInterrupt


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit status."""
    # A program that is started in the background is told to ignore interrupts, and does.
    listens = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if listens:
        signal.signal(signal.SIGINT, _leave)
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    from service import output

    if sys.stdout is None:
        output.say("standard output is closed, so that nothing could be printed")
        sys.exit(output.BAD_INPUT)
    from service import commands as _slow  # noqa: F401

    if listens:
        signal.signal(signal.SIGINT, _interrupt)
    status = run(sys.argv[1:] if arguments is None else arguments)
    if listens:
        signal.signal(signal.SIGINT, _leave)
    sys.exit(status)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; every error becomes one sentence."""
    from service import output
    from service.settings import debug

    _interrupts.clear()
    try:
        return _run(arguments)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        output.discard()
        return output.BROKEN_PIPE
    except Exception as error:
        # An import that is interrupted may end in any error.
        if _interrupts:
            return INTERRUPTED
        if isinstance(error, OSError) and error.errno in output.NO_ROOM:
            error = output.output_error(error)
        if isinstance(error, output.OutputError):
            output.discard()
            output.say(str(error))
            return output.BAD_INPUT
        if debug():
            raise
        output.say(
            f"something unexpected went wrong ({type(error).__name__}: {str(error)[:200]}); "
            "with TREFOIL_DEBUG=1 it is shown where"
        )
        return output.UNEXPECTED


def _run(arguments: Sequence[str]) -> int:
    from puzzles.errors import TrefoilError
    from service.commands import call
    from service.output import BAD_INPUT

    as_json = "--json" in arguments
    try:
        return call(arguments)
    except TrefoilError as error:
        return _failed(BAD_INPUT, "error", str(error), as_json)
    except MemoryError:
        text = "there is not enough memory for this; smaller bounds or fewer layers would fit"
        return _failed(BAD_INPUT, "error", text, as_json)
    except Exception as error:
        found = _by_kind(error)
        if found is None:
            raise
        return _failed(*found, as_json)


def _by_kind(error: Exception) -> tuple[int, str, str] | None:
    """Return exit status, the JSON's key and the text for an error that has a meaning."""
    from service.commands import misused
    from service.output import BAD_INPUT, IMPOSSIBLE, NONE_FOUND

    text = misused(error)
    if text is not None:
        return BAD_INPUT, "error", text
    if isinstance(error, OSError):
        return None
    from search.impossible import ImpossibleError

    if isinstance(error, ImpossibleError):
        return IMPOSSIBLE, "reason", str(error)
    from service.engine import NoFormError

    if isinstance(error, NoFormError):
        return NONE_FOUND, "reason", str(error)
    return None


def _failed(status: int, key: str, text: str, as_json: bool) -> int:
    from service.output import print_json, say

    if as_json:
        print_json({key: text})
    else:
        say(text)
    return status


if __name__ == "__main__":
    main()
