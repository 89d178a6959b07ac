"""The list of commands, and how one is called from the words of a command line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, cast

import typer

from service import (
    cli_cover,
    cli_depths,
    cli_find,
    cli_finish,
    cli_method,
    cli_puzzle,
    cli_read,
    cli_serve,
    cli_solve,
    cli_store,
)
from service.output import BAD_INPUT, FOUND, print_text, say

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
app.command()(cli_read.read)
app.command()(cli_find.atlas)
app.command()(cli_method.method)
app.command()(cli_finish.finish)
app.command()(cli_cover.cover)
app.command()(cli_solve.solve)
app.command()(cli_puzzle.scramble)
app.command()(cli_depths.depths)
app.command()(cli_serve.serve)
app.command()(cli_serve.work)
app.command()(cli_store.backup)
app.command()(cli_store.restore)


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


def call(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; errors are raised as they are.

    Typer's own way to run a command is not taken: it ends the program with status 1 when nobody
    reads on, and makes an error of its own of an interrupt.
    """
    command = typer.main.get_command(app)
    try:
        with command.make_context("trefoil", [_no_option(word) for word in arguments]) as context:
            return int(command.invoke(context) or FOUND)
    except typer.Exit as leaving:
        return int(leaving.exit_code)


def _no_option(word: str) -> str:
    """Return a word in which an arrow, which begins like an option, is no option."""
    return f"→{word[2:]}" if word.startswith("->") else word


def misused(error: Exception) -> str | None:
    """Return what is wrong with how a command was written, None for any other error."""
    # The base class of all that is wrong with how a command was written.
    usage = cast(type[typer.BadParameter], typer.BadParameter.__mro__[1])
    if not isinstance(error, usage):
        return None
    text = error.format_message()
    return text[:1].lower() + text[1:].rstrip(".")
