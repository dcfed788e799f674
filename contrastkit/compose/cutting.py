"""All that a plan takes: pieces to cut, prints, plates, cloth, web, background; in what order, with what waste."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import Any

from contrastkit.compose.blocks import hypotenuse
from contrastkit.compose.days import Day, days_of
from contrastkit.compose.exact import Root2
from contrastkit.compose.layout import Layout, lay_out
from contrastkit.compose.packing import Material, PackedSheet, Packing, Section, pack
from contrastkit.compose.plan import GROUPS, Plan, Plate
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import MM_PER_INCH, length_words

_RULER = {"in": MM_PER_INCH / 16, "mm": Fraction(1)}  # the finest mark of a ruler


@dataclass(frozen=True)
class CutSquares:
    """
    Squares to cut out of painted cloth, all of one side, layer and group.

    Attributes
    ----------
    count : how many
    side, print_side : of the square as cut, and of the print on it; mm
    layer : 0 the bottom of its stack
    group : lightness group; empty where any will do
    blocks : for which kinds of blocks, by name, and how many for each
    swatches : those of them that are cut from swatches at hand, by name
    """

    count: int
    side: Fraction
    print_side: Fraction
    layer: int
    group: str
    blocks: tuple[tuple[str, int], ...]
    swatches: tuple[str, ...] = ()


@dataclass(frozen=True)
class CutStacks:
    """
    Stacked blocks that are cut once they are fused, into triangles for a surround.

    Attributes
    ----------
    block : name of the kind of block
    surround : 1 the first round the core
    into : "quarters" (along both diagonals) or "halves" (along one)
    stacks : how many stacked blocks, for all blocks of the kind
    triangles : how many they give
    sides : cut sides of the stacked block, mm, bottom first
    long_side : of a triangle of the bottom layer, mm
    """

    block: str
    surround: int
    into: str
    stacks: int
    triangles: int
    sides: tuple[Fraction, ...]
    long_side: Root2


@dataclass(frozen=True)
class PrintsNeeded:
    """
    Prints of one size.

    Attributes
    ----------
    side : of the print, mm
    count : how many squares show it
    at_hand : how many of them are swatches named in the plan
    plates : plates at hand that make it
    """

    side: Fraction
    count: int
    at_hand: int
    plates: tuple[Plate, ...]

    @property
    def rubbings(self) -> int:
        """How many are to be made: one rubbing gives one print."""
        return self.count - self.at_hand


@dataclass(frozen=True)
class ClothNeeded:
    """Cloth to be painted for one lightness group (empty: any), and its squares packed with the room round them."""

    group: str
    packing: Packing


@dataclass(frozen=True)
class BackgroundNeeded:
    """
    The background as cut, hanging margin included.

    Attributes
    ----------
    width, height : mm, rounded up to the finest mark of a ruler
    length : of cloth as wide as the plan says to buy, mm; None where the plan does not say, or it is not wide enough
    layout : where the blocks lie
    """

    width: Fraction
    height: Fraction
    length: Fraction | None
    layout: Layout


@dataclass(frozen=True)
class CutPlan:
    """
    All that a plan takes.

    Attributes
    ----------
    plan : the plan
    squares : to cut out of painted cloth, largest first
    stacks : to cut once they are fused
    prints : of each size, largest first
    cloth : to be painted, group by group from dark to light; empty where the plan does not say how cloth comes
    web : fusible web, a square for each square of cloth; None where the plan does not say how it comes
    background : what all blocks lie on
    """

    plan: Plan
    squares: tuple[CutSquares, ...]
    stacks: tuple[CutStacks, ...]
    prints: tuple[PrintsNeeded, ...]
    cloth: tuple[ClothNeeded, ...]
    web: Packing | None
    background: BackgroundNeeded

    @property
    def square_count(self) -> int:
        """How many squares are cut."""
        return sum(each.count for each in self.squares)

    @property
    def rubbings(self) -> int:
        """How many prints are to be made."""
        return sum(each.rubbings for each in self.prints)

    @property
    def area(self) -> Fraction:
        """Area of all squares, mm²."""
        return sum((each.count * each.side**2 for each in self.squares), Fraction(0))

    @property
    def finding(self) -> str:
        """What the plan takes, in a few words."""
        unit = self.plan.unit
        web = "" if self.web is None else f" and {amount_words(self.web, unit)} of web"
        return f"{self.plan.title}: {_blocks(self.plan.block_count)} from {_count(self.square_count, 'square')}{web}"

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the plan takes, a sentence for each kind of thing."""
        return tuple(_sentences(self))

    @property
    def days(self) -> tuple[Day, ...]:
        """What to do on which day."""
        return days_of(self)


def cut_plan(plan: Plan) -> CutPlan:
    """
    Return all that a plan takes.

    Raises
    ------
    InvalidInputError
        A square does not fit on the web or on the cloth.

    >>> from contrastkit.compose.blocks import BlockShape
    >>> from contrastkit.compose.plan import Background, Layers, PlannedBlock
    >>> shape = BlockShape((Fraction(80), Fraction(56)), rim=Fraction(2))
    >>> block = PlannedBlock("Hearth", 3, shape, Layers(("dark", "light")))
    >>> ground = Background(margin=Fraction(50), spacing=Fraction(20), in_row=3)
    >>> cut = cut_plan(Plan("Wall", "mm", Fraction(2), Fraction(0), ground, (block,), Material(Fraction(430))))
    >>> cut.finding
    'Wall: 3 blocks from 6 squares and 120 mm of web'
    """
    squares = tuple(_squares(plan))
    return CutPlan(
        plan, squares, tuple(_stacks(plan)), tuple(_prints(plan, squares)), tuple(_cloth(plan, squares)),
        _web(plan, squares), _background(plan),
    )


# Pieces.


def _squares(plan: Plan) -> Iterator[CutSquares]:
    counts: dict[tuple[Fraction, int, str], Counter[str]] = {}
    swatches: dict[tuple[Fraction, int, str], list[str]] = {}
    for block in plan.blocks:
        for _, count, prints, layers in block.stacks:
            for layer, (print_side, group) in enumerate(zip(prints, layers.groups, strict=True)):
                key = (print_side, layer, group)
                counts.setdefault(key, Counter())[block.name] += count
                swatches.setdefault(key, []).extend(stack[layer] for stack in layers.stacks)
    for key in sorted(counts, key=lambda key: (-key[0], key[1], _place(key[2]))):
        print_side, layer, group = key
        yield CutSquares(
            sum(counts[key].values()), print_side + 2 * plan.rim, print_side, layer, group,
            tuple(counts[key].items()), tuple(swatches[key]),
        )


def _place(group: str) -> int:
    """From dark to light, and then what may be any."""
    return GROUPS.index(group) if group in GROUPS else len(GROUPS)


def _stacks(plan: Plan) -> Iterator[CutStacks]:
    for block in plan.blocks:
        for blocks in block.shape.further_blocks:
            stacks = block.count * blocks.count
            yield CutStacks(
                block.name, blocks.surround, blocks.cut, stacks, stacks * (4 if blocks.cut == "quarters" else 2),
                blocks.cut_sides, hypotenuse(block.shape.side, blocks.surround),
            )


def _prints(plan: Plan, squares: Sequence[CutSquares]) -> Iterator[PrintsNeeded]:
    for side in sorted({each.print_side for each in squares}, reverse=True):
        alike = [each for each in squares if each.print_side == side]
        yield PrintsNeeded(
            side, sum(each.count for each in alike), sum(len(each.swatches) for each in alike),
            tuple(plate for plate in plan.plates if plate.print_side == side),
        )


# Material.


def _cloth(plan: Plan, squares: Sequence[CutSquares]) -> Iterator[ClothNeeded]:
    if plan.cloth is None:
        return
    for group in sorted({each.group for each in squares}, key=_place):
        counts = _counts((each for each in squares if each.group == group), at_hand=False)
        if counts.total():
            yield ClothNeeded(group, _packed(counts, plan.cloth, "Cloth to paint"))


def _web(plan: Plan, squares: Sequence[CutSquares]) -> Packing | None:
    return None if plan.web is None else _packed(_counts(squares, at_hand=True), plan.web, "Fusible web")


def _counts(squares: Iterable[CutSquares], *, at_hand: bool) -> Counter[Fraction]:
    """How many squares of each side, those at hand counted in or not."""
    counts: Counter[Fraction] = Counter()
    for each in squares:
        counts[each.side] += each.count - (0 if at_hand else len(each.swatches))
    return counts


def _packed(counts: Counter[Fraction], material: Material, what: str) -> Packing:
    try:
        return pack(counts, material)
    except InvalidInputError as error:
        raise InvalidInputError(f"{what}: {error}") from error


def _background(plan: Plan) -> BackgroundNeeded:
    layout = lay_out(plan)
    width, height = (_up(side, _RULER[plan.unit]) for side in (layout.width, layout.height))
    return BackgroundNeeded(width, height, length_of_cloth(width, height, plan.cloth_width), layout)


def _up(length: Root2, mark: Fraction) -> Fraction:
    """The length rounded up to a mark."""
    marks = math.floor(float(length / mark)) - 1  # surely below, as floats are off in their last places
    while mark * marks < length:
        marks += 1
    return mark * marks


def length_of_cloth(width: Fraction, height: Fraction, cloth_width: Fraction | None) -> Fraction | None:
    """
    Return what length of cloth to buy for one piece, mm; None where it is not wide enough, or not known how wide.

    >>> length_of_cloth(Fraction(1200), Fraction(800), Fraction(1100))
    Fraction(1200, 1)
    """
    if cloth_width is None:
        return None
    return min((long for across, long in ((width, height), (height, width)) if across <= cloth_width), default=None)


def length_for_sheets(cut: CutPlan) -> Fraction | None:
    """Return what length of cloth gives all sheets to be painted, mm; None where it is not known how wide that is."""
    material, width = cut.plan.cloth, cut.plan.cloth_width
    if material is None or width is None or material.length is None:
        return None
    sheets = sum(len(each.packing.sheets) for each in cut.cloth)
    lying = ((material.width, material.length), (material.length, material.width))
    return min((-(-sheets // (width // across)) * along for across, along in lying if across <= width), default=None)


# Words.


def amount_words(packing: Packing, unit: str) -> str:
    """
    Return how much material a packing takes: sheets, or a length.

    >>> amount_words(pack({Fraction(50): 7}, Material(Fraction(160))), "mm")
    '150 mm'
    """
    if packing.material.length is not None:
        return _count(len(packing.sheets), "sheet")
    return length_words(packing.used_length, unit)


def waste_words(packing: Packing) -> str:
    """
    Return what share of the material used ends up in no square.

    >>> waste_words(pack({Fraction(50): 7}, Material(Fraction(160))))
    '27 %'
    """
    return f"{float(100 * packing.waste):.0f} %"


def area_words(area: Fraction, unit: str) -> str:
    """
    Return an area (mm²) in square inches or square centimetres.

    >>> area_words(Fraction(64516), "in"), area_words(Fraction(64516), "mm")
    ('100 sq in', '645 cm²')
    """
    return f"{float(area / MM_PER_INCH**2):.0f} sq in" if unit == "in" else f"{float(area / 100):.0f} cm²"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _blocks(count: int) -> str:
    return _count(count, "block")


def _sentences(cut: CutPlan) -> Iterator[str]:
    unit = cut.plan.unit
    sides = Counter({side: 0 for side in sorted({each.side for each in cut.squares}, reverse=True)})
    for each in cut.squares:
        sides[each.side] += each.count
    listed = ", ".join(f"{count} of {length_words(side, unit)}" for side, count in sides.items())
    yield f"{_count(cut.square_count, 'square')} to cut: {listed}."
    at_hand = cut.square_count - cut.rubbings
    hand = f"; {'1 swatch is' if at_hand == 1 else f'{at_hand} swatches are'} at hand" if at_hand else ""
    yield f"{_count(cut.rubbings, 'print')} to rub{hand}."
    if cut.cloth:
        yield _cloth_sentence(cut)
    if cut.web is not None:
        yield f"Fusible web: {amount_words(cut.web, unit)}; of what is used, {waste_words(cut.web)} is left over."
    ground = cut.background
    yield (
        f"Background: {length_words(ground.width, unit)} wide and {length_words(ground.height, unit)} high, hanging "
        "margin included."
    )


def _cloth_sentence(cut: CutPlan) -> str:
    used = sum((each.packing.used_area for each in cut.cloth), Fraction(0))
    area = sum((each.packing.area for each in cut.cloth), Fraction(0))
    if cut.plan.cloth is not None and cut.plan.cloth.length is not None:
        amount = _count(sum(len(each.packing.sheets) for each in cut.cloth), "sheet")
    else:
        amount = length_words(sum((each.packing.used_length for each in cut.cloth), Fraction(0)), cut.plan.unit)
    waste = f"{float(100 * (1 - area / used)):.0f} %"
    return f"Cloth to paint: {amount}; of what is used, {waste} is trimmed off or left over."


# What to have at hand.


@dataclass(frozen=True)
class Item:
    """Something to buy, make or lay ready: what, how much, and what for."""

    what: str
    amount: str
    note: str = ""


def shopping_list(cut: CutPlan) -> tuple[Item, ...]:
    """Return what to buy, make or lay ready, as far as the plan says it."""
    return tuple(_items(cut))


def _items(cut: CutPlan) -> Iterator[Item]:
    unit = cut.plan.unit
    if cut.rubbings:
        yield _cloth_item(cut)
        yield from (_plate_item(each, unit) for each in cut.prints if each.rubbings)
        groups = Counter({each.group: 0 for each in sorted(cut.squares, key=lambda each: _place(each.group))})
        for each in cut.squares:
            groups[each.group] += each.count - len(each.swatches)
        listed = ", ".join(f"{count} {group or 'of any group'}" for group, count in groups.items() if count)
        yield Item("Paint sticks", f"for {_count(cut.rubbings, 'print')}", listed)
    web = area_words(cut.area, unit) + " at least" if cut.web is None else _stock_words(cut.web, unit)
    yield Item("Fusible web", web, "a square on the back of every square of cloth")
    yield _background_item(cut)
    rags = ", gloves, rags and a metal can with a lid for them" if cut.rubbings else ""
    yield Item("Clean paper to iron through", "", f"beside iron, rotary cutter, ruler and mat{rags}")


def _cloth_item(cut: CutPlan) -> Item:
    unit, material = cut.plan.unit, cut.plan.cloth
    if material is None:
        left = sum(((each.count - len(each.swatches)) * each.side**2 for each in cut.squares), Fraction(0))
        return Item("Cloth to paint", f"{area_words(left, unit)} at least")
    groups = ", ".join(f"{amount_words(each.packing, unit)} {each.group or 'of any group'}" for each in cut.cloth)
    if material.length is None:
        used = sum((each.packing.used_length for each in cut.cloth), Fraction(0))
        return Item("Cloth to paint", f"{length_words(used, unit)}, {length_words(material.width, unit)} wide", groups)
    sheets = sum(len(each.packing.sheets) for each in cut.cloth)
    amount = f"{_count(sheets, 'sheet')} of {_size_words(material.width, material.length, unit)}"
    length = length_for_sheets(cut)
    if length is None or cut.plan.cloth_width is None:
        return Item("Cloth to paint", amount, groups)
    bought = f"from {length_words(length, unit)} of cloth {length_words(cut.plan.cloth_width, unit)} wide"
    return Item("Cloth to paint", f"{amount}, {bought}", groups)


def _plate_item(each: PrintsNeeded, unit: str) -> Item:
    amount = f"for {_count(each.rubbings, 'rubbing')}"
    motifs = ", ".join(plate.motif for plate in each.plates)
    at_hand = f"at hand: {motifs}" if motifs else "one is still to be made"
    return Item(f"Relief plate for prints of {length_words(each.side, unit)}", amount, at_hand)


def _stock_words(packing: Packing, unit: str) -> str:
    width, length = packing.material.width, packing.material.length
    if length is None:
        return f"{length_words(packing.used_length, unit)} of a roll {length_words(width, unit)} wide"
    return f"{_count(len(packing.sheets), 'sheet')} of {_size_words(width, length, unit)}"


def _size_words(width: Fraction, length: Fraction, unit: str) -> str:
    return f"{length_words(width, unit).removesuffix(f' {unit}')} × {length_words(length, unit)}"


def _background_item(cut: CutPlan) -> Item:
    unit, ground = cut.plan.unit, cut.background
    name = f"Background, {cut.plan.background.cloth}" if cut.plan.background.cloth else "Background"
    amount, width = _size_words(ground.width, ground.height, unit), cut.plan.cloth_width
    if width is None:
        return Item(name, amount, "hanging margin included")
    wide = length_words(width, unit)
    if ground.length is None:
        return Item(name, amount, f"hanging margin included; wider than cloth of {wide}, so join two lengths")
    bought = f"from {length_words(ground.length, unit)} of cloth {wide} wide"
    return Item(name, f"{amount}, {bought}", "hanging margin included")


# How to cut what is packed.


@dataclass(frozen=True)
class SectionCuts:
    """
    Sections that are cut alike, one after the other.

    Attributes
    ----------
    sheets : numbers of the sheets they are on, from 1
    first, count : number of the first on its sheet, from 1, and how many there are on each of these sheets
    height : where the cut across goes, mm from the last one
    strips : widths of the strips, mm, and how many of each and how many squares in each, from the left
    """

    sheets: tuple[int, ...]
    first: int
    count: int
    height: Fraction
    strips: tuple[tuple[Fraction, int, int], ...]


def cutting_order(packing: Packing) -> tuple[SectionCuts, ...]:
    """
    Return the cuts in order: sections across, then strips along each, then squares; what is cut alike is told once.

    >>> [order] = cutting_order(pack({Fraction(50): 6}, Material(Fraction(160))))
    >>> order.height, order.strips
    (Fraction(100, 1), ((Fraction(50, 1), 3, 2),))
    """
    sheets = [(number, _sheet_cuts(sheet)) for number, sheet in enumerate(packing.sheets, start=1)]
    orders = []
    for cuts, alike in groupby(sheets, key=lambda each: each[1]):
        numbers = tuple(number for number, _ in alike)
        orders += [SectionCuts(numbers, first, count, *shape) for first, count, shape in cuts]
    return tuple(orders)


_Shape = tuple[Fraction, tuple[tuple[Fraction, int, int], ...]]


def _sheet_cuts(sheet: PackedSheet) -> tuple[tuple[int, int, _Shape], ...]:
    cuts, first = [], 1
    for shape, alike in groupby(map(_shape, sheet.sections)):
        count = len(list(alike))
        cuts.append((first, count, shape))
        first += count
    return tuple(cuts)


def _shape(section: Section) -> _Shape:
    strips = groupby((strip.width, len(strip.squares)) for strip in section.strips)
    return section.height, tuple((width, len(list(alike)), squares) for (width, squares), alike in strips)


# As plain values.


def plan_document(cut: CutPlan) -> dict[str, Any]:
    """
    Return all that a plan takes as plain values fit for JSON; lengths in mm, layers counted from 1, the bottom.

    `blocks` has for each kind its `finished_mm`: the core, then the whole after each surround. `cut` has what is cut:
    squares of painted cloth, and, once they are fused, the further stacks.
    """
    plan, ground = cut.plan, cut.background
    return {
        "title": plan.title, "units": plan.unit, "rim_mm": float(plan.rim), "gap_mm": float(plan.gap),
        "blocks": [
            {"name": block.name, "count": block.count, "finished_mm": [float(side) for side in block.shape.finished],
             "cut_mm": [float(side) for side in block.shape.cut_sides]}
            for block in plan.blocks
        ],
        "cut": [*map(_squares_document, cut.squares), *map(_stacks_document, cut.stacks)],
        "prints": [
            {"side_mm": float(each.side), "count": each.count, "at_hand": each.at_hand, "rubbings": each.rubbings,
             "plates": [plate.motif for plate in each.plates], "plates_to_make": 0 if each.plates else 1}
            for each in cut.prints
        ],
        "cloth": [{"group": each.group, **_packing_document(each.packing)} for each in cut.cloth],
        "web": None if cut.web is None else _packing_document(cut.web),
        "background": {
            "cloth": plan.background.cloth, "lightness": plan.background.lightness,
            "width_mm": float(ground.width), "height_mm": float(ground.height),
            "margin_mm": float(plan.background.margin),
            "cloth_length_mm": None if ground.length is None else float(ground.length),
        },
        "shopping": [{"what": item.what, "amount": item.amount, "note": item.note} for item in shopping_list(cut)],
        "days": [
            {"title": day.title, "steps": [
                {"title": step.title, "text": step.text, "cautions": list(step.cautions)} for step in day.steps
            ]}
            for day in cut.days
        ],
        "sentences": list(cut.sentences),
    }


def _squares_document(each: CutSquares) -> dict[str, Any]:
    return {
        "what": "square", "count": each.count, "side_mm": float(each.side), "print_mm": float(each.print_side),
        "layer": each.layer + 1, "group": each.group, "blocks": dict(each.blocks), "swatches": list(each.swatches),
    }


def _stacks_document(each: CutStacks) -> dict[str, Any]:
    return {
        "what": f"fused stack into {each.into}", "count": each.stacks, "side_mm": float(each.sides[0]),
        "triangles": each.triangles, "long_side_mm": float(each.long_side), "surround": each.surround,
        "blocks": {each.block: each.stacks},
    }


def _packing_document(packing: Packing) -> dict[str, Any]:
    return {
        "width_mm": float(packing.material.width),
        "sheet_length_mm": None if packing.material.length is None else float(packing.material.length),
        "sheets": len(packing.sheets), "used_length_mm": float(packing.used_length),
        "area_mm2": float(packing.area), "used_area_mm2": float(packing.used_area), "waste": float(packing.waste),
        "cuts": [
            {"sheets": list(cuts.sheets), "sections": cuts.count, "height_mm": float(cuts.height),
             "strips": [{"width_mm": float(width), "count": count, "squares": squares}
                        for width, count, squares in cuts.strips]}
            for cuts in cutting_order(packing)
        ],
    }
