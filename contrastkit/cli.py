"""
The command line: what was asked for, handed to the rooms, and what came of it, printed.

Results go to standard output, progress and complaints to standard error. Nothing is loaded before it is needed.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.errors import ContrastkitError, ContrastkitWarning, InvalidInputError

if TYPE_CHECKING:
    from contrastkit.camera.check import CameraCheck, Errors
    from contrastkit.camera.pipeline import Failed
    from contrastkit.camera.reference import ReferenceChoice
    from contrastkit.compose.choosing import Choice
    from contrastkit.compose.grouping import Grouping, SortedPile
    from contrastkit.compose.seams import Seam
    from contrastkit.compose.stacks import StackScore
    from contrastkit.show.state import PhotoState
    from contrastkit.show.study import WrittenStudy

ALL_WELL, NOTHING, BAD_USAGE, SOME_FAILED = 0, 1, 2, 3
STOPPED, NO_READER = 130, 141  # 128 and the signal's number, as shells have it

_EXIT_CODES = """\
exit codes:
  0    all is well
  1    nothing could be measured, or the photograph or pile was refused
  2    a command, option, table or place to write to that cannot be right
  3    some photographs could not be measured; the others were
  130  stopped from the keyboard
  141  nobody reads the results any more
"""
_REFERENCES = """\
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
_ORDERS = """\
orders:
  stepped      every stack goes from dark to light, or back
  alternating  every stack goes up and down in turn, which allows about twice the step
  free         as it comes

  With --profile the steps come as near to the wanted ones as can be. With --at-least every step reaches that, and
  the pile's darkest and lightest pieces are kept for other work.

"""
_PLAN = """\
a plan:
  units = "in"                            # of bare numbers, and of what is printed: in or mm
  rim = "1/16"
  gap = "1/4"

  [background]
  cloth = "slate linen"
  margin = 3

  [supplies.web]
  width = 17

  [[block]]
  name = "Lantern"
  count = 6
  prints = ["3 1/2", "2 1/2", "1 3/4"]    # sides, bottom first
  layers = ["dark", "medium", "light"]
  surrounds = 2

"""
_CSV = """\
  In CSV files, a name that a spreadsheet would take for a formula (it begins with =, +, - or @) is written with an
  apostrophe in front, and read back without it.

"""


def main(argv: Sequence[str] | None = None) -> int:
    """
    Return the exit code of a command line, once its work is done and its results are printed.

    Parameters
    ----------
    argv : the words after `contrastkit`; those of the process, if not given

    >>> main(["groups"]) == BAD_USAGE
    True
    """
    _print_anything()
    try:
        options = _parser().parse_args(argv)
        code = _run(options)
        sys.stdout.flush()
        return code
    except SystemExit as stop:  # argparse has said what there is to say
        return stop.code if isinstance(stop.code, int) else ALL_WELL
    except KeyboardInterrupt:
        _say("Stopped. Nothing more was written.")
        return STOPPED
    except BrokenPipeError:
        _close_quietly()
        return NO_READER


def _run(options: argparse.Namespace) -> int:
    try:
        with _plain_warnings():
            code: int = options.run(options)
        return code
    except ContrastkitError as error:
        _say(str(error))
        if options.json:
            _print_json({"error": str(error)})
        return BAD_USAGE if isinstance(error, InvalidInputError) else NOTHING


# --- what can be asked for -------------------------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "contrastkit",
        description="Measure how light painted swatches are from photographs, sort them, choose stacks, plan blocks.",
        **_help(_EXIT_CODES),
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and stop")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _add_study(commands)
    _add_measure(commands)
    _add_groups(commands)
    _add_stacks(commands)
    _add_seam(commands)
    _add_plan(commands)
    _add_camera_check(commands)
    return parser


def _help(epilog: str) -> Any:
    return {"epilog": epilog, "formatter_class": argparse.RawDescriptionHelpFormatter, "allow_abbrev": False}


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


def _add_study(commands: Any) -> None:
    command = commands.add_parser(
        "study", help="measure photographs and write table, pictures and report to a folder",
        description="Measure photographs, sort their pieces, and write swatches.csv, contact-sheet.pdf and .png, "
        "value-strip.png, balance.png, pairs.png, stacks.pdf and .png, and report.html to a folder.",
        **_help(_REFERENCES + _CSV + _EXIT_CODES),
    )
    _add_photos(command)
    command.add_argument("--out", required=True, metavar="DIR", help="the folder to write to; made if it is not there")
    _add_reference(command)
    _add_grouping(command, "--groups")
    command.add_argument("--title", metavar="T", help="heading of the report; how the groups balance, if not given")
    command.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="of the contact sheet (A4)")
    _add_json(command)
    command.set_defaults(run=_study)


def _add_measure(commands: Any) -> None:
    command = commands.add_parser(
        "measure", help="measure photographs and write the table alone",
        description="Measure photographs and write the table of their pieces, in groups with edges at L* 40 and 70.",
        **_help(_REFERENCES + _CSV + _EXIT_CODES),
    )
    _add_photos(command)
    command.add_argument("--out", required=True, metavar="FILE.csv", help="the table to write")
    _add_reference(command)
    _add_json(command)
    command.set_defaults(run=_measure)


def _add_groups(commands: Any) -> None:
    command = commands.add_parser(
        "groups", help="sort a table of lightness values into groups",
        description="Sort a table into groups, and say whether the pile really has groups. The table needs the columns "
        "swatch_id and lightness (L*, 0-100); with lightness_sigma it is also said what is borderline.",
        **_help(_CSV + _EXIT_CODES),
    )
    command.add_argument("table", metavar="TABLE.csv", help="the table")
    _add_grouping(command, "--method")
    command.add_argument("--out", metavar="FILE.csv", help="write the table with its groups here")
    _add_json(command)
    command.set_defaults(run=_groups)


def _add_stacks(commands: Any) -> None:
    command = commands.add_parser(
        "stacks", help="choose the best stacks from a table of lightness values",
        description="Choose stacks from a pile, each piece used once, so that the weakest step in lightness between "
        "two layers is as large as can be, then the weakest of the next stack, and so on. The table needs the columns "
        "swatch_id and lightness (L*, 0-100); sizes, sheets and grounds are read from the columns side (mm), sheet "
        "and ground.",
        **_help(_ORDERS + _CSV + _EXIT_CODES),
    )
    command.add_argument("table", metavar="TABLE.csv", help="the table")
    command.add_argument("--layers", type=int, required=True, metavar="K", help="layers of each stack")
    command.add_argument("--blocks", type=int, required=True, metavar="B", help="how many stacks")
    command.add_argument("--order", choices=("stepped", "alternating", "free"), default="stepped", help="see below")
    command.add_argument("--background", type=float, metavar="L", help="L* of what the stacks are fused to")
    _add_viewing(command, distance=None)
    command.add_argument(
        "--layer-groups", type=_words, metavar="G,G,G", help="group of each layer, bottom first, e.g. dark,any,light",
    )
    command.add_argument("--layer-sides", type=_lengths, metavar="S,S,S", help="least side of each layer's piece")
    command.add_argument("--must", action="append", default=[], metavar="ID", help="a piece to be used; once for each")
    command.add_argument("--never", action="append", default=[], metavar="ID", help="a piece not to be used")
    command.add_argument(
        "--differ", action="append", default=[], choices=("sheet", "ground", "hue"),
        help="pieces of one stack differ in this; once for each",
    )
    command.add_argument("--twins", type=int, default=0, metavar="N", help="so many pairs of stacks are alike")
    command.add_argument("--profile", type=_numbers(), metavar="25,10", help="wanted steps, L*, bottom first")
    command.add_argument("--at-least", type=float, metavar="T", help="a step that is enough; extremes are then spared")
    command.add_argument("--seconds", type=float, default=10.0, metavar="S", help="how long to look at most (10)")
    command.add_argument("--out", metavar="FILE.pdf", help="draw the stacks here, as .pdf, or .png for one sheet")
    _add_json(command)
    command.set_defaults(run=_stacks)


def _add_seam(commands: Any) -> None:
    command = commands.add_parser(
        "seam", help="say how far the bare rim between two layers stands clear at a distance",
        description="Say how far the bare rim between two layers stands clear when seen from a distance: the eye's "
        "blur, in linear light, by the luminance kernel of S-CIELAB.",
        **_help(_EXIT_CODES),
    )
    for name, what in (("left", "the lower layer"), ("rim", "the bare rim"), ("right", "the upper layer")):
        command.add_argument(f"lightness_{name}", type=float, metavar=f"L_{name.upper()}", help=f"L* of {what}")
    _add_viewing(command, distance="3m")
    _add_json(command)
    command.set_defaults(run=_seam)


def _add_plan(commands: Any) -> None:
    command = commands.add_parser(
        "plan", help="work out everything that a project takes: pieces, cloth, web, and the days",
        description="Read a plan of blocks (TOML) and work out every piece to cut, the prints and plates, painted "
        "cloth, fusible web, the background, in which order to cut, and what to do on which day.",
        **_help(_PLAN + _EXIT_CODES),
    )
    command.add_argument("plan", metavar="PLAN.toml", help="the plan")
    command.add_argument("--out", metavar="DIR", help="write plan.html and cut-list.csv to this folder")
    _add_json(command)
    command.set_defaults(run=_plan)


def _add_viewing(command: argparse.ArgumentParser, *, distance: str | None) -> None:
    command.add_argument(
        "--distance", type=_length("m"), default=distance, metavar="3m",
        help="from how far it is seen; bare numbers are metres" + (f" ({distance})" if distance else ""),
    )
    command.add_argument(
        "--rim", type=_length("mm"), default="1/16in", metavar="1/16in", help="width of the bare rim (1/16in)"
    )


def _add_camera_check(commands: Any) -> None:
    command = commands.add_parser(
        "camera-check", help="say how far a camera can be trusted, from a photograph of a 24-patch chart",
        description="Compare what a photograph of a 24-patch chart says with what is known of its patches. Each patch "
        "is measured by a calibration made without it. Lightness is for D50; a chart at hand differs from nominal by "
        "up to 2 L*, and nothing finer can be claimed.",
        **_help(_EXIT_CODES),
    )
    command.add_argument("photo", metavar="PHOTO", help="the photograph")
    command.add_argument("--out", metavar="FILE.csv", help="write the table of patches here")
    _add_json(command)
    command.set_defaults(run=_camera_check)


def _add_photos(command: argparse.ArgumentParser) -> None:
    command.add_argument("paths", nargs="+", metavar="PATH", help="photographs, and folders of them")


def _add_reference(command: argparse.ArgumentParser) -> None:
    command.add_argument("--reference", default="auto", metavar="R", help="what to measure against; see below (auto)")
    command.add_argument(
        "--reference-at", type=_numbers(4), metavar="ROW,COL,ROW,COL",
        help="two opposite corners of a box that holds the reference, full-resolution pixels, in every photograph",
    )


def _add_grouping(command: argparse.ArgumentParser, option: str) -> None:
    command.add_argument(
        option, dest="method", choices=("fixed", "natural", "equal"), default="fixed",
        help="edges that stay the same (fixed, the default), edges where the pile has its gaps (natural), or as many "
        "pieces in each group (equal)",
    )
    command.add_argument("--edges", type=_numbers(), metavar="40,70", help="L* where a fixed group ends, darkest first")
    command.add_argument("--count", type=int, metavar="N", help="how many groups, 2 to 9 (3)")


def _add_json(command: argparse.ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="print one JSON document instead of sentences")


def _numbers(count: int | None = None) -> Callable[[str], tuple[float, ...]]:
    def numbers(text: str) -> tuple[float, ...]:
        try:
            values = tuple(float(part) for part in text.split(","))
        except ValueError:
            values = ()
        if not values or not all(map(math.isfinite, values)) or len(values) != (count or len(values)):
            wanted = f"{count} numbers" if count else "numbers"
            raise argparse.ArgumentTypeError(f"it must be {wanted} with commas between and no blanks; got {text!r}")
        return values

    return numbers


def _length(unit: str) -> Callable[[str], float]:
    def length(text: str) -> float:
        from contrastkit.lengths import parse_length

        try:
            return float(parse_length(text, unit=unit, zero=False))
        except InvalidInputError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return length


def _lengths(text: str) -> tuple[float, ...]:
    return tuple(0.0 if part.strip() in ("", "any") else _length("mm")(part) for part in text.split(","))


def _words(text: str) -> tuple[str | None, ...]:
    return tuple(None if part.strip() in ("", "any") else part.strip() for part in text.split(","))


def _grouping(options: argparse.Namespace) -> Grouping:
    from contrastkit.compose.grouping import Grouping

    return Grouping(options.method, options.edges, options.count)


def _reference(options: argparse.Namespace) -> ReferenceChoice:
    from contrastkit.camera.reference import parse_reference

    return parse_reference(options.reference)


# --- study and measure -----------------------------------------------------------------------------------------------


def _study(options: argparse.Namespace) -> int:
    grouping, reference = _grouping(options), _reference(options)
    from contrastkit.show.study import make_study

    progress = _Progress()
    study = make_study(
        options.paths, options.out, reference=reference, reference_at=options.reference_at, grouping=grouping,
        title=options.title, paper=options.paper, progress=progress.begin, told=progress.tell,
    )
    _report(options, _study_document(study), study.sentences)
    _say_failed(study.pile.failed)
    return _code(len(study.pile.table), study.pile.failed)


def _measure(options: argparse.Namespace) -> int:
    reference = _reference(options)
    from contrastkit.show.study import make_table

    progress = _Progress()
    measured = make_table(
        options.paths, options.out, reference=reference, reference_at=options.reference_at, progress=progress.begin,
        told=progress.tell,
    )
    document = _measured_document(measured.states, measured.failed, measured.sorted)
    _report(options, document | {"files": [str(file) for file in measured.files]}, measured.sentences)
    _say_failed(measured.failed)
    return _code(len(measured.sorted.table), measured.failed)


class _Progress:
    """A line a photograph on standard error; on a terminal also the one that is being measured."""

    def __init__(self) -> None:
        self.place = ""

    def begin(self, number: int, count: int, path: Path) -> None:
        """Show which photograph comes next."""
        self.place = f"{number + 1} of {count}"
        if sys.stderr.isatty():
            line = _plain(f"{self.place}  {path.name} ...")[: _width()]
            print(f"\r{line:<{_width()}}\r", end="", file=sys.stderr, flush=True)

    def tell(self, outcome: PhotoState | Failed) -> None:
        """Say what became of it."""
        from contrastkit.camera.pipeline import Failed

        if isinstance(outcome, Failed):
            _say(f"{self.place}  {outcome.path.name}: could not be used, see below.")
        else:
            _say(f"{self.place}  {outcome.photo}: {outcome.sentence}")


def _say_failed(failed: Sequence[Failed]) -> None:
    for failure in failed:
        _say(f"Not used: {failure.path}. {failure.reason}")


def _code(pieces: int, failed: Sequence[Failed]) -> int:
    return NOTHING if not pieces else SOME_FAILED if failed else ALL_WELL


def _study_document(study: WrittenStudy) -> dict[str, Any]:
    document = _measured_document(study.pile.states, study.pile.failed, study.sorted)
    return document | {"files": [str(file) for file in study.files], "next": study.next_step}


def _measured_document(
    states: Sequence[PhotoState], failed: Sequence[Failed], in_groups: SortedPile
) -> dict[str, Any]:
    photos = {"photos": states, "failed": [{"photo": str(each.path), "reason": each.reason} for each in failed]}
    return photos | _groups_document(in_groups)


# --- groups ----------------------------------------------------------------------------------------------------------


def _groups(options: argparse.Namespace) -> int:
    grouping = _grouping(options)
    from contrastkit.compose.grouping import sort_pile
    from contrastkit.keep.files import table_place
    from contrastkit.keep.tables import read_table, write_table

    table = read_table(options.table)
    place = None if options.out is None else table_place(options.out)
    in_groups = sort_pile(table, grouping)
    written = [] if place is None else [f"Written: {write_table(in_groups.table, place)}"]
    _report(options, _groups_document(in_groups), [*_group_lines(in_groups), *in_groups.sentences, *written])
    return ALL_WELL if table["lightness"].notna().any() else NOTHING


def _groups_document(in_groups: SortedPile) -> dict[str, Any]:
    from contrastkit.keep.tables import records

    return {
        "groups": in_groups.groups, "edges": in_groups.breaks.edges, "edge_sigma": in_groups.edge_sigma,
        "balance": in_groups.balance, "verdict": in_groups.verdict, "swatches": records(in_groups.table),
    }


def _group_lines(in_groups: SortedPile) -> Iterator[str]:
    import textwrap

    lightness = dict(zip(map(str, in_groups.table["swatch_id"]), in_groups.table["lightness"], strict=True))
    for group in in_groups.groups:
        doubt = f", {group.borderline} borderline" if group.borderline else ""
        yield f"{group.name}: L* {group.low:.4g} to {group.high:.4g}, {_pieces(len(group.swatches))}{doubt}"
        names = ", ".join(f"{_plain(name)} {lightness[name]:.0f}" for name in group.swatches)
        yield from textwrap.wrap(names, 100, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)


def _pieces(count: int) -> str:
    return f"{count} piece" if count == 1 else f"{count} pieces"


# --- stacks, seam and plan -------------------------------------------------------------------------------------------


def _stacks(options: argparse.Namespace) -> int:
    from contrastkit.compose.choosing import choose_stacks
    from contrastkit.compose.rules import Rules
    from contrastkit.compose.stacks import judge_stack, stack_of
    from contrastkit.keep.files import file_place
    from contrastkit.keep.tables import read_table

    table = read_table(options.table)
    place = None
    if options.out is not None:
        place = file_place(options.out, (".pdf", ".png"), what="A picture", never=[options.table])
    rules = Rules(
        groups=options.layer_groups or (), sides=options.layer_sides or (), must=tuple(options.must),
        never=tuple(options.never), differ=tuple(options.differ), twins=options.twins, profile=options.profile or (),
        at_least=options.at_least,
    )
    choice = choose_stacks(
        table, layers=options.layers, blocks=options.blocks, order=options.order, background=options.background,
        rules=rules, seconds=options.seconds,
    )
    scores = [
        judge_stack(
            stack_of(table, stack.layers, background=options.background, rim=options.rim), distance_mm=options.distance
        )
        for stack in choice.stacks
    ]
    lines = _stack_lines(choice, scores)
    if place is not None:
        from contrastkit.show.chart import save_pages
        from contrastkit.show.choice import stacks_sheet

        pages = stacks_sheet(choice, table, {}, background=options.background)
        lines += [f"Drawn: {pages[0].save(place) if len(pages) == 1 else save_pages(pages, place)}"]
    _report(options, _stacks_document(choice, scores), lines)
    return ALL_WELL


def _stacks_document(choice: Choice, scores: Sequence[StackScore]) -> dict[str, Any]:
    stacks = [
        {
            "layers": stack.layers, "steps": stack.steps, "background_step": stack.background_step,
            "weakest": stack.weakest, "points": score.points, "seams": [_seam_document(seam) for seam in score.seams],
            "sentences": score.sentences,
        }
        for stack, score in zip(choice.stacks, scores, strict=True)
    ]  # fmt: skip
    return {
        "worst_step": choice.worst_step, "proved": choice.proved, "how_sure": choice.how_sure, "aim": choice.aim,
        "reached": choice.reached, "bound": choice.bound, "settled": choice.settled, "sentence": choice.sentence,
        "stacks": stacks, "left_over": choice.left_over,
    }  # fmt: skip


def _seam_document(seam: Seam) -> dict[str, Any]:
    return {
        "below": seam.below, "above": seam.above, "step": seam.step, "sure_step": seam.sure_step,
        "ambiguous": seam.ambiguous, "separation": seam.separation, "line_step": seam.line_step,
        "verdict": seam.verdict,
    }  # fmt: skip


def _stack_lines(choice: Choice, scores: Sequence[StackScore]) -> list[str]:
    lines = [choice.sentence]
    for number, score in enumerate(scores, start=1):
        heights = [f"{layer.swatch_id} {layer.lightness:.0f}" for layer in score.stack.layers]
        ground = [] if score.stack.background is None else [f"background {score.stack.background.lightness:.0f}"]
        lines.append(f"{number}: {' / '.join([*ground, *heights])}   ({score.points:.0f} of 100)")
        lines += [f"    {sentence}" for sentence in score.sentences[:1]]
        lines += [f"    {seam.sentence}" for seam in score.seams if seam.distance_mm is not None]
    count = len(choice.left_over)
    return [*lines, f"Left over: {_pieces(count)}." if count else "Nothing is left over."]


def _seam(options: argparse.Namespace) -> int:
    from contrastkit.compose.seams import rim_seen

    lightness = (options.lightness_left, options.lightness_rim, options.lightness_right)
    seen = rim_seen(*lightness, rim_mm=options.rim, distance_mm=options.distance)
    document = {
        "line_step": round(seen.line_step, 2), "step": abs(seen.step),
        "lighter": "left" if seen.step < 0 else "right" if seen.step else "neither",
        "line_lightness": seen.line_lightness, "rim_mm": seen.rim_mm, "distance_mm": seen.distance_mm,
        "fades_mm": seen.fades_mm, "verdict": seen.verdict, "sentence": seen.sentence,
    }  # fmt: skip
    _report(options, document, [seen.sentence])
    return ALL_WELL


def _plan(options: argparse.Namespace) -> int:
    from contrastkit.compose.cutting import cut_plan, plan_document
    from contrastkit.compose.plan import read_plan
    from contrastkit.show.cutlist import table_of, write_plan

    plan = read_plan(options.plan)
    table = table_of(plan)
    cut = cut_plan(plan)
    written = None if options.out is None else write_plan(plan, cut, options.out, table=table)
    files = () if written is None else tuple(str(file) for file in written.files)
    lines = [*cut.sentences, *(f"Written: {file}" for file in files)]
    _report(options, plan_document(cut) | {"files": files}, lines)
    return ALL_WELL


# --- camera-check ----------------------------------------------------------------------------------------------------


def _camera_check(options: argparse.Namespace) -> int:
    from contrastkit.camera.check import PATCHES, check_camera
    from contrastkit.keep.files import table_place
    from contrastkit.keep.tables import write_table

    place = None if options.out is None else table_place(options.out, never=[options.photo])
    check = check_camera(options.photo)
    written = [] if place is None else [f"Written: {write_table(check.table, place, columns=PATCHES)}"]
    _report(options, _check_document(check), [*_check_lines(check), *written])
    return ALL_WELL


def _check_document(check: CameraCheck) -> dict[str, Any]:
    from contrastkit.camera.check import PATCHES
    from contrastkit.keep.tables import records

    parts = {name: getattr(check, name) for name in (
        "photo", "verdict", "colours", "greys", "colours_by_greys", "greys_by_greys", "sigma", "sigma_by_greys",
        "light_across")}
    return parts | {"patches": records(check.table, columns=PATCHES)}


def _check_lines(check: CameraCheck) -> Iterator[str]:
    yield "                         with the chart    with its greys"
    yield "patch            known   measured  error   measured  error"
    for row in check.table.to_dict("records"):
        note = "" if row["usable"] else "   clipped" if row["visible"] else "   not visible"
        yield (
            f"{row['patch']:2} {row['name']:<13} {row['lightness_reference']:5.1f}"
            f"   {_number(row['lightness_measured'], '8.1f')} {_number(row['error'], '+6.1f')}"
            f"   {_number(row['lightness_by_greys'], '8.1f')} {_number(row['error_by_greys'], '+6.1f')}{note}"
        )
    yield ""
    yield _errors_line("colours", check.colours, check.colours_by_greys)
    yield _errors_line("greys", check.greys, check.greys_by_greys)
    yield check.verdict


def _number(value: float, form: str) -> str:
    return f"{value:{form}}" if math.isfinite(value) else f"{'-':>{form.strip('+').partition('.')[0]}}"


def _errors_line(kind: str, chart: Errors, greys: Errors) -> str:
    return (
        f"{chart.count} {kind}: mean error {chart.mean:.1f} L*, largest {chart.largest:.1f} ({chart.worst}); "
        f"with greys alone {greys.mean:.1f} and {greys.largest:.1f} ({greys.worst})."
    )


# --- printing --------------------------------------------------------------------------------------------------------


def _report(options: argparse.Namespace, document: dict[str, Any], lines: Sequence[str]) -> None:
    if options.json:
        _print_json(document)
    else:
        print("\n".join(map(_plain, lines)))


def _print_json(document: dict[str, Any]) -> None:
    utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(json.dumps(_for_json(document), indent=2, ensure_ascii=not utf8, allow_nan=False))


def _for_json(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, dict):
        return {key: _for_json(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_for_json(inner) for inner in value]
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return _without_surrogates(value) if isinstance(value, str) else value


def _without_surrogates(text: str) -> str:
    """A file's name may hold bytes that are no letters."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _say(text: str) -> None:
    """Print a line to standard error, over whatever progress stands there."""
    wipe = f"\r{'':<{_width()}}\r" if sys.stderr.isatty() else ""
    print(wipe + _plain(text), file=sys.stderr, flush=True)


def _plain(text: str) -> str:
    """One line, nothing in it that a terminal would obey."""
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def _width() -> int:
    return max(shutil.get_terminal_size().columns - 1, 20)


@contextmanager
def _plain_warnings() -> Iterator[None]:
    """Our own warnings as sentences; those of other packages are for their makers."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("always", ContrastkitWarning)
        warnings.showwarning = lambda message, *_, **__: _say(str(message))
        yield


def _close_quietly() -> None:
    """Let the interpreter flush what nobody reads, or it would complain once more as it ends."""
    with suppress(OSError, ValueError), open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())


def _print_anything() -> None:
    """Whatever a name holds can be printed, if not always in its own letters."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
