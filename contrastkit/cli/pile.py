"""The commands that keep: pile add, list, show, note, tag, set-aside, use, lose, undo, history, export, import, ..."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.cli.printing import (
    ALL_WELL,
    EXIT_CODES,
    NOTHING,
    SOME_FAILED,
    add_json,
    help_with,
    pieces_words,
    report,
    say,
)
from contrastkit.errors import ContrastkitError, InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.catalogue import Catalogue, Piece

_FILTERS = """\
which pieces, in words:
  medium ground=red side>=3in not used      dark or light state="at hand" -tag=sold      lightness=40..70 tag=shiny

"""
_PLACE = """\
The catalogue is one file in your user's data folder, or where the environment variable CONTRASTKIT_PILE or --pile
says: another file, or postgresql://name@host/database for one that a school shares. Every action can be undone.

"""


def add_commands(commands: Any) -> None:
    """Add `pile` and what it can do to the parser's commands."""
    pile = commands.add_parser(
        "pile", help="keep the pile: add, find, describe, use up, undo",
        description="Keep the pile of swatches for years.", **help_with(_PLACE + EXIT_CODES),
    )
    verbs = pile.add_subparsers(title="what to do", metavar="WHAT", required=True)
    _add_coming_in(verbs)
    _add_finding(verbs)
    _add_describing(verbs)
    _add_using(verbs)
    _add_keeping(verbs)


READS_ONLY = ("list", "show", "history", "export", "actions", "backup", "check")


def _verb(verbs: Any, name: str, what: str, run: Callable[[argparse.Namespace, Catalogue], int]) -> Any:
    command = verbs.add_parser(
        name, help=what, description=f"{what[0].upper()}{what[1:]}.", **help_with(_FILTERS + _PLACE + EXIT_CODES)
    )
    command.add_argument("--pile", metavar="WHERE", help="the catalogue, if it is not the usual one")
    command.add_argument("--who", metavar="NAME", help="under whose name this is kept; else the login name")
    add_json(command)
    command.set_defaults(run=lambda options: _with_catalogue(options, run, keep=name not in READS_ONLY))
    return command


def _with_catalogue(
    options: argparse.Namespace, run: Callable[[argparse.Namespace, Catalogue], int], *, keep: bool
) -> int:
    from contrastkit.keep.catalogue import open_catalogue
    from contrastkit.keep.sources import catalogue_at

    with open_catalogue(catalogue_at(options.pile), who=options.who) as catalogue:
        for sentence in catalogue.told:
            say(sentence)
        code = run(options, catalogue)
        if keep:
            _back_up(catalogue)
        return code


def _back_up(catalogue: Catalogue) -> None:
    """The first change of a day makes a backup beside the catalogue; what was done is done even if that fails."""
    try:
        made = catalogue.store.backup_today()
    except ContrastkitError as error:
        say(f"What was asked for is done, but today's backup could not be made. {error}")
    else:
        if made is not None:
            say(f"Today's backup: {made}")


# --- pieces come in --------------------------------------------------------------------------------------------------


def _add_coming_in(verbs: Any) -> None:
    command = _verb(verbs, "add", "measure photographs and keep their pieces", _add)
    command.add_argument("paths", nargs="+", metavar="PHOTO", help="photographs, and folders of them")
    command.add_argument("--reference", default="auto", metavar="R", help="what to measure against; see study (auto)")
    command.add_argument("--surface", choices=("wet", "cured", "unknown"), default="unknown", help="of the paint")
    for name, what in (("ground", "cloth under the paint"), ("paints", "paints"), ("plate", "relief plate"),
                       ("sheet", "painted sheet"), ("place", "place in the studio")):
        command.add_argument(f"--{name}", default="", metavar="TEXT", help=f"{what} of all new pieces")
    command.add_argument("--side", metavar="3in", help="side of the largest square that each can be cut to")
    command.add_argument("--by", metavar="NAME", help="who measured")
    command.add_argument("--same", action="append", default=[], metavar="NEW=KNOWN", help="a piece that is a known one")
    command.add_argument("--again", action="store_true", help="measure photographs that are known once more")
    command = _verb(verbs, "same", "make two names one piece, because they are", _same)
    command.add_argument("name", metavar="NEW", help="the name to give up")
    command.add_argument("known", metavar="KNOWN", help="the name to keep")
    command = _verb(verbs, "import", "say what a table would change, and with --yes change it", _import)
    command.add_argument("file", metavar="FILE", help=".csv, .jsonl or .parquet")
    command.add_argument("--yes", action="store_true", help="do it; it can be undone")


def _add(options: argparse.Namespace, catalogue: Catalogue) -> int:
    from contrastkit.camera.pipeline import Failed, measure_each
    from contrastkit.camera.reference import parse_reference
    from contrastkit.show.study import find_photos, piece_crops

    same_as = dict(_pair(text) for text in options.same)
    reference = parse_reference(options.reference)
    said = ("surface", "ground", "paints", "plate", "sheet", "place", "side")
    details = {name: getattr(options, name) for name in said}
    done, failed, at = [], [], Path()

    def begin(number: int, count: int, path: Path) -> None:
        nonlocal at
        at = path
        say(f"{number + 1} of {count}  {path.name}")

    for outcome in measure_each(find_photos(options.paths), reference=reference, progress=begin):
        if isinstance(outcome, Failed):
            failed.append(outcome)
            say(f"Not used: {outcome.path}. {outcome.reason}")
            continue
        own = set(outcome.table["swatch_id"])
        added = catalogue.add(
            outcome, path=at, crops=piece_crops(outcome), measured_by=options.by, again=options.again,
            same_as={new: known for new, known in same_as.items() if new in own}, **details,
        )
        done.append((outcome.photo.name, added))
    document = {
        "photos": [{"photo": name, "new": added.new, "remeasured": added.remeasured, "known": dict(added.known),
                    "known_photo": added.known_photo, "likely_same": dict(added.likely_same)} for name, added in done],
        "failed": [{"photo": str(each.path), "reason": each.reason} for each in failed],
    }
    report(options, document, [f"{name}: {sentence}" for name, added in done for sentence in added.sentences])
    return NOTHING if not done else SOME_FAILED if failed else ALL_WELL


def _pair(text: str) -> tuple[str, str]:
    new, equals, known = text.partition("=")
    if not (new and equals and known):
        raise InvalidInputError(f"--same must be NEW=KNOWN, two names; got {text!r}. Write e.g. board-03=blue-7.")
    return new, known


def _same(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.same(options.name, options.known))


def _import(options: argparse.Namespace, catalogue: Catalogue) -> int:
    from contrastkit.keep.exchange import apply, preview

    seen = preview(catalogue, options.file)
    lines = list(seen.sentences)
    if options.yes:
        lines.append(apply(catalogue, seen))
    else:
        lines.append("Nothing was changed. Say it again with --yes to do this.")
    document = {"new": seen.new, "changed": seen.changed, "same": seen.same, "clashing": seen.clashing,
                "done": options.yes, "sentences": lines}
    report(options, document, lines)
    return ALL_WELL


# --- pieces are found ------------------------------------------------------------------------------------------------


def _add_finding(verbs: Any) -> None:
    command = _verb(verbs, "list", "list pieces, dark to light", _list)
    _add_filter(command)
    command.add_argument("--sort", default="lightness", metavar="BY", help="lightness, name, added, ...; -BY: back")
    command.add_argument("--from", dest="offset", type=int, default=0, metavar="N", help="leave out the first N")
    command.add_argument("--most", type=int, default=50, metavar="N", help="list no more than N (50)")
    command = _verb(verbs, "show", "show everything about a piece", _show)
    command.add_argument("name", metavar="ID", help="its name")
    command = _verb(verbs, "history", "show every measurement of a piece, and how it has changed", _history)
    command.add_argument("name", metavar="ID", help="its name")
    command = _verb(verbs, "export", "write pieces to a file", _export)
    command.add_argument("file", metavar="FILE", help=".csv, .jsonl or .parquet")
    _add_filter(command)


def _add_filter(command: argparse.ArgumentParser) -> None:
    command.add_argument("wanted", nargs="*", metavar="FILTER", help="which pieces, in words; all, if not given")
    command.add_argument("--project", metavar="NAME", help="by the groups of this project")


def _list(options: argparse.Namespace, catalogue: Catalogue) -> int:
    from contrastkit.keep.tables import records

    wanted = _wanted(options)
    page = catalogue.page(
        wanted, offset=options.offset, limit=options.most, sort=options.sort, project=options.project
    )
    first, count = page.offset + 1, len(page.table)
    shown = f" (these are {first} to {page.offset + count})" if count < page.total else ""
    lines = [*_listing(page.table), f"{pieces_words(page.total)}{shown}."]
    if not page.total:
        lines += catalogue.hints(wanted, project=options.project)
    report(options, {"total": page.total, "from": page.offset, "pieces": records(page.table)}, lines)
    return ALL_WELL


def _wanted(options: argparse.Namespace) -> str:
    """The words as the shell has parted them: what holds blanks was in quotes."""
    return " ".join(_requoted(word) for word in options.wanted)


def _requoted(word: str) -> str:
    name, sign, value = word.partition("=")
    return f'{name}="{value}"' if sign and " " in value and '"' not in value else word


def _listing(table: pd.DataFrame) -> Iterator[str]:
    rows = table.to_dict("records")
    width = max([5, *(len(str(row["swatch_id"])) for row in rows)])
    if rows:
        yield f"{'piece':<{width}}  {'L*':>5} {'±':>4}  {'group':<7} {'side':>6}  {'state':<9}  ground, place, tags"
    for row in rows:
        numbers = f"{_number(row['lightness'], '5.1f')} {_number(row['lightness_sigma'], '4.1f')}"
        rest = ", ".join(str(row[name]) for name in ("ground", "place", "tags") if row.get(name))
        yield (
            f"{row['swatch_id']!s:<{width}}  {numbers}  {row['group']!s:<7} {_number(row['side'], '6.0f')}  "
            f"{row['state']!s:<9}  {rest}"
        ).rstrip()


def _number(value: float, form: str) -> str:
    return f"{value:{form}}" if value == value else f"{'-':>{form.partition('.')[0]}}"


def _show(options: argparse.Namespace, catalogue: Catalogue) -> int:
    piece = catalogue.show(options.name)
    report(options, _piece_document(piece), list(_piece_lines(piece)))
    return ALL_WELL


def _piece_document(piece: Piece) -> dict[str, Any]:
    return {
        "name": piece.name, "state": piece.state, "place": piece.place, "note": piece.note, "added": piece.added,
        "details": dict(piece.details), "extra": dict(piece.extra), "tags": piece.tags, "project": piece.project,
        "stacks": piece.stacks, "reading": dict(piece.reading), "photos": piece.photos,
        "history": list(piece.history["sentence"]),
    }  # fmt: skip


def _piece_lines(piece: Piece) -> Iterator[str]:
    yield f"{piece.name}: {piece.state}{f' for {piece.project}' if piece.project else ''}."
    for name, value in (*piece.details.items(), ("place", piece.place), *piece.extra.items()):
        if value not in (None, ""):
            yield f"{name}: {f'{value:g} mm' if isinstance(value, float) else value}"
    if piece.tags:
        yield f"tags: {', '.join(piece.tags)}"
    yield from (f"note: {line}" for line in piece.note[:2000].splitlines())
    yield from (f"in stack {number} of {project}, layer {layer}" for project, number, layer in piece.stacks)
    yield from (f"photograph: {name}{f', {path}' if path else ''}" for name, path in piece.photos)
    yield from piece.history["sentence"]


def _history(options: argparse.Namespace, catalogue: Catalogue) -> int:
    from contrastkit.keep.tables import records

    history = catalogue.history(options.name)
    report(options, {"name": options.name, "measurements": records(history)}, list(history["sentence"]))
    return ALL_WELL


def _export(options: argparse.Namespace, catalogue: Catalogue) -> int:
    from contrastkit.keep.exchange import export

    written = export(catalogue, options.file, _wanted(options))
    return _said(options, f"Written: {written}")


# --- pieces are described and used up --------------------------------------------------------------------------------


def _add_names(command: argparse.ArgumentParser) -> None:
    command.add_argument("names", nargs="+", metavar="ID", help="names of pieces")


def _add_describing(verbs: Any) -> None:
    command = _verb(verbs, "note", "set the note of pieces, or add a line to it", _note)
    _add_names(command)
    command.add_argument("--text", required=True, help="the note")
    command.add_argument("--line", action="store_true", help="add it to what is there")
    command = _verb(verbs, "tag", "give tags to pieces, or take them away", _tag)
    _add_names(command)
    command.add_argument("--add", action="append", default=[], metavar="TAG", help="a tag to give; once for each")
    command.add_argument("--remove", action="append", default=[], metavar="TAG", help="a tag to take away")
    command = _verb(verbs, "put", "say where in the studio pieces are", _put)
    _add_names(command)
    command.add_argument("--place", required=True, metavar="TEXT", help="e.g. drawer 3")
    command = _verb(verbs, "describe", "say what pieces are made of and how large they are", _describe)
    _add_names(command)
    for name in ("ground", "paints", "plate", "sheet"):
        command.add_argument(f"--{name}", metavar="TEXT")
    command.add_argument("--side", metavar="3in", help="of the largest square that each can be cut to")
    command = _verb(verbs, "rename", "give a piece another name", _rename)
    command.add_argument("name", metavar="OLD")
    command.add_argument("new", metavar="NEW")


def _note(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.note(options.names, options.text, add=options.line))


def _tag(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.tag(options.names, add=options.add, remove=options.remove))


def _put(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.put(options.names, options.place))


def _describe(options: argparse.Namespace, catalogue: Catalogue) -> int:
    said = {name: getattr(options, name) for name in ("ground", "paints", "plate", "sheet", "side")}
    return _said(options, catalogue.describe(options.names, **said))


def _rename(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.rename(options.name, options.new))


def _add_using(verbs: Any) -> None:
    command = _verb(verbs, "set-aside", "set pieces aside for a project", _set_aside)
    _add_names(command)
    command.add_argument("--project", required=True, metavar="NAME", help="begun, if there is none of that name")
    command = _verb(verbs, "use", "say that pieces are used", _use)
    _add_names(command)
    command.add_argument("--project", metavar="NAME", help="in which project")
    for name, what, run in (
        ("release", "put pieces that were set aside back to those at hand", _release),
        ("lose", "say that pieces are lost", _lose), ("find", "say that lost pieces are found again", _find),
    ):  # fmt: skip
        _add_names(_verb(verbs, name, what, run))


def _set_aside(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.set_aside(options.names, options.project))


def _use(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.use(options.names, options.project))


def _release(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.release(options.names))


def _lose(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.lose(options.names))


def _find(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, catalogue.find_again(options.names))


# --- the catalogue itself --------------------------------------------------------------------------------------------


def _add_keeping(verbs: Any) -> None:
    for name, what, run in (("undo", "undo the last actions", _undo), ("redo", "do again what was undone", _redo)):
        command = _verb(verbs, name, what, run)
        command.add_argument("--count", type=int, default=1, metavar="N", help="how many (1)")
    command = _verb(verbs, "actions", "list what was done, newest first", _actions)
    command.add_argument("--most", type=int, default=20, metavar="N", help="list no more than N (20)")
    command = _verb(verbs, "backup", "write the whole catalogue to one file", _backup)
    command.add_argument("file", metavar="FILE.sqlite", help="the backup; nothing is written over")
    command = _verb(verbs, "check", "prove that the catalogue is whole, or say how to mend it", _check)
    command.add_argument("--mend", action="store_true", help="put right what can be put right")
    for name, what, act, first, second in (
        ("restore", "put a backup in the place of the catalogue, which is kept aside", _restore, "backup", "BACKUP"),
        ("copy", "copy the whole catalogue to a new place: a file, or a server", _copy, "to", "WHERE"),
    ):
        command = verbs.add_parser(name, help=what, description=f"{what[0].upper()}{what[1:]}.",
                                   **help_with(_PLACE + EXIT_CODES))
        command.add_argument("--pile", metavar="WHERE", help="the catalogue, if it is not the usual one")
        command.add_argument(first, metavar=second)
        add_json(command)
        command.set_defaults(run=act)


def _undo(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, *(f"Undone: {sentence}." for sentence in catalogue.undo(options.count)))


def _redo(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, *(f"Done again: {sentence}." for sentence in catalogue.redo(options.count)))


def _actions(options: argparse.Namespace, catalogue: Catalogue) -> int:
    actions = catalogue.actions(options.most)
    lines = [f"{each.number}  {each.at[:16].replace('T', ' ')}  {each.who}: {each.what}" for each in actions]
    report(options, {"actions": actions}, lines or ["Nothing was done yet."])
    return ALL_WELL


def _backup(options: argparse.Namespace, catalogue: Catalogue) -> int:
    return _said(options, f"Written: {catalogue.backup(Path(options.file))}")


def _check(options: argparse.Namespace, catalogue: Catalogue) -> int:
    mended = []
    if options.mend:
        from contrastkit.keep.moving import mend

        mended = mend(catalogue.store, who=options.who)
    findings = catalogue.check()
    lines = [*mended]
    lines += [str(finding) for finding in findings] or ["The catalogue is whole and agrees with itself."]
    report(options, {"findings": findings, "mended": mended, "sentences": lines}, lines)
    return NOTHING if findings else ALL_WELL


def _restore(options: argparse.Namespace) -> int:
    from contrastkit.keep.moving import restore_store
    from contrastkit.keep.sources import catalogue_at

    aside = restore_store(options.backup, catalogue_at(options.pile))
    kept = [] if aside is None else [f"What stood there is kept as {aside}."]
    return _said(options, f"Restored from {options.backup}.", *kept)


def _copy(options: argparse.Namespace) -> int:
    from contrastkit.keep.moving import copy_store
    from contrastkit.keep.sources import catalogue_at

    rows = copy_store(catalogue_at(options.pile), options.to)
    return _said(options, f"Copied {pieces_words(rows['swatches'])} and all that is known of them, and compared it.")


def _said(options: argparse.Namespace, *sentences: str) -> int:
    lines: Sequence[str] = sentences or ["There was nothing to do."]
    report(options, {"sentences": list(lines)}, lines)
    return ALL_WELL
