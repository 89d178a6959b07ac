"""The command `trefoil`: its commands, and what becomes of errors."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Annotated, cast

import typer

from puzzles.errors import TrefoilError
from service import cli_find, cli_puzzle
from service.output import (
    BAD_INPUT,
    BROKEN_PIPE,
    FOUND,
    IMPOSSIBLE,
    INTERRUPTED,
    NONE_FOUND,
    UNEXPECTED,
    print_json,
    print_text,
    say,
)
from service.settings import debug

app = typer.Typer(
    name="trefoil",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command()(cli_puzzle.puzzles)
app.command()(cli_puzzle.parts)
app.command()(cli_find.find)
app.command(name="try")(cli_puzzle.attempt)
app.command()(cli_find.atlas)
app.command()(cli_puzzle.scramble)


@app.callback(invoke_without_command=True)
def trefoil(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Say which version this is.")] = False,
) -> int:
    """Find the shortest and the easiest sequences that cycle three pieces of a turning puzzle."""
    if version:
        from importlib.metadata import version as installed

        print_text(f"trefoil {installed('trefoil-finder')}")
        raise typer.Exit(FOUND)
    if context.invoked_subcommand is None:
        say("a command is missing; `trefoil --help` lists them")
        raise typer.Exit(BAD_INPUT)
    return FOUND


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    status = run(given)
    try:
        sys.stdout.flush()
    except OSError:
        status = _no_reader()
    sys.exit(status)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; every error becomes one sentence."""
    try:
        return _run(arguments)
    except KeyboardInterrupt:
        say("stopped")
        return INTERRUPTED
    except BrokenPipeError:
        return _no_reader()
    except Exception as error:
        if debug():
            raise
        say(
            f"something unexpected went wrong ({type(error).__name__}: {str(error)[:200]}); "
            "with TREFOIL_DEBUG=1 it is shown where"
        )
        return UNEXPECTED


def _run(arguments: Sequence[str]) -> int:
    as_json = "--json" in arguments
    try:
        status = app(args=list(arguments), prog_name="trefoil", standalone_mode=False)
        return int(status or FOUND)
    except typer.Exit as leaving:
        return int(leaving.exit_code)
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
    # The base class of all that is wrong with how a command was written.
    usage = cast(type[typer.BadParameter], typer.BadParameter.__mro__[1])
    if isinstance(error, usage):
        text = error.format_message()
        return BAD_INPUT, "error", text[:1].lower() + text[1:].rstrip(".")
    from search.impossible import ImpossibleError

    if isinstance(error, ImpossibleError):
        return IMPOSSIBLE, "reason", str(error)
    from service.engine import NoFormError

    if isinstance(error, NoFormError):
        return NONE_FOUND, "reason", str(error)
    return None


def _failed(status: int, key: str, text: str, as_json: bool) -> int:
    if as_json:
        print_json({key: text})
    else:
        say(text)
    return status


def _no_reader() -> int:
    """Let nothing more be written to a pipe that nobody reads; return the exit status."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return BROKEN_PIPE


if __name__ == "__main__":
    main()
