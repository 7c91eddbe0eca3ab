"""The `snoutline` command: finds the sub-command, and turns every error into an exit code.

0 is success, 1 a defect in snoutline, 2 a wrong option or setting, 3 errors in a site's files.
"""

from __future__ import annotations

import importlib
import io
import os
import sys
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import click

from data.findings import InputError, SnoutlineError
from data.version import VERSION
from scripts.finding_lines import counted, error_lines, warning_lines

STOPPED_BY_USER = 130
DEFECT = 1


@dataclass(frozen=True, slots=True)
class Listed:
    """A command of the list: its name, its module in `scripts.commands`, and its one-line help."""

    name: str
    module: str
    help: str


COMMANDS = (
    Listed("weekly", "weekly", "Draw the week's activity map and tables of a site."),
    Listed("check", "check", "Find every mistake in a site's files, and how to mend it."),
    Listed("sheet", "sheet", "Write the round sheet of a week, for phone and paper."),
    Listed("clusters", "clusters", "Say all that the cluster tests found, and could have found."),
    Listed("plan", "plan", "Plan a treatment by zones: work order, shapes, record form."),
    Listed("efficacy", "efficacy", "Say whether treatments worked, against untreated zones."),
    Listed("season", "season", "Say when adults walk, beside past seasons and models."),
    Listed("committee", "committee", "Write one page and slides for a committee, in plain words."),
    Listed("network", "network", "Say what the traps can carry, and where the next ones go."),
    Listed("sampling", "sampling", "Say how much sampling is enough; charts for the scout."),
    Listed("export", "export", "Write a site's records in open formats, for other programs."),
)
"""Every command; a new one is a file in `scripts/commands/` and one entry here."""


class LazyGroup(click.Group):
    """A group that imports a command only when it is run: the map libraries take seconds."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        return [each.name for each in COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of that name, or None."""
        for each in COMMANDS:
            if each.name == cmd_name:
                module = importlib.import_module(f"scripts.commands.{each.module}")
                return cast("click.Command", module.command)
        return None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(each.name, each.help) for each in COMMANDS])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example:  snoutline weekly my-course --week 2026-W19",
)
@click.version_option(VERSION, prog_name="snoutline")
def cli() -> None:
    """Map where billbugs are active in a network of pitfall traps, from a folder of files."""


def main() -> None:
    """Run the command line and end with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a letter of a site's name must not end the run.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit code; every error becomes a message, never a trace.

    Examples
    --------
    >>> run(["--help"])  # doctest: +ELLIPSIS
    Usage: snoutline ...
    0
    """
    try:
        result = cli.main(list(arguments), prog_name="snoutline", standalone_mode=False)
    except Exception as error:
        if os.environ.get("SNOUTLINE_DEBUG"):
            traceback.print_exc()
        return exit_code_of(error)
    return result if isinstance(result, int) else 0


def exit_code_of(error: Exception) -> int:
    """Tell what went wrong on standard error and return the exit code for it."""
    if isinstance(error, click.Abort):
        say("stopped; nothing was half written")
        return STOPPED_BY_USER
    if isinstance(error, click.ClickException):
        error.show()
        return error.exit_code
    if isinstance(error, InputError):
        say(f"the site's files hold {error_count(error)}; nothing was written")
        for line in error_lines(error.findings):
            say(f"error: {line}")
        for line in warning_lines(error.findings):
            say(line)
        return error.exit_code
    if isinstance(error, SnoutlineError):
        say(str(error))
        return error.exit_code
    what = " ".join(f"{type(error).__name__}: {error}".split())
    say(f"{what}; this is a defect in snoutline (SNOUTLINE_DEBUG=1 shows where), please report it")
    return DEFECT


def error_count(error: InputError) -> str:
    """Return the numbers of errors and of warnings in words.

    Examples
    --------
    >>> from data.findings import Finding
    >>> error_count(InputError([Finding("IN-001", "visits.csv", "no such file", "add it")]))
    '1 error'
    """
    errors = sum(each.severity == "error" for each in error.findings)
    warnings = len(error.findings) - errors
    also = f" and {counted(warnings, 'warning')}" if warnings else ""
    return counted(errors, "error") + also


def say(text: str) -> None:
    """Talk to the user on standard error."""
    click.echo(f"snoutline: {text}", err=True)


if __name__ == "__main__":
    main()
