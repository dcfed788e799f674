"""
The command line: what was asked for, handed to the rooms, and what came of it, printed.

Nothing is loaded before it is needed.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import Any

from contrastkit.cli import charts, pages, photos, pile, stacks, teach
from contrastkit.cli.printing import (
    ALL_WELL,
    BAD_USAGE,
    EXIT_CODES,
    NO_READER,
    NOTHING,
    STOPPED,
    close_quietly,
    help_with,
    plain_warnings,
    print_anything,
    print_json,
    say,
)
from contrastkit.errors import ContrastkitError, InvalidInputError


def main(argv: Sequence[str] | None = None) -> int:
    """
    Return the exit code of a command line, once its work is done and its results are printed.

    Parameters
    ----------
    argv : the words after `contrastkit`; those of the process, if not given

    >>> main(["groups"]) == BAD_USAGE
    True
    """
    print_anything()
    try:
        options = _parser().parse_args(argv)
        code = _run(options)
        sys.stdout.flush()
        return code
    except SystemExit as stop:  # argparse has said what there is to say
        return stop.code if isinstance(stop.code, int) else ALL_WELL
    except KeyboardInterrupt:
        say("Stopped. Nothing more was written.")
        return STOPPED
    except BrokenPipeError:
        close_quietly()
        return NO_READER


def _run(options: argparse.Namespace) -> int:
    try:
        with plain_warnings():
            code: int = options.run(options)
        return code
    except ContrastkitError as error:
        say(str(error))
        if options.json:
            print_json({"error": str(error)})
        return BAD_USAGE if isinstance(error, InvalidInputError) else NOTHING


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "contrastkit",
        description="Measure how light painted swatches are from photographs, sort them, choose stacks, plan blocks.",
        **help_with(EXIT_CODES),
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and stop")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    photos.add_commands(commands)
    stacks.add_commands(commands)
    charts.add_commands(commands)
    teach.add_commands(commands)
    pile.add_commands(commands)
    pages.add_commands(commands)
    return parser


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import PackageNotFoundError, version

        try:
            number = version("contrastkit")
        except PackageNotFoundError:
            number = "(not installed)"
        print(f"contrastkit {number}")
        parser.exit()
