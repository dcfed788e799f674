"""The commands that begin with photographs or their table: study, measure, groups, camera-check."""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from contrastkit.cli.measuring import REFERENCES, Progress, add_reference, code_of, reference_of, say_failed
from contrastkit.cli.printing import (
    ALL_WELL,
    CSV_NOTE,
    EXIT_CODES,
    NOTHING,
    add_json,
    help_with,
    numbers,
    pieces_words,
    plain,
    report,
)
from contrastkit.errors import TooFewSwatchesError

if TYPE_CHECKING:
    from contrastkit.camera.check import CameraCheck, Errors
    from contrastkit.camera.pipeline import Failed
    from contrastkit.compose.grouping import Grouping, SortedPile
    from contrastkit.show.state import PhotoState
    from contrastkit.show.study import WrittenStudy


def add_commands(commands: Any) -> None:
    """Add these commands to the parser's."""
    _add_study(commands)
    _add_measure(commands)
    _add_groups(commands)
    _add_camera_check(commands)


def _add_study(commands: Any) -> None:
    command = commands.add_parser(
        "study", help="measure photographs and write table, pictures and report to a folder",
        description="Measure photographs, sort their pieces, and write swatches.csv, contact-sheet.pdf and .png, "
        "value-strip.png, balance.png, pairs.png, stacks.pdf and .png, and report.html to a folder.",
        **help_with(REFERENCES + CSV_NOTE + EXIT_CODES),
    )
    _add_photos(command)
    command.add_argument("--out", required=True, metavar="DIR", help="the folder to write to; made if it is not there")
    add_reference(command)
    _add_grouping(command, "--groups")
    command.add_argument(
        "--only", default="not used not lost", metavar="FILTER",
        help="where PATH is `pile`, the catalogue: which pieces of it (not used not lost)",
    )
    command.add_argument("--title", metavar="T", help="heading of the report; how the groups balance, if not given")
    command.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="of the contact sheet (A4)")
    add_json(command)
    command.set_defaults(run=_study)


def _add_measure(commands: Any) -> None:
    command = commands.add_parser(
        "measure", help="measure photographs and write the table alone",
        description="Measure photographs and write the table of their pieces, in groups with edges at L* 40 and 70.",
        **help_with(REFERENCES + CSV_NOTE + EXIT_CODES),
    )
    _add_photos(command)
    command.add_argument("--out", required=True, metavar="FILE.csv", help="the table to write")
    add_reference(command)
    add_json(command)
    command.set_defaults(run=_measure)


def _add_groups(commands: Any) -> None:
    command = commands.add_parser(
        "groups", help="sort a table of lightness values into groups",
        description="Sort a table into groups, and say whether the pile really has groups. The table needs the columns "
        "swatch_id and lightness (L*, 0-100); with lightness_sigma it is also said what is borderline.",
        **help_with(CSV_NOTE + EXIT_CODES),
    )
    command.add_argument("table", metavar="TABLE.csv", help="the table")
    _add_grouping(command, "--method")
    command.add_argument("--out", metavar="FILE.csv", help="write the table with its groups here")
    add_json(command)
    command.set_defaults(run=_groups)


def _add_camera_check(commands: Any) -> None:
    command = commands.add_parser(
        "camera-check", help="say how far a camera can be trusted, from a photograph of a 24-patch chart",
        description="Compare what a photograph of a 24-patch chart says with what is known of its patches. Each patch "
        "is measured by a calibration made without it. Lightness is for D50; a chart at hand differs from nominal by "
        "up to 2 L*, and nothing finer can be claimed.",
        **help_with(EXIT_CODES),
    )
    command.add_argument("photo", metavar="PHOTO", help="the photograph")
    command.add_argument("--out", metavar="FILE.csv", help="write the table of patches here")
    add_json(command)
    command.set_defaults(run=_camera_check)


def _add_photos(command: argparse.ArgumentParser) -> None:
    command.add_argument("paths", nargs="+", metavar="PATH", help="photographs, and folders of them")


def _add_grouping(command: argparse.ArgumentParser, option: str) -> None:
    command.add_argument(
        option, dest="method", choices=("fixed", "natural", "equal"), default="fixed",
        help="edges that stay the same (fixed, the default), edges where the pile has its gaps (natural), or as many "
        "pieces in each group (equal)",
    )
    command.add_argument("--edges", type=numbers(), metavar="40,70", help="L* where a fixed group ends, darkest first")
    command.add_argument("--count", type=int, metavar="N", help="how many groups, 2 to 9 (3)")


def _grouping(options: argparse.Namespace) -> Grouping:
    from contrastkit.compose.grouping import Grouping

    return Grouping(options.method, options.edges, options.count)


# --- study and measure -----------------------------------------------------------------------------------------------


def _study(options: argparse.Namespace) -> int:
    grouping, reference = _grouping(options), reference_of(options)
    from contrastkit.keep.sources import is_catalogue
    from contrastkit.show.study import make_study

    if len(options.paths) == 1 and is_catalogue(options.paths[0]):
        return _study_of_catalogue(options, grouping)
    progress = Progress()
    study = make_study(
        options.paths, options.out, reference=reference, reference_at=options.reference_at, grouping=grouping,
        title=options.title, paper=options.paper, progress=progress.begin, told=progress.tell,
    )
    report(options, _study_document(study), study.sentences)
    say_failed(study.pile.failed)
    return code_of(len(study.pile.table), study.pile.failed)


def _study_of_catalogue(options: argparse.Namespace, grouping: Grouping) -> int:
    from contrastkit.keep.sources import read_source
    from contrastkit.show.study import Pile, ready_place, write_pile

    source = read_source(options.paths[0], options.only, pictures=True)
    if not len(source.table):
        raise TooFewSwatchesError(f"No piece of the catalogue is: {options.only}. Ask for others with --only.")
    pile = Pile(source.table, dict(source.crops), (), (), ())
    study = write_pile(pile, ready_place(options.out, []), grouping=grouping, title=options.title, paper=options.paper)
    report(options, _study_document(study), study.sentences)
    return ALL_WELL


def _measure(options: argparse.Namespace) -> int:
    reference = reference_of(options)
    from contrastkit.show.study import make_table

    progress = Progress()
    measured = make_table(
        options.paths, options.out, reference=reference, reference_at=options.reference_at, progress=progress.begin,
        told=progress.tell,
    )
    document = _measured_document(measured.states, measured.failed, measured.sorted)
    report(options, document | {"files": [str(file) for file in measured.files]}, measured.sentences)
    say_failed(measured.failed)
    return code_of(len(measured.sorted.table), measured.failed)


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
    from contrastkit.keep.sources import read_source
    from contrastkit.keep.tables import write_table

    table = read_source(options.table).table
    place = None if options.out is None else table_place(options.out)
    in_groups = sort_pile(table, grouping)
    written = [] if place is None else [f"Written: {write_table(in_groups.table, place)}"]
    report(options, _groups_document(in_groups), [*_group_lines(in_groups), *in_groups.sentences, *written])
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
        yield f"{group.name}: L* {group.low:.4g} to {group.high:.4g}, {pieces_words(len(group.swatches))}{doubt}"
        names = ", ".join(f"{plain(name)} {lightness[name]:.0f}" for name in group.swatches)
        yield from textwrap.wrap(names, 100, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)


# --- camera-check ----------------------------------------------------------------------------------------------------


def _camera_check(options: argparse.Namespace) -> int:
    from contrastkit.camera.check import PATCHES, check_camera
    from contrastkit.keep.files import table_place
    from contrastkit.keep.tables import write_table

    place = None if options.out is None else table_place(options.out, never=[options.photo])
    check = check_camera(options.photo)
    written = [] if place is None else [f"Written: {write_table(check.table, place, columns=PATCHES)}"]
    report(options, _check_document(check), [*_check_lines(check), *written])
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
