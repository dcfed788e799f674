"""What to do on which day, with the cautions beside the steps they belong to. Common practice; the labels rule."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from contrastkit.lengths import length_words

if TYPE_CHECKING:
    from contrastkit.compose.cutting import CutPlan

BLADE = "Blade: cut away from yourself, keep fingers off the ruler's edge, shut the guard after every cut."
IRON = "Hot iron: hands and cord clear of it, off when you leave the room. The labels of iron and web rule."
FUMES = "Fumes: warm adhesive and paint give some off. Air the room. The makers' labels rule."
PIGMENT = "Pigment and oil: gloves on, nothing to eat or drink near, hands washed after. The paint's label rules."
RAGS = (
    "Oily rags can heat by themselves and catch fire: never leave them in a heap. Dry them flat outdoors, or keep "
    "them in water in a closed metal can, and throw them away as local rules say."
)
DEFER = (
    "Common practice, and reminders, no more: product labels, local rules and licensed practice come first wherever "
    "they say something else."
)


@dataclass(frozen=True)
class Step:
    """One step: what to do, and what to be careful of."""

    title: str
    text: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Day:
    """A day's steps, in order."""

    title: str
    steps: tuple[Step, ...]


def days_of(cut: CutPlan) -> tuple[Day, ...]:
    """Return the days of a plan: paint, rest, cut and fuse, lay; what is not needed is left out."""
    days = (
        Day("Paint", tuple(_paint(cut))),
        Day("Let the paint rest", tuple(_rest(cut))),
        Day("Cut, back and stack", tuple(_stack(cut))),
        Day("Lay and fuse", tuple(_lay(cut))),
    )
    return tuple(day for day in days if day.steps)


def _paint(cut: CutPlan) -> Iterator[Step]:
    if not cut.rubbings:
        return
    if cut.plan.cloth is not None and cut.plan.cloth.length is not None:
        size = " × ".join(length_words(side, cut.plan.unit) for side in (cut.plan.cloth.width, cut.plan.cloth.length))
        sheets = sum(len(each.packing.sheets) for each in cut.cloth)
        text = f"Cut {sheets} of {size}, straight with the threads. Mark which group each is for."
        yield Step("Cut the cloth", text, (BLADE,))
    prints = "; ".join(
        f"{each.rubbings} of {length_words(each.side, cut.plan.unit)}" for each in cut.prints if each.rubbings
    )
    yield Step(
        "Rub the prints",
        f"Lay the cloth over the plate and rub the paint stick over it, once for each print: {prints}.{_apart(cut)} "
        "Mark on the back which way the rubbing went, as pearly paint changes with it.",
        (PIGMENT, RAGS),
    )


def _apart(cut: CutPlan) -> str:
    room = 2 * (cut.plan.rim + (cut.plan.cloth.room if cut.plan.cloth is not None else 0))
    apart = length_words(room, cut.plan.unit)
    between = f" {apart} of cloth stays bare between one print and the next." if room else ""
    return (" Each goes where the drawing of the cloth has its square." if cut.cloth else "") + between


def _rest(cut: CutPlan) -> Iterator[Step]:
    if cut.rubbings:
        yield Step(
            "Leave the prints flat",
            "Give them about a day in the air before anything is ironed to their backs. Oil paint goes on curing for "
            "days after that; how long before it may be ironed, folded or washed, the paint maker's label rules.",
            (FUMES,),
        )
    if cut.web is not None:
        yield Step(
            "Cut the web", "Meanwhile cut it as drawn: sections across, each into strips, each strip into squares.",
            (BLADE,),
        )
    ground = cut.background
    size = f"{length_words(ground.width, cut.plan.unit)} wide and {length_words(ground.height, cut.plan.unit)} high"
    yield Step("Cut the background", f"Cut it {size}, and press it flat.", (BLADE, IRON))


def _stack(cut: CutPlan) -> Iterator[Step]:
    trim = "; trim each square with the print in its middle" if cut.rubbings else ""
    width = length_words(cut.plan.rim, cut.plan.unit)
    rim = f", so that {width} of bare ground shows all round" if cut.plan.rim else ""
    yield Step(
        "Cut the squares",
        f"Sections across, each into strips, each strip into squares{trim}{rim}. Tick them off on the list.", (BLADE,),
    )
    yield Step(
        "Iron web to the backs",
        "Lay a square of web, paper up, on the back of each square, and press with the iron hot and dry, clean paper "
        "under the paint. Snip off what sticks out before the iron meets it.",
        (IRON, FUMES),
    )
    yield Step(
        "Fuse the stacks",
        "Pull off the paper. Lay square on square, largest below, middle on middle, and press, hot and dry, from the "
        "middle outwards through clean paper. A fused stack cannot be undone: look once more at the values first.",
        (IRON, FUMES),
    )
    if cut.stacks:
        halves, quarters = (sum(each.stacks for each in cut.stacks if each.into == into)
                            for into in ("halves", "quarters"))
        parts = [f"{quarters} along both diagonals into quarters"] * bool(quarters)
        parts += [f"{halves} along one diagonal into halves"] * bool(halves)
        yield Step(
            "Cut the further stacks", f"When they are cold, cut {' and '.join(parts)}, corner to corner.", (BLADE,)
        )


def _lay(cut: CutPlan) -> Iterator[Step]:
    margin = cut.plan.background.margin
    inside = f" inside the hanging margin of {length_words(margin, cut.plan.unit)}" if margin else ""
    gap = f", with a gap of {length_words(cut.plan.gap, cut.plan.unit)}" if cut.stacks and cut.plan.gap else ""
    around = f" Lay cores first, then the triangles round them{gap}." if cut.stacks else ""
    yield Step(
        "Lay the blocks",
        f"Chalk their middles on the background{inside}, as drawn.{around} Step back as far as it will be seen from, "
        "and look, before anything is fused.",
    )
    yield Step(
        "Fuse to the background",
        "Press, hot and dry, from the middle outwards through clean paper, and let it cool flat.",
        (IRON, FUMES),
    )
    if cut.rubbings:
        yield Step(
            "Let it cure", "The paint goes on hardening for days. Hang it before you fold it; wash or press it again "
            "only when the paint maker's label says so.",
        )
