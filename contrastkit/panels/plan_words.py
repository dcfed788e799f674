"""The plan on the desk in words: sentences that say its state, rows of its tables, what its fields show."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from contrastkit.columns import GROUP_NAMES
from contrastkit.compose.cutting import CutPlan, shopping_list
from contrastkit.compose.filling import FilledPlan, Missing, missing_sentences, pieces_of_group
from contrastkit.compose.plan import ANY, Plan, PlannedBlock
from contrastkit.compose.plan import plan_values as values_of
from contrastkit.lengths import length_words
from contrastkit.panels.planning import GREYS, Planning
from contrastkit.show.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks

_MOST_RECIPES = 2


def state_sentence(planning: Planning, done: FilledPlan) -> str:
    """Return how far the plan is filled, in a sentence."""
    plan = planning.plan
    blocks = counted(plan.block_count, "block")
    if planning.fused:
        return f"{blocks}, fused: their pieces are used."
    if planning.fill == GREYS:
        return f"{blocks} in the greys of their groups; {counted(done.count, 'stack')} to be filled."
    step = "" if math.isnan(done.weakest) else f"; weakest step {done.weakest:.0f} L*{_how_sure(done)}"
    if done.filled == done.count:
        return f"{blocks}, all {counted(done.count, 'stack')} filled{step}."
    return f"{blocks}, {done.filled} of {counted(done.count, 'stack')} filled{step}."


def _how_sure(done: FilledPlan) -> str:
    return ", the best there is" if done.sure and done.filled == done.count else ""


def shortage_sentences(done: FilledPlan) -> tuple[str, ...]:
    """Return what is missing, and whose size is to be measured."""
    sentences = list(missing_sentences(done.missing, done.plan.unit))
    if done.unsized:
        names = listed(done.unsized) if len(done.unsized) < 5 else f"{counted(len(done.unsized), 'piece')} in it"
        sentences.append(f"The size of {names} is not known: measure before you cut.")
    return tuple(sentences)


def paint_next(done: FilledPlan, table: pd.DataFrame, breaks: Breaks) -> tuple[str, ...]:
    """
    Return what to paint for what is missing: how light, what prints, and how pieces of this pile came to be like that.

    Parameters
    ----------
    done : the plan filled
    table : the pile sorted; columns `paints` and `ground` tell what its pieces are made of
    breaks : edges between its groups
    """
    groups: dict[str, list[Missing]] = {}
    for each in done.missing:
        groups.setdefault(each.group, []).append(each)
    if not groups:
        return ()
    wanted = "; ".join(_wanted(group, missing, done.plan, breaks) for group, missing in groups.items())
    plates = {plate.motif: None for each in done.missing for plate in done.plan.plates
              if plate.print_side == each.side - 2 * done.plan.rim}  # fmt: skip
    known = [(group, _recipes(table, group)) for group in groups]
    return (
        f"Paint next: {wanted}.", *([f"Plates at hand for these: {listed(list(plates))}."] if plates else []),
        *(f"{_many(group)} of this pile came of {listed(recipes)}." for group, recipes in known if recipes),
    )


def _wanted(group: str, missing: Sequence[Missing], plan: Plan, breaks: Breaks) -> str:
    sizes = [(each.count, length_words(each.side - 2 * plan.rim, plan.unit)) for each in missing]
    what = pieces_of_group(sum(count for count, _ in sizes), group) + _how_light(group, breaks)
    if len(sizes) == 1:
        return f"{what} as prints of {sizes[0][1]}"
    return f"{what} as prints, {listed([f'{count} of {side}' for count, side in sizes])}"


def _many(group: str) -> str:
    return pieces_of_group(2, group).removeprefix("2 ").capitalize()


def _how_light(group: str, breaks: Breaks) -> str:
    if group not in breaks.names:
        return f", though this pile has no group {group!r}" if group else ""
    place = breaks.names.index(group)
    if place == 0:
        return f" (L* up to {breaks.edges[0]:.0f})"
    if place == len(breaks.edges):
        return f" (L* above {breaks.edges[-1]:.0f})"
    return f" (L* {breaks.edges[place - 1]:.0f} to {breaks.edges[place]:.0f})"


def _recipes(table: pd.DataFrame, group: str) -> list[str]:
    """The most frequent paints and grounds of a group."""
    if not {"paints", "ground"} & set(table.columns):
        return []
    rows = table[table["group"] == group] if group else table
    columns = [rows[name].fillna("").astype(str) if name in rows else [""] * len(rows) for name in ("paints", "ground")]
    made = Counter(pair for pair in zip(*columns, strict=True) if pair[0])
    return [
        f"{paints} on {ground}" if ground else paints
        for (paints, ground), _ in sorted(made.items(), key=lambda item: (-item[1], item[0]))[:_MOST_RECIPES]
    ]


SQUARE_HEAD = ("how many", "cut to", "print", "layer", "group", "for", "from")
STACK_HEAD = ("stacks", "bottom square", "once fused, cut into", "long side", "for")
ITEM_HEAD = ("what", "how much", "note")
DAY_HEAD = ("day", "step", "what to do", "be careful")
PART_HEAD = ("part", "finished", "squares, bottom first", "once fused")


def group_words(group: str) -> str:
    """
    Return a group with its bars, which it has where there are three; "any" where there is none.

    >>> group_words("medium"), group_words("")
    ('▮▮ medium', 'any')
    """
    bars = "▮" * (GROUP_NAMES.index(group) + 1) + " " if group in GROUP_NAMES else ""
    return bars + (group or ANY)


def square_rows(cut: CutPlan) -> list[tuple[str, ...]]:
    """Return the squares to cut, a row for each kind; see SQUARE_HEAD."""
    unit = cut.plan.unit
    return [
        (
            str(each.count), length_words(each.side, unit), length_words(each.print_side, unit),
            "1, bottom" if each.layer == 0 else str(each.layer + 1), group_words(each.group),
            ", ".join(f"{block} × {count}" for block, count in each.blocks), ", ".join(each.swatches),
        )
        for each in cut.squares
    ]  # fmt: skip


def stack_rows(cut: CutPlan) -> list[tuple[str, ...]]:
    """Return the further stacks that are cut up once they are fused, a row for each kind; see STACK_HEAD."""
    unit = cut.plan.unit
    return [
        (str(each.stacks), length_words(each.sides[0], unit), f"{each.triangles} {each.into}",
         length_words(float(each.long_side), unit), f"{each.block}, surround {each.surround}")
        for each in cut.stacks
    ]  # fmt: skip


def item_rows(cut: CutPlan) -> list[tuple[str, ...]]:
    """Return what to buy, make or lay ready: prints and plates, cloth, web; see ITEM_HEAD."""
    return [(item.what, item.amount, item.note) for item in shopping_list(cut)]


def day_rows(cut: CutPlan) -> list[tuple[str, ...]]:
    """Return what to do on which day, with the cautions that belong to each step; see DAY_HEAD."""
    return [
        (f"{number}: {day.title}", step.title, step.text, " ".join(step.cautions))
        for number, day in enumerate(cut.days, start=1) for step in day.steps
    ]  # fmt: skip


def part_rows(block: PlannedBlock, unit: str) -> list[tuple[str, ...]]:
    """Return the measures of a kind of block, part by part; see PART_HEAD. No line breaks within a length."""
    shape = block.shape
    parts = ["core", *(f"surround {number}{', turned' if each.turned else ''}"
                       for number, each in enumerate(shape.surrounds, start=1))]  # fmt: skip
    cut = [(shape.cut_sides, "left whole"),
           *((each.cut_sides, f"{counted(each.count, 'stack')} cut into {each.cut}")
             for each in shape.further_blocks)]  # fmt: skip
    return [
        (part, _tight(length_words(float(side), unit)), _sides(sides, unit), after)
        for part, side, (sides, after) in zip(parts, shape.finished, cut, strict=True)
    ]


def _sides(sides: Sequence[Any], unit: str) -> str:
    return ", ".join(_tight(length_words(side, unit)) for side in sides)


def _tight(length: str) -> str:
    return length.replace(" ", "\N{NO-BREAK SPACE}")


def piece_rows(block: PlannedBlock, number: int) -> list[tuple[str, str]]:
    """Return what lies in one block of a kind (0 the first): a row for each of its stacks, pieces bottom first."""
    each_takes = [1, *(blocks.count for blocks in block.shape.further_blocks)]
    rows = []
    for each, (part, _, _, layers) in zip(each_takes, block.stacks, strict=True):
        for place in range(number * each, (number + 1) * each):
            filled_with = layers.stacks[place] if place < len(layers.stacks) else None
            greys = ", ".join(map(group_words, layers.groups))
            rows.append((part, ", ".join(filled_with) if filled_with else f"still to be filled: {greys}"))
    return rows


def where_used(plan: Plan, names: Sequence[str]) -> list[str]:
    """
    Return where pieces lie in a plan, for those that do.

    >>> from contrastkit.compose.plan import plan_of_values
    >>> plan = plan_of_values({"units": "mm", "block": [{"name": "Hearth", "prints": [50], "stacks": [["a"]]}]})
    >>> where_used(plan, ["a", "b"])
    ['a in Hearth, core']
    """
    places = {name: f"{block.name}, {part}" for block in plan.blocks for part, *_, layers in block.stacks
              for stack in layers.stacks for name in stack}  # fmt: skip
    return [f"{name} in {places[name]}" for name in names if name in places]


def entries(plan: Plan) -> dict[str, str]:
    """
    Return what the fields of a plan show, as they read it: "rim", "cloth sheet" and so on.

    >>> entries(Planning().plan)["cloth sheet"]
    '18 × 22'
    """
    values = values_of(plan)
    ground, supplies = values["background"], values.get("supplies", {})
    cloth = supplies.get("cloth", {})
    return {
        "title": plan.title, "rim": values["rim"], "gap": values["gap"], "margin": ground["margin"],
        "spacing": ground["spacing"], "in_row": str(ground["in_row"]), "cloth": ground.get("cloth", ""),
        "lightness": f"{ground['lightness']:g}" if "lightness" in ground else "",
        "web": supplies.get("web", {}).get("width", ""), "cloth width": cloth.get("width", ""),
        "cloth sheet": " × ".join(cloth.get("sheet", [])), "cloth room": cloth.get("room", ""),
        "plates": "; ".join(f"{plate['motif']} {plate['print']}" for plate in supplies.get("plates", [])),
    }  # fmt: skip


def prints_words(plan: Plan, kind: int) -> str:
    """
    Return the sides of the prints of a kind of block as its field reads them.

    >>> prints_words(Planning().plan, 0)
    '3 1/2, 2 1/2, 1 3/4'
    """
    return ", ".join(values_of(plan)["block"][kind]["prints"])
