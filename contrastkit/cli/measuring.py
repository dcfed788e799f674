"""What commands have in common that measure photographs: what to measure against, progress, what failed."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from contrastkit.cli.printing import ALL_WELL, NOTHING, SOME_FAILED, numbers, plain, say, terminal_width
from contrastkit.errors import TooFewSwatchesError

if TYPE_CHECKING:
    from contrastkit.camera.pipeline import Failed
    from contrastkit.camera.reference import ReferenceChoice
    from contrastkit.show.state import PhotoState
    from contrastkit.show.study import Pile

REFERENCES = """\
what to measure against (--reference):
  auto              what references.toml says, else a 24-patch chart, else a grey card; this is the default
  card, card=49.5   a grey card, of lightness L* 49.5 (18 %) or as given
  scale=95,81,66,51,36,20
                    a grey scale of steps that touch, their lightness L* from light to dark
  chart             a 24-patch chart
  none              nothing: the photograph is taken at its word, and every lightness is rough

  A grey scale's lightness stands on its label, not in the photograph. Note it once, in a file references.toml
  beside the photographs, a line for each, or one for all:

      "board-2.jpg" = "scale=95.5,81,66,50.5,35.5,20.5"
      every-photo = "card=49.5"

"""


def add_reference(command: argparse.ArgumentParser) -> None:
    """Add what photographs are measured against to a command's options."""
    command.add_argument("--reference", default="auto", metavar="R", help="what to measure against; see below (auto)")
    command.add_argument(
        "--reference-at", type=numbers(4), metavar="ROW,COL,ROW,COL",
        help="two opposite corners of a box that holds the reference, full-resolution pixels, in every photograph",
    )


def reference_of(options: argparse.Namespace) -> ReferenceChoice:
    """Return what photographs are measured against."""
    from contrastkit.camera.reference import parse_reference

    return parse_reference(options.reference)


class Progress:
    """A line a photograph on standard error; on a terminal also the one that is being measured."""

    def __init__(self) -> None:
        self.place = ""

    def begin(self, number: int, count: int, path: Path) -> None:
        """Show which photograph comes next."""
        self.place = f"{number + 1} of {count}"
        if sys.stderr.isatty():
            line = plain(f"{self.place}  {path.name} ...")[: terminal_width()]
            print(f"\r{line:<{terminal_width()}}\r", end="", file=sys.stderr, flush=True)

    def tell(self, outcome: PhotoState | Failed) -> None:
        """Say what became of it."""
        from contrastkit.camera.pipeline import Failed

        if isinstance(outcome, Failed):
            say(f"{self.place}  {outcome.path.name}: could not be used, see below.")
        else:
            say(f"{self.place}  {outcome.photo}: {outcome.sentence}")


def pile_of(options: argparse.Namespace) -> Pile:
    """Return the pile that is named: photographs measured, or a table, or the pieces wanted of a catalogue."""
    from contrastkit.show.gathered import AT_HAND, pile_at

    progress = Progress()
    pile = pile_at(
        options.places, AT_HAND if options.only is None else options.only, reference=reference_of(options),
        reference_at=options.reference_at, progress=progress.begin, told=progress.tell,
    )
    if not len(pile.table):
        say_failed(pile.failed)
        raise TooFewSwatchesError("There must be a piece to draw; none was found. See why, or add photographs.")
    return pile


def say_failed(failed: Sequence[Failed]) -> None:
    """Name the photographs that could not be measured, and say why."""
    for failure in failed:
        say(f"Not used: {failure.path}. {failure.reason}")


def code_of(pieces: int, failed: Sequence[Failed]) -> int:
    """Return the exit code of so many pieces measured."""
    return NOTHING if not pieces else SOME_FAILED if failed else ALL_WELL
