"""The commands that print for a class: handout, class."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.cli.measuring import REFERENCES, Progress, add_reference, pile_of, say_failed
from contrastkit.cli.printing import (
    ALL_WELL,
    CSV_NOTE,
    EXIT_CODES,
    SOME_FAILED,
    add_json,
    help_with,
    report,
    say,
)
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    from contrastkit.show.class_pack import WrittenPack
    from contrastkit.show.handouts import PageLook

_KINDS = """\
handouts, and what each takes:
  kit              --learners N, --pieces N a learner
  cautions
  photographing
  grey-scale       --steps 5|9|11
  contact-sheet    PLACE
  chart            PLACE, --chart KIND
  values           PLACE, with --swatch NAME or --stack A,B,C (bottom first), or --photo FILE alone;
                   --values 2|3|5|9, --method fixed|natural|named
  exercise, key    PLACE, --count N, --level "far apart"|vivid, --seed N
  results          PLACE, --orders FILE.csv; --count, --level, --seed for rows that do not say
  plan             --plan PLAN.toml; PLACE, where the plan names no table

  PLACE is photographs and folders of them, or one table, or `pile`, the catalogue.

orders, a row for each learner and week:
  learner,date,order,seed,count,level
  Fennel,2026-11-18,3 1 2=5 4,1,5,far apart

  learner    name or initials
  date       as 2026-11-25
  order      the numbers from dark to light, with blanks between; those that look equal joined by =
  seed       of the exercise, as it stands at the foot of its sheets
  count      how many pieces it has
  level      far apart or vivid
  The last three may be left out, where all rows are of one exercise. The newest exercise is shown in full, the others
  in how each learner got on.

"""
_PACK = """\
a class pack, of which heading and pile alone are enough:
  heading = "Values in cloth, Tuesday evenings"
  paper = "A4"                          # or Letter
  date = 2026-11-25
  learners = ["Fennel", "Sorrel"]       # their names, or how many they are (12)
  pieces = 12                           # that each learner makes
  pile = "photos"                       # photographs and folders of them, a table, or "pile", the catalogue
  only = "not used not lost"            # which pieces of a catalogue
  handouts = "all"                      # or a list of kinds, see contrastkit handout --list
  charts = "all"                        # or a list of teaching charts
  plan = "plan.toml"
  orders = "orders.csv"                 # what learners sorted by eye, see contrastkit handout --help

  [grey-scale]
  steps = 9

  [[exercise]]                          # one for each; its key comes by itself
  count = 12
  level = "far apart"                   # or "vivid"
  seed = 1

  [[values]]                            # one for each study
  stack = ["T13", "T15", "T03"]         # bottom first; or photo = "...", or swatch = "..."
  values = 3
  method = "fixed"                      # or "natural", or "named"

  Files are named from the folder that the pack lies in.

"""
_SAID = (
    "learners", "pieces", "steps", "chart", "photo", "swatch", "stack", "values", "method", "count", "level", "seed",
    "orders", "plan",
)  # fmt: skip


def add_commands(commands: Any) -> None:
    """Add these commands to the parser's."""
    _add_handout(commands)
    _add_class(commands)


def _add_handout(commands: Any) -> None:
    command = commands.add_parser(
        "handout", help="print a handout for a class, true to size",
        description="Write one handout as PDF, true to size: exercise, key, value study, grey scale, cut list, class "
        "kit, cautions and more.",
        **help_with(_KINDS + REFERENCES + CSV_NOTE + EXIT_CODES),
    )
    command.add_argument("kind", nargs="?", metavar="KIND", help="which; see below")
    command.add_argument("places", nargs="*", metavar="PLACE", help="the pile, for handouts that are drawn from one")
    command.add_argument("--list", action="store_true", help="list the handouts and stop")
    command.add_argument("--out", metavar="FILE.pdf", help="the file to write")
    command.add_argument("--heading", default="", metavar="TEXT", help="the teacher's own line, on every page")
    command.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="(A4)")
    command.add_argument("--only", metavar="FILTER", help="which pieces of the catalogue (not used not lost)")
    _add_said(command)
    add_reference(command)
    add_json(command)
    command.set_defaults(run=_handout)


def _add_said(command: argparse.ArgumentParser) -> None:
    whole: Any = {"type": int, "metavar": "N"}
    command.add_argument("--learners", **whole, help="how many (12)")
    command.add_argument("--pieces", **whole, help="that each learner makes (12)")
    command.add_argument("--steps", **whole, help="of the grey scale: 5, 9 or 11 (9)")
    command.add_argument("--chart", metavar="KIND", help="which teaching chart")
    command.add_argument("--photo", metavar="FILE", help="study this photograph")
    command.add_argument("--swatch", metavar="NAME", help="study this piece of the pile")
    command.add_argument("--stack", type=_names, metavar="A,B,C", help="study this stack, bottom first")
    command.add_argument("--values", **whole, help="of a study: 2, 3, 5 or 9 (3)")
    command.add_argument("--method", choices=("fixed", "natural", "named"), help="how a study's values part (fixed)")
    command.add_argument("--count", **whole, help="pieces of an exercise, 3 to 40 (12)")
    command.add_argument("--level", choices=("far apart", "vivid"), help="of an exercise (far apart)")
    command.add_argument("--seed", **whole, help="another gives another mixed order (1)")
    command.add_argument("--orders", metavar="FILE.csv", help="what learners wrote; see below")
    command.add_argument("--plan", metavar="PLAN.toml", help="the plan to print")


def _add_class(commands: Any) -> None:
    command = commands.add_parser(
        "class", help="make all handouts of a class from one file",
        description="Make all handouts of a class from one TOML file, each a PDF, with a page that lists them: how "
        "many pages, how many copies for this class, and how to print them true to size. What the pile does not allow "
        "is left out, and named with its reason.",
        **help_with(_PACK + EXIT_CODES),
    )
    command.add_argument("pack", metavar="PACK.toml", help="the class pack")
    command.add_argument("--out", required=True, metavar="DIR", help="the folder to write to; made if it is not there")
    add_json(command)
    command.set_defaults(run=_class)


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


# --- handout ----------------------------------------------------------------------------------------------------------


def _handout(options: argparse.Namespace) -> int:
    from contrastkit.show.handout_kinds import HANDOUTS, check_said, handout_named, handout_pages, title_of
    from contrastkit.show.words import counted

    if options.list:
        kinds = [{"kind": kind, "words": each.words, "takes": each.takes, "pile": each.pile}
                 for kind, each in HANDOUTS.items()]
        report(options, {"handouts": kinds}, [f"{kind:<15} {each.words}" for kind, each in HANDOUTS.items()])
        return ALL_WELL
    if options.kind is None:
        raise InvalidInputError(f"A handout must be named: one of {', '.join(HANDOUTS)}. See --list.")
    handout = handout_named(options.kind)
    said = {name: getattr(options, name) for name in _SAID if getattr(options, name) is not None}
    check_said(options.kind, list(said), sign="--")
    _check_places(options, handout.pile)
    place = _place(options)
    look = _look(options)
    pile = pile_of(options) if options.places else None
    if pile is None:
        pages = handout_pages(options.kind, look=look, **said)
    else:
        pages = handout_pages(options.kind, look=look, table=pile.table, crops=pile.crops, **said)
    failed = () if pile is None else pile.failed
    from contrastkit.show.chart import save_pages

    file = save_pages(pages, place)
    document = {"file": str(file), "pages": len(pages), "description": pages[0].description,
                "failed": [{"photo": str(each.path), "reason": each.reason} for each in failed]}
    report(options, document, [f"{counted(len(pages), 'page')}: {title_of(pages[0])}.", f"Written: {file}"])
    say_failed(failed)
    return SOME_FAILED if failed else ALL_WELL


def _check_places(options: argparse.Namespace, pile: str) -> None:
    """What is not drawn from a pile takes no places, and only a pile can be asked for some of its pieces."""
    from contrastkit.keep.sources import is_catalogue

    if options.places and pile == "never":
        raise InvalidInputError(
            f"The handout {options.kind} is not drawn from a pile; got {options.places[0][:80]!r}. Leave it out."
        )
    for name, usual in (("only", None), ("reference", "auto"), ("reference-at", None)):
        if getattr(options, name.replace("-", "_")) != usual and not options.places:
            raise InvalidInputError(f"--{name} is about a pile; none is given. Leave it out, or name the pile.")
    if options.only is not None and not any(map(is_catalogue, options.places)):
        raise InvalidInputError(
            f"--only asks a catalogue; got it with {options.places[0][:80]!r}. Leave it out, or give `pile`."
        )


def _place(options: argparse.Namespace) -> Path:
    from contrastkit.camera.read import list_photos
    from contrastkit.keep.files import file_place

    if options.out is None:
        raise InvalidInputError("A handout must be written to a file; none is given. Add --out FILE.pdf.")
    named = [each for each in (options.photo, options.orders, options.plan, *options.places) if each is not None]
    return file_place(options.out, (".pdf",), what="A handout", never=[*named, *list_photos(options.places)])


def _look(options: argparse.Namespace) -> PageLook:
    from contrastkit.show.handout_kinds import check_heading
    from contrastkit.show.handouts import PageLook

    return PageLook(check_heading(options.heading), options.paper)


# --- class ------------------------------------------------------------------------------------------------------------


def _class(options: argparse.Namespace) -> int:
    from contrastkit.show.class_pack import make_pack
    from contrastkit.show.pack_file import read_pack

    pack = read_pack(options.pack)
    progress = Progress()
    written = make_pack(
        pack, options.out, never=[options.pack], progress=progress.begin, measured=progress.tell, told=_tell_handout
    )
    report(options, _pack_document(written), written.sentences)
    return SOME_FAILED if written.failed else ALL_WELL


def _tell_handout(number: int, count: int, became: str) -> None:
    say(f"{number} of {count}  {became}.")


def _pack_document(written: WrittenPack) -> dict[str, Any]:
    return {
        "folder": str(written.folder), "files": [str(file) for file in written.files], "learners": written.learners,
        "sheets": written.sheets, "handouts": [{**asdict(each), "sheets": each.sheets} for each in written.handouts],
        "left_out": written.left_out,
    }
