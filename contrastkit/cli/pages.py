"""The commands for people who do not code: open, lab."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from contrastkit.cli.printing import ALL_WELL, EXIT_CODES, add_json, help_with, report

_PLACE = """\
The catalogue is one file in your user's data folder, or where the environment variable CONTRASTKIT_PILE or --pile
says. Pages are shown to this computer only, and only to whoever has the key at the end of the address; nothing is
fetched from anywhere else. Stop with Ctrl-C. What serves them: pip install 'contrastkit[notebook]'

"""


def add_commands(commands: Any) -> None:
    """Add `open` and `lab` to the parser's commands."""
    for name, what, run in (
        ("open", "open the whole job as pages in your browser", _open),
        ("lab", "open the notebooks behind the pages in JupyterLab", _lab),
    ):
        command = commands.add_parser(
            name, help=what, description=f"{what[0].upper()}{what[1:]}.", **help_with(_PLACE + EXIT_CODES)
        )
        command.add_argument("name", nargs="?", default="whole_job", metavar="NAME",
                             help="photograph, sort, explore, stack, plan, teach, or whole_job (if not given)")
        command.add_argument("--pile", metavar="WHERE", help="the catalogue, if it is not the usual one")
        command.add_argument("--port", type=int, default=0, metavar="N", help="listen there; else at any free one")
        command.add_argument("--no-browser", action="store_true", help="open no browser, only print the address")
        add_json(command)
        command.set_defaults(run=run)


def _open(options: argparse.Namespace) -> int:
    from contrastkit.panels.serving import serve_pages

    serve_pages(options.name, where=options.pile, port=options.port, browser=not options.no_browser,
                opened=lambda address: _said(options, address))
    return ALL_WELL


def _lab(options: argparse.Namespace) -> int:
    from contrastkit.panels.serving import serve_lab

    serve_lab(options.name, where=options.pile, port=options.port, browser=not options.no_browser,
              opened=lambda address: _said(options, address))
    return ALL_WELL


def _said(options: argparse.Namespace, address: str) -> None:
    report(options, {"address": address}, [address, "Stop with Ctrl-C; what was kept is safe."])
    sys.stdout.flush()  # whoever reads it from a pipe waits for it
