"""The commands that plan: stacks, seam, plan."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from contrastkit.cli.printing import (
    ALL_WELL,
    CSV_NOTE,
    EXIT_CODES,
    add_json,
    help_with,
    length_in,
    numbers,
    pieces_words,
    report,
)
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    from contrastkit.compose.choosing import Choice
    from contrastkit.compose.plan import Plan
    from contrastkit.compose.seams import Seam
    from contrastkit.compose.stacks import StackScore
    from contrastkit.keep.catalogue import Catalogue

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


def add_commands(commands: Any) -> None:
    """Add these commands to the parser's."""
    _add_stacks(commands)
    _add_seam(commands)
    _add_plan(commands)


def _add_stacks(commands: Any) -> None:
    command = commands.add_parser(
        "stacks", help="choose the best stacks from a table of lightness values",
        description="Choose stacks from a pile, each piece used once, so that the weakest step in lightness between "
        "two layers is as large as can be, then the weakest of the next stack, and so on. The table needs the columns "
        "swatch_id and lightness (L*, 0-100); sizes, sheets and grounds are read from the columns side (mm), sheet "
        "and ground.",
        **help_with(_ORDERS + CSV_NOTE + EXIT_CODES),
    )
    command.add_argument("table", metavar="TABLE.csv", help="the table; `pile` for the catalogue")
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
    command.add_argument("--profile", type=numbers(), metavar="25,10", help="wanted steps, L*, bottom first")
    command.add_argument("--at-least", type=float, metavar="T", help="a step that is enough; extremes are then spared")
    command.add_argument("--seconds", type=float, default=10.0, metavar="S", help="how long to look at most (10)")
    command.add_argument(
        "--only", default='state="at hand"', metavar="FILTER", help="which pieces of the catalogue; those at hand",
    )
    command.add_argument("--set-aside", metavar="PROJECT", help="set the stacks aside in the catalogue for a project")
    command.add_argument("--out", metavar="FILE.pdf", help="draw the stacks here, as .pdf, or .png for one sheet")
    add_json(command)
    command.set_defaults(run=_stacks)


def _add_seam(commands: Any) -> None:
    command = commands.add_parser(
        "seam", help="say how far the bare rim between two layers stands clear at a distance",
        description="Say how far the bare rim between two layers stands clear when seen from a distance: the eye's "
        "blur, in linear light, by the luminance kernel of S-CIELAB.",
        **help_with(EXIT_CODES),
    )
    for name, what in (("left", "the lower layer"), ("rim", "the bare rim"), ("right", "the upper layer")):
        command.add_argument(f"lightness_{name}", type=float, metavar=f"L_{name.upper()}", help=f"L* of {what}")
    _add_viewing(command, distance="3m")
    add_json(command)
    command.set_defaults(run=_seam)


def _add_plan(commands: Any) -> None:
    command = commands.add_parser(
        "plan", help="work out everything that a project takes: pieces, cloth, web, and the days",
        description="Read a plan of blocks (TOML) and work out every piece to cut, the prints and plates, painted "
        "cloth, fusible web, the background, in which order to cut, and what to do on which day.",
        **help_with(_PLAN + EXIT_CODES),
    )
    command.add_argument("plan", metavar="PLAN.toml", help="the plan")
    command.add_argument("--out", metavar="DIR", help="write plan.html and cut-list.csv to this folder")
    state = command.add_mutually_exclusive_group()
    state.add_argument("--set-aside", action="store_true", help="set its pieces aside in the catalogue")
    state.add_argument("--fused", action="store_true", help="say that its pieces are used")
    add_json(command)
    command.set_defaults(run=_plan)


def _add_viewing(command: argparse.ArgumentParser, *, distance: str | None) -> None:
    command.add_argument(
        "--distance", type=length_in("m"), default=distance, metavar="3m",
        help="from how far it is seen; bare numbers are metres" + (f" ({distance})" if distance else ""),
    )
    command.add_argument(
        "--rim", type=length_in("mm"), default="1/16in", metavar="1/16in", help="width of the bare rim (1/16in)"
    )


def _lengths(text: str) -> tuple[float, ...]:
    return tuple(0.0 if part.strip() in ("", "any") else length_in("mm")(part) for part in text.split(","))


def _words(text: str) -> tuple[str | None, ...]:
    return tuple(None if part.strip() in ("", "any") else part.strip() for part in text.split(","))


def _stacks(options: argparse.Namespace) -> int:
    from contrastkit.compose.choosing import choose_stacks
    from contrastkit.compose.rules import Rules
    from contrastkit.compose.stacks import judge_stack, stack_of
    from contrastkit.keep.files import file_place
    from contrastkit.keep.sources import read_source

    source = read_source(options.table, options.only, pictures=options.out is not None)
    table, place = source.table, None
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

        pages = stacks_sheet(choice, table, source.crops, background=options.background)
        lines += [f"Drawn: {pages[0].save(place) if len(pages) == 1 else save_pages(pages, place)}"]
    if options.set_aside is not None:
        with _catalogue_of(options.table) as catalogue:
            lines.append(catalogue.set_aside_stacks(options.set_aside, choice.stacks))
    report(options, _stacks_document(choice, scores), lines)
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
    return [*lines, f"Left over: {pieces_words(count)}." if count else "Nothing is left over."]


def _catalogue_of(place: str) -> Catalogue:
    """The catalogue that a table is from; refused, where it is from a file."""
    from contrastkit.keep.catalogue import open_catalogue
    from contrastkit.keep.sources import catalogue_at, is_catalogue

    if not is_catalogue(place):
        raise InvalidInputError(
            f"Pieces are set aside and used in the catalogue; {place!r} is a table in a file. Give `pile` as the table."
        )
    return open_catalogue(catalogue_at(place), create=False)


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
    report(options, document, [seen.sentence])
    return ALL_WELL


def _plan(options: argparse.Namespace) -> int:
    from contrastkit.compose.cutting import cut_plan, plan_document
    from contrastkit.compose.plan import read_plan
    from contrastkit.show.cutlist import source_of, write_plan

    plan = read_plan(options.plan)
    source = source_of(plan, pictures=options.out is not None)
    cut = cut_plan(plan)
    kept = _keep(options, plan)
    table, crops = (None, None) if source is None else (source.table, source.crops)
    written = None if options.out is None else write_plan(plan, cut, options.out, table=table, crops=crops)
    files = () if written is None else tuple(str(file) for file in written.files)
    lines = [*cut.sentences, *kept, *(f"Written: {file}" for file in files)]
    report(options, plan_document(cut) | {"files": files}, lines)
    return ALL_WELL


def _keep(options: argparse.Namespace, plan: Plan) -> list[str]:
    """Set the plan's pieces aside in the catalogue it names as its table, or say that they are used."""
    if not (options.set_aside or options.fused):
        return []
    with _catalogue_of("a plan without a table" if plan.table is None else str(plan.table)) as catalogue:
        if options.fused:
            return [catalogue.fuse(plan.title)]
        stacks = [names for block in plan.blocks for *_, layers in block.stacks for names in layers.stacks]
        return [catalogue.set_aside_stacks(plan.title, stacks)]
