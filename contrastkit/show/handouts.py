"""
Handouts: printed pages for a class, true to size, each a list of pages.

What directs work with blade, iron, adhesive, pigment and oily rags carries the short cautions that belong to it, and
says what comes before it: product labels, local rules, licensed practice.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from contrastkit.compose.cutting import CutPlan, CutSquares, cutting_order, shopping_list, waste_words
from contrastkit.compose.days import BLADE, DEFER, FUMES, IRON, PIGMENT, RAGS
from contrastkit.compose.layout import lay_out
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import length_words
from contrastkit.light.lightness import lightness_to_munsell_value
from contrastkit.show.block import LaidBlock, block_drawing, layout_drawing
from contrastkit.show.chart import Chart, chart_of
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Words, scaled
from contrastkit.show.flow import HEADING, Block, Caution, Figure, Heading, NewPage, Paragraph, Points, Table, flowed
from contrastkit.show.look import PAPER, SMALL, legible_on
from contrastkit.show.packed import draw_panel, panels, step_words
from contrastkit.show.page import MARGIN, headed, paper_size, sheet_foot, sheet_head
from contrastkit.show.plan_pictures import Pile, background_tone, stacks_of
from contrastkit.show.words import counted, date_words

STEPS = (5, 9, 11)
_SCALE_ENDS = {5: (15.0, 95.0), 9: (15.0, 95.0), 11: (0.0, 100.0)}  # L*: of paint on cotton; black to white
_PRACTICE = "Common practice, no source."
_TEXT = 4.0
_LINE = 0.25  # the thinnest line
ON_THE_WALL = 7.06  # height of type: 20 points
_PANEL, _PER_MM = 110.0, 96 / 25.4  # width of a cutting diagram, mm; it is drawn in the pixels of a page


@dataclass(frozen=True)
class PageLook:
    """What the pages of one class have in common: the teacher's own heading, the paper, the date."""

    heading: str = ""
    paper: str = "A4"
    made: datetime.date | None = None

    @property
    def date(self) -> str:
        """The date in words; today's, if none is given."""
        return date_words(self.made or datetime.date.today())

    def pages(self, title: str, how: str, blocks: list[Block], *, foot: str = _PRACTICE) -> list[Chart]:
        """Return blocks as pages under the heading."""
        return flowed(title, how, blocks, paper=self.paper, foot=foot, made=self.made, heading=self.heading)


# --- the grey scale ---------------------------------------------------------------------------------------------------


def grey_steps(steps: int) -> tuple[float, ...]:
    """
    Return the L* of the steps of a printed grey scale, darkest first, all equally far apart.

    Five and nine steps span what paint on cotton reaches, L* 15 to 95; eleven go from black to white.

    Raises
    ------
    InvalidInputError
        Another number of steps.

    >>> grey_steps(5)
    (15.0, 35.0, 55.0, 75.0, 95.0)
    """
    if steps not in STEPS:
        raise InvalidInputError(f"A grey scale must have 5, 9 or 11 steps; got {steps}. Pick one of these.")
    low, high = _SCALE_ENDS[steps]
    return tuple(low + (high - low) * step / (steps - 1) for step in range(steps))


def grey_scale_handout(steps: int = 9, *, look: PageLook | None = None) -> list[Chart]:
    """
    Return a grey scale to cut out, with places to write what its steps really measure.

    No printer can be trusted for it: the page says so, and how the print is measured.

    Parameters
    ----------
    steps : 5, 9 or 11
    look : heading, paper and date

    Raises
    ------
    InvalidInputError
        Another number of steps, or an unknown paper.

    >>> grey_scale_handout(5)[0].description[:52]
    'A printed grey scale is no reference until it is mea'
    """
    look = look or PageLook()
    tones = grey_steps(steps)
    size = paper_size(look.paper)
    title = "A printed grey scale is no reference until it is measured"
    said = f"{steps} steps from dark to light, as sent to the printer. Print it twice; cut one out in one piece."
    how = headed(look.heading, said)
    head, below = sheet_head(title, how, size)
    small = "The numbers are what was sent to the printer, not what it printed."
    foot, _ = sheet_foot(small, look.date, (1, 1), size)
    top = below - 2
    marks = [*head, *_scale(tones, size[0] - 2 * MARGIN, top), *foot]
    y = top - _SCALE_HEIGHT - 6
    marks.append(Words(MARGIN, y, "How it is measured", HEADING, bold=True))
    for number, line in enumerate(_measure_lines(tones), start=1):
        marks.append(Words(MARGIN, y - number * 1.45 * _TEXT - 1, line, _TEXT * 0.92))
    steps_said = ", ".join(f"L* {tone:.0f}" for tone in tones)
    return [chart_of(Drawing(*size, tuple(marks), f"{title}. {steps_said}."), {}, page=PAPER)]


_SCALE_HEIGHT = 92.0


def _scale(tones: tuple[float, ...], width: float, top: float) -> Iterator[Mark]:
    """The steps side by side without a gap, their numbers on them, and under them a place for the measured ones."""
    each, high = width / len(tones), 60.0
    for step, tone in enumerate(tones):
        x, y = MARGIN + step * each, top - high
        yield Box(x, y, each, high, fill=tone)
        ink = legible_on(tone)
        yield Words(x + each / 2, y + 6.5, f"{tone:.0f}", 4.6, ink, bold=True, align="middle")
        value = float(lightness_to_munsell_value(tone))
        yield Words(x + each / 2, y + 2.2, f"V {value:.1f}", SMALL, ink, align="middle")
        yield Words(x + each / 2, y - 6.0, "reads", SMALL, "secondary", align="middle")
        yield Box(x + 1, y - 19, each - 2, 11.5, edge="secondary", line=0.35)
    yield Box(MARGIN, top - high, width, high, edge="secondary", line=0.25)
    below = "Darkest left. L* and Munsell value (V) as sent; below, write what was measured."
    yield Words(MARGIN, top - high - 25.5, below, SMALL, "secondary")


def _measure_lines(tones: tuple[float, ...]) -> Iterator[str]:
    numbers = ",".join(f"{max(tone, 1.0):.0f}" for tone in reversed(tones))
    yield "1.  Print it with the printer's colour correction switched off, or note what is on. Let it dry a day."
    yield "2.  Cut the second print apart, and lay its steps, none touching, with a 24-patch chart on the board."
    yield "3.  Photograph them as the pieces are. contrastkit camera-check PHOTO says whether that can be trusted."
    yield "4.  contrastkit measure PHOTO --reference chart --out steps.csv gives the L* of each step."
    yield "5.  Write them in the boxes of the whole one. From then on it is a reference, light to dark:"
    yield f"     --reference scale={numbers}   (the measured numbers in place of these)"
    yield "A scale that fades, curls or is printed anew is measured anew."


# --- how to photograph ------------------------------------------------------------------------------------------------


def photographing_handout(*, look: PageLook | None = None) -> list[Chart]:
    """
    Return the card on how to photograph swatches so that they measure true.

    >>> len(photographing_handout())
    1
    """
    look = look or PageLook()
    width = paper_size(look.paper)[0] - 2 * MARGIN
    blocks: list[Block] = [
        Figure(_set_up(width)),
        Heading("Set up"),
        Points((
            "Lay the pieces flat on a plain, matt, middle-grey board, a finger's width apart, none at the edge of the "
            "picture.",
            "Lay the grey card, the scale or the 24-patch chart among them, flat, in the same plane. Never prop it up.",
            "Light from one side, or two like lamps, at about 45° to the board. No flash: it mirrors in pearly paint.",
            "One kind of light only. Window or lamp, never both: mixed light has two colours, and no card can mend it.",
            "Camera straight above, far enough away to stay out of its own shadow.",
        ), numbered=True),
        Heading("Take the picture"),
        Points((
            "Expose so that white cloth is not burnt out: rather a little dark than a little bright.",
            "No filters, no portrait or night mode. RAW if the camera has it.",
            "Turn a pearly piece and photograph it twice: if it reads otherwise, write both down.",
            "Wet paint reads darker and glossier than cured paint: note which it is.",
        )),
        Heading("Then look"),
        Paragraph(
            "Do the flags name glare, clipping or uneven light? Take it again now, while all still lies there. A "
            "reading without a reference is a guess of some 8 L* either way."
        ),
    ]
    return look.pages("Card in the plane, light from the side, no flash", "How to photograph swatches.", blocks)


def _set_up(width: float) -> Drawing:
    """The board from the side: lamps at 45°, the camera above, the card flat among the pieces."""
    high, middle = 58.0, width / 2
    board, ground = (middle - 42, middle + 42), 8.0
    marks: list[Mark] = [Box(board[0], ground - 3, 84, 3, fill=50.0), Words(board[1] + 3, ground - 2.8, "board", SMALL)]
    for x, tone, wide in ((-34, 25.0, 14), (-16, 70.0, 14), (2, 49.5, 16), (22, 40.0, 14)):
        marks.append(Box(middle + x, ground, wide, 1.8, fill=tone, edge="text", line=0.25))
    marks += [
        Line(middle + 10, ground + 2.2, middle + 10, ground + 9, "text", 0.3),
        Words(middle + 10, ground + 10, "grey card, flat", SMALL, align="middle"),
        Box(middle - 8, high - 9, 16, 9, edge="text", line=0.5),
        Box(middle - 3, high - 12, 6, 3, edge="text", line=0.5),
        Words(middle + 11, high - 6, "camera, straight above", SMALL),
        Line(middle, high - 12, middle, ground + 16, "secondary", 0.3, dashed=True),
    ]
    for way in (-1, 1):
        lamp_x, lamp_y = middle + way * 78, ground + 38
        marks += [
            Box(lamp_x - 5, lamp_y - 3, 10, 6, fill=85.0, edge="text", line=0.5),
            Line(lamp_x - way * 5, lamp_y - 4, middle + way * 40, ground + 2, "secondary", 0.3, dashed=True),
            Words(lamp_x - way * 27, lamp_y - 18, "45°", SMALL, align="middle"),
            Words(lamp_x, lamp_y + 5, "lamp", SMALL, align="middle"),
        ]
    return Drawing(width, high, tuple(marks), "The board from the side: lamps at 45° on both sides, the camera above, "
                   "the grey card flat among the pieces.")


# --- blocks and cut lists ---------------------------------------------------------------------------------------------


def plan_handout(cut: CutPlan, pile: Pile | None = None, *, look: PageLook | None = None) -> list[Chart]:
    """
    Return a plan on paper: its layout, its blocks, the cut list, how to cut, what to buy, and what to do on which day.

    Parameters
    ----------
    cut : the plan, cut
    pile : the swatches that it names, and their pictures
    look : heading, paper and date

    Raises
    ------
    InvalidInputError
        An unknown paper, or a crop that cannot be shown.
    """
    look, pile = look or PageLook(), pile or Pile.of(None, None)
    plan = cut.plan
    title = f"{plan.title}: {counted(plan.block_count, 'block')}, {counted(cut.square_count, 'square')} to cut"
    blocks: list[Block] = [Heading("As it will hang"), _layout(cut, pile), NewPage()]
    for each in plan.blocks:
        drawing, pictures = block_drawing(each.shape, stacks_of(each, 0, pile), pile.crops, unit=plan.unit,
                                          background=background_tone(plan))
        finished = length_words(float(each.shape.finished[-1]), plan.unit)
        blocks += [Heading(f"{each.name}: {each.count} of {finished}"), Figure(_inked(drawing), pictures)]
    blocks += [NewPage(), Heading("Cut list"), _cut_table(cut), *_fused_table(cut), Caution(BLADE)]
    blocks += _packing_blocks(cut)
    blocks += [Heading("What to buy, make or lay ready"),
               Points(tuple(_item_words(item.what, item.amount, item.note) for item in shopping_list(cut)))]
    blocks += [Heading("Day by day"), Paragraph(DEFER)]
    for number, day in enumerate(cut.days, start=1):
        blocks.append(Heading(f"Day {number}: {day.title}"))
        for step in day.steps:
            blocks.append(Points((f"{step.title}. {step.text}",)))
            blocks += [Caution(caution) for caution in step.cautions]
    ground = cut.background
    how = (f"On a background of {length_words(ground.width, plan.unit)} by {length_words(ground.height, plan.unit)}, "
           "hanging margin included.")
    return look.pages(title, how, blocks, foot="Sizes to the nearest mark of a ruler. " + _PRACTICE)


def _layout(cut: CutPlan, pile: Pile) -> Figure:
    plan, layout = cut.plan, lay_out(cut.plan)
    laid = [
        LaidBlock(plan.blocks[each.kind].shape, (float(each.centre[0]), float(each.centre[1])),
                  stacks_of(plan.blocks[each.kind], each.number, pile))
        for each in layout.blocks
    ]
    drawing, pictures, _ = layout_drawing(
        laid, pile.crops, width=layout.width, height=layout.height, margin=plan.background.margin, unit=plan.unit,
        background=background_tone(plan), tallest=170.0,
    )
    return Figure(_inked(drawing), pictures)


def _cut_table(cut: CutPlan) -> Table:
    rows = tuple(
        ("", str(each.count), length_words(each.side, cut.plan.unit), length_words(each.print_side, cut.plan.unit),
         "1, bottom" if each.layer == 0 else str(each.layer + 1), each.group or "any", _for_words(each))
        for each in cut.squares
    )
    heads = ("✓", "Count", "Cut to", "Print", "Layer", "Group", "For")
    return Table(heads, rows, (0.6, 1.4, 1.7, 1.6, 1.8, 1.9, 4), 9.0)


def _for_words(each: CutSquares) -> str:
    blocks = ", ".join(f"{name} × {count}" for name, count in each.blocks)
    return f"{blocks}; from {', '.join(each.swatches)}" if each.swatches else blocks


def _fused_table(cut: CutPlan) -> Iterator[Block]:
    if cut.stacks:
        rows = tuple(
            ("", str(each.stacks), length_words(each.sides[0], cut.plan.unit), each.into, f"{each.block}, surround "
             f"{each.surround}") for each in cut.stacks
        )
        yield Paragraph("Once they are fused, not before, further stacks are cut into triangles:")
        yield Table(("✓", "Stacks", "Bottom square", "Cut into", "For"), rows, (0.6, 1.3, 2.2, 2, 4.5), 9.0)


def _packing_blocks(cut: CutPlan) -> Iterator[Block]:
    unit = cut.plan.unit
    packed = [*((f"Cloth, {each.group or 'of any group'}", each.packing) for each in cut.cloth)]
    if cut.web is not None:
        packed.append(("Fusible web", cut.web))
    for name, packing in packed:
        yield Heading(f"{name}: of what is cut, {waste_words(packing)} falls away")
        for panel in panels(packing, unit):
            drawing = draw_panel(panel, unit, width=_PANEL * _PER_MM, text=SMALL * _PER_MM)
            yield Figure(_inked(scaled(drawing, 1 / _PER_MM)))
        room = cut.plan.cloth.room if cut.plan.cloth is not None and packing is not cut.web else Fraction(0)
        yield Points(tuple(step_words(each, room, unit) for each in cutting_order(packing)), numbered=True)


def _inked(drawing: Drawing) -> Drawing:
    """The drawing with no line thinner than a printer draws; an edge in the tone of its filling is none."""
    return replace(drawing, marks=tuple(
        mark if isinstance(mark, Words | Photo) or isinstance(mark, Box | Shape) and mark.edge == mark.fill
        else replace(mark, line=max(mark.line, _LINE)) for mark in drawing.marks
    ))


def _item_words(what: str, amount: str, note: str) -> str:
    return what + (f": {amount}" if amount else "") + (f" ({note})" if note else "")


# --- the class kit ----------------------------------------------------------------------------------------------------


def class_kit_handout(learners: int, *, pieces: int = 12, look: PageLook | None = None) -> list[Chart]:
    """
    Return what a class of so many learners needs, with the cautions for the teacher to read out.

    Parameters
    ----------
    learners : how many, 1 to 200
    pieces : swatches that each learner makes
    look : heading, paper and date

    Raises
    ------
    InvalidInputError
        Fewer than one learner, or more than a room holds.

    >>> class_kit_handout(12)[0].description[:31]
    'A class of 12: what to lay read'
    """
    if not 1 <= learners <= 200 or not 1 <= pieces <= 500:
        raise InvalidInputError(
            f"A class must have 1 to 200 learners with 1 to 500 pieces each; got {learners} and {pieces}. Split it up."
        )
    look = look or PageLook()
    pairs, four = math.ceil(learners / 2), math.ceil(learners / 4)
    each = [
        ("Cotton, washed, light, middle and dark grounds", counted(learners * pieces, "square"), f"{pieces} a learner"),
        ("Oil-paint sticks, light to dark, some pearly", f"{counted(four, 'set')} of nine", "one set for four"),
        ("Relief plates", str(learners), "one a learner, passed round"),
        ("Gloves that paint does not go through", counted(learners, "pair"), "fresh ones each session"),
        ("Fusible web", counted(learners * pieces, "square"), "as the cloth"),
        ("Rotary cutter, ruler and mat", counted(pairs, "set"), "one for two; one at a time holds it"),
        ("Iron, hot and dry, and clean paper", str(four), "one for four, at a table of its own"),
        ("Grey board, grey card or scale", str(four), "one for four"),
        ("Metal can with a lid, water in it", "1", "for oily rags"),
        ("Exercise sheets, in colour, and slips", f"{learners} of each", "one a learner, and the key for you"),
        ("Value studies to colour in", f"{learners} of each", "one a learner"),
        ("Pencils and scissors; greys to colour with", counted(learners, "set"), "one a learner"),
    ]
    blocks: list[Block] = [
        Table(("✓", "What", "How much", "Why so much"), tuple(("", *row) for row in each), (0.6, 5, 2.6, 3.6), 8.5),
        Heading("Read out before anybody begins"),
        *(Caution(text) for text in (BLADE, IRON, FUMES, PIGMENT, RAGS)), Paragraph(DEFER),
    ]
    title = f"A class of {learners}: what to lay ready"
    return look.pages(title, f"For {counted(pieces, 'piece')} a learner.", blocks)


def cautions_handout(*, look: PageLook | None = None) -> list[Chart]:
    """
    Return the cautions on a page of their own, to hang where the work is done.

    >>> len(cautions_handout())
    1
    """
    look = look or PageLook()
    blocks: list[Block] = [Caution(text, ON_THE_WALL) for text in (BLADE, IRON, FUMES, PIGMENT, RAGS)]
    return look.pages("Before you begin", "Hang this where the work is done.", [*blocks, Paragraph(DEFER)])
