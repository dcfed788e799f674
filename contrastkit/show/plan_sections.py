"""The sections of a plan's page, each a function from the plan to a part of the page; nothing where there is none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from contrastkit.columns import GROUP_NAMES
from contrastkit.compose.blocks import FurtherBlocks
from contrastkit.compose.cutting import CutPlan, CutSquares, CutStacks, Item, shopping_list, waste_words
from contrastkit.compose.days import DEFER, Step
from contrastkit.compose.exact import Root2
from contrastkit.compose.packing import Packing
from contrastkit.compose.plan import Plan, PlannedBlock
from contrastkit.lengths import length_words
from contrastkit.show.crops import Pixels
from contrastkit.show.frame import paragraph, section
from contrastkit.show.markup import bars_svg, drawing_svg, escaped, items, jpeg_uri, name
from contrastkit.show.packed import Panel, draw_panel, panels, step_words
from contrastkit.show.words import counted

_QUALITY = 88
_WIDTHS = {"wide": 1152, "medium": 700, "narrow": 350}


@dataclass(frozen=True)
class PlanPage:
    """Everything the sections draw on: the plan, all it takes, and pictures of each kind of block and of the layout."""

    plan: Plan
    cut: CutPlan
    blocks: tuple[Pixels, ...]
    layout: Pixels
    printed_blocks: tuple[str, ...] = ()  # the same for paper, finished parts of the page

    @property
    def unit(self) -> str:
        return self.plan.unit

    def words(self, length: Fraction | Root2) -> str:
        """Return a length with its unit."""
        return plain(length_words(float(length), self.unit))

    def bare(self, length: Fraction | Root2) -> str:
        """Return a length for a column whose head has the unit."""
        return plain(length_words(float(length), self.unit).removesuffix(f" {self.unit}"))


# Spaces within a length: before a fraction, after the sign for "about", before the unit.
_WITHIN = re.compile(r"(?<=\d) (?=\d+/\d)|(?<=≈) |(?<=\d) (?=(?:in\b|mm\b|%))")


def plain(words: str) -> str:
    """
    Return plain words as a page may carry them, no line breaking within a length.

    >>> plain("2 of 3 1/2 in") == "2 of 3\N{NO-BREAK SPACE}1/2\N{NO-BREAK SPACE}in"
    True
    """
    return _WITHIN.sub("\N{NO-BREAK SPACE}", escaped(words))


# The whole, and its blocks.


def layout(page: PlanPage) -> str:
    """The whole project as it will hang, and the sizes of the background."""
    plan, ground = page.plan, page.cut.background
    size = f"{page.bare(ground.width)} × {page.words(ground.height)}"
    cloth_name = f", {name(plan.background.cloth)}" if plan.background.cloth else ""
    facts = [("Cut the background", f"{size}{cloth_name}")]
    if plan.background.margin:
        facts.append(("Hanging margin", f"{page.words(plan.background.margin)} on every side"))
    if plan.background.spacing:
        facts.append(("Between blocks", page.words(plan.background.spacing)))
    facts.append(("Blocks", f"{plan.block_count}, {min(plan.background.in_row, plan.block_count)} in a row"))
    if plan.background.lightness is not None:
        facts.append(("Background", f"drawn in its L* {plan.background.lightness:.0f}"))
    rows, cols = page.layout.shape[:2]
    alt = f"{counted(plan.block_count, 'block')} laid out on a background of {size}."
    image = f'<img src="{jpeg_uri(page.layout, quality=_QUALITY)}" width="{cols}" height="{rows}" alt="{alt}">'
    terms = "".join(f"<div><dt>{term}</dt><dd>{words}</dd></div>" for term, words in facts)
    return section(
        "layout", "As it will hang", paragraph(_greys_words(page)),
        f'<div class="whole">{image}<dl class="facts">{terms}</dl></div>',
    )


def _greys_words(page: PlanPage) -> str:
    if page.plan.swatches:
        return "Swatches that the plan names are shown as they are, or in their greys; other greys stand for groups."
    return "The greys stand for lightness groups, not for the real pieces."


def blocks(page: PlanPage) -> str:
    """Each kind of block: picture, sizes, what it is cut from."""
    kinds = "".join(_block(page, place) for place in range(len(page.plan.blocks)))
    heading = f"{counted(len(page.plan.blocks), 'kind')} of blocks" if len(page.plan.blocks) > 1 else "The block"
    return section("blocks", heading, paragraph(_block_rule(page)), kinds)


def _block_rule(page: PlanPage) -> str:
    rim = f"a rim of {page.words(page.plan.rim)} of bare ground round each print" if page.plan.rim else "no rim"
    gap = f", and a gap of {page.words(page.plan.gap)} round cores and surrounds" if page.plan.gap else ""
    rounded = " ≈ is to the nearest mark of a ruler." if page.unit == "in" else ""
    return f"With {rim}{gap if page.cut.stacks else ''}. Squares are named from the bottom up.{rounded}"


def _block(page: PlanPage, place: int) -> str:
    block, pixels = page.plan.blocks[place], page.blocks[place]
    finished = page.words(block.shape.finished[-1])
    alt = f"{escaped(block.name)}: a finished block of {finished}."
    side = pixels.shape[0]
    picture = (
        f'<img src="{jpeg_uri(pixels, quality=_QUALITY)}" width="{side}" height="{side}" alt="{alt}">'
    )
    printed = page.printed_blocks[place] if page.printed_blocks else ""
    return (
        f'<article class="kind"><h3>{name(block.name)}: {block.count} of {finished}</h3>{printed}<div class="looks">'
        f"{picture}<div>{_parts_table(page, block)}{_named(block)}</div></div></article>"
    )


def _parts_table(page: PlanPage, block: PlannedBlock) -> str:
    shape = block.shape
    rows = [_part_row(page, "core", shape.finished[0], 1, shape.cut_sides, "left whole")]
    for further, surround, side in zip(shape.further_blocks, shape.surrounds, shape.finished[1:], strict=True):
        part = f"surround {further.surround}" + (", turned" if surround.turned else "")
        rows.append(_part_row(page, part, side, further.count, further.cut_sides, _cut_into(further)))
    heads = ("part", f"finished, {page.unit}", "stacks", f"squares, {page.unit}", "once fused")
    return _table("", heads, rows, "parts")


def _part_row(
    page: PlanPage, part: str, finished: Root2, stacks: int, sides: Sequence[Fraction], after: str
) -> tuple[str, ...]:
    return part, page.bare(finished), str(stacks), ", ".join(map(page.bare, sides)), after


def _cut_into(further: FurtherBlocks) -> str:
    return f"cut into {further.cut}"


def _named(block: PlannedBlock) -> str:
    """The stacks that the plan names, each a numbered line."""
    parts = []
    for part, count, _, layers in block.stacks:
        if layers.stacks:
            left = count - len(layers.stacks)
            rest = f"; {left} more to choose" if left else ""
            stacks = [", ".join(map(name, stack)) for stack in layers.stacks]
            parts.append(paragraph(f"<strong>{part.capitalize()}</strong>, swatches from the bottom up{rest}:"))
            parts.append(items(stacks, kind="ol", classes="named"))
    return "".join(parts)


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]], classes: str) -> str:
    """A table whose cells know the name of their column, for when it becomes narrow."""
    head = "".join(f'<th scope="col">{each}</th>' for each in heads)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>'
        + "".join(_cell(*pair) for pair in zip(heads[1:], row[1:], strict=True))
        + "</tr>"
        for row in rows
    )
    said = f"<caption>{caption}</caption>" if caption else ""
    return f'<table class="{classes}">{said}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _cell(head: str, content: str) -> str:
    return f'<td data-head="{escaped(head)}"><span>{content}</span></td>'


# The cut list.


def cut_list(page: PlanPage) -> str:
    """Every square and every further stack, with a box to tick."""
    heads = ("tick", "how many", f"cut to, {page.unit}", f"print, {page.unit}", "layer", "group", "for")
    squares = [_square_row(page, number, each) for number, each in enumerate(page.cut.squares, start=1)]
    parts = [_table("Squares of painted cloth, and a square of web for each", heads, squares, "ticks")]
    if page.cut.stacks:
        stack_heads = ("tick", "stacks", f"bottom square, {page.unit}", "cut into", f"long side, {page.unit}", "for")
        first = len(squares) + 1
        stacks = [_stack_row(page, number, each) for number, each in enumerate(page.cut.stacks, start=first)]
        parts.append(_table("Once they are fused, not before: further stacks", stack_heads, stacks, "ticks fused"))
    heading = f"Cut list: {counted(page.cut.square_count, 'square')}"
    return section("cut", heading, *parts)


def _tick(number: int, what: str) -> str:
    box = f'<input type="checkbox" id="tick-{number}">'
    return f'<label class="tick">{box}<span class="vh">{escaped(what)}</span></label>'


def _square_row(page: PlanPage, number: int, each: CutSquares) -> tuple[str, ...]:
    layer = "1, bottom" if each.layer == 0 else str(each.layer + 1)
    blocks = ", ".join(f"{name(block)} × {count}" for block, count in each.blocks)
    at_hand = ""
    if each.swatches:
        at_hand = f'<span class="quiet">{len(each.swatches)} from {", ".join(map(name, each.swatches))}</span>'
    done = f"{each.count} squares of {length_words(each.side, page.unit)}, layer {each.layer + 1}, are cut"
    return (
        _tick(number, done), str(each.count), page.bare(each.side), page.bare(each.print_side), layer,
        _group(each.group), f"{blocks}{at_hand}",
    )


def _stack_row(page: PlanPage, number: int, each: CutStacks) -> tuple[str, ...]:
    done = f"{counted(each.stacks, 'stack')} of {each.block}, surround {each.surround}, cut into {each.into}"
    return (
        _tick(number, done), str(each.stacks), page.bare(each.sides[0]), f"{each.triangles} {each.into}",
        page.bare(each.long_side), f"{name(each.block)}, surround {each.surround}",
    )


def _group(group: str) -> str:
    """A group with its bars, which it has where there are three."""
    return f"{bars_svg(GROUP_NAMES.index(group)) if group in GROUP_NAMES else ''}{escaped(group or 'any')}"


# Cutting diagrams.


def cloth(page: PlanPage) -> str:
    """How to cut the painted cloth, group by group."""
    if not page.cut.cloth:
        return ""
    room = page.plan.cloth.room if page.plan.cloth is not None else Fraction(0)
    how = (
        "Rub the prints where the squares lie. Later cut sections across first, edge to edge; then strips along each; "
        "then squares out of the strips."
    )
    if room:
        how += f" Each square has {page.words(room)} of room on every side, to be trimmed off; this counts as waste."
    how += " Grey: left over."
    parts = []
    for each in page.cut.cloth:
        group = f"{_group(each.group)} cloth" if each.group else "cloth of any group"
        parts.append(f"<h3>{group}: {waste_words(each.packing)} waste</h3>")
        parts += _packing(page, each.packing)
    return section("cloth", "Painting and cutting the cloth", paragraph(how), *parts)


def web(page: PlanPage) -> str:
    """How to cut the fusible web."""
    packing = page.cut.web
    if packing is None:
        return ""
    over = float(100 * (packing.over_bound - 1))
    how = (
        f"{waste_words(packing)} of it is waste; nothing could need less than its squares, and this is "
        f"{over:.0f} % more than they are. Grey: left over."
    )
    return section("web", f"Cutting the web: {_amount(page, packing)}", paragraph(how), *_packing(page, packing))


def _amount(page: PlanPage, packing: Packing) -> str:
    if packing.material.length is None:
        return page.words(packing.used_length)
    return counted(len(packing.sheets), "sheet")


def _packing(page: PlanPage, packing: Packing) -> Iterator[str]:
    for panel in panels(packing, page.unit):
        steps = [plain(step_words(cuts, panel.room, page.unit)) for cuts in panel.cuts]
        numbered = "".join(
            f'<li value="{number}">{step}</li>' for number, step in enumerate(steps, start=panel.first)
        )
        yield (
            f'<div class="panel"><h4>{plain(panel.title)}</h4>{_drawings(panel, page.unit)}'
            f'<ol class="steps">{numbered}</ol></div>'
        )


def _drawings(panel: Panel, unit: str) -> str:
    return "".join(
        drawing_svg(draw_panel(panel, unit, width=width, text=16), {}, f"drawn {kind}")
        for kind, width in _WIDTHS.items()
    )


# What to have, and what to do when.


def shopping(page: PlanPage) -> str:
    """What to buy, make or lay ready, with a box to tick."""
    rows = "".join(_item(number, item) for number, item in enumerate(shopping_list(page.cut), start=1))
    plates = "A relief plate serves again and again: one rubbing over it makes one print."
    return section(
        "shopping", "Shopping list", paragraph(plates) if page.cut.rubbings else "", f'<ul class="shopping">{rows}</ul>'
    )


def _item(number: int, item: Item) -> str:
    box = f'<label class="tick"><input type="checkbox" id="item-{number}"><span class="vh">have it</span></label>'
    amount = f": {plain(item.amount)}" if item.amount else ""
    note = f'<span class="quiet">{plain(item.note)}</span>' if item.note else ""
    return f"<li>{box}<span><strong>{plain(item.what)}</strong>{amount}{note}</span></li>"


def days(page: PlanPage) -> str:
    """Day by day, the cautions beside the steps."""
    parts = "".join(
        f'<div class="day"><h3>Day {number}: {day.title}</h3>{"".join(map(_step, day.steps))}</div>'
        for number, day in enumerate(page.cut.days, start=1)
    )
    return section("days", "Day by day", paragraph(DEFER), parts)


def _step(step: Step) -> str:
    cautions = items([_caution(text) for text in step.cautions], classes="cautions")
    return f'<div class="step"><div><h4>{step.title}</h4>{paragraph(plain(step.text))}</div>{cautions}</div>'


def _caution(text: str) -> str:
    word, colon, rest = text.partition(":")
    return f"<strong>{escaped(word)}{colon}</strong>{escaped(rest)}"
