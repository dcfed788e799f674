"""
The plan on the desk: blocks, surrounds, background and supplies, and what its blocks are filled with. No widgets here.

Every change goes through the checks of `compose/plan.py`, so a plan on the desk is always one that could stand in a
file; what cannot be right is refused in a sentence, and nothing has changed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from contrastkit.compose.filling import FilledPlan, fill_plan
from contrastkit.compose.packing import pack
from contrastkit.compose.plan import ANY, Layers, Plan, PlannedBlock, plan_of_text, plan_of_values
from contrastkit.compose.plan import plan_values as values_of
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import UNITS

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Session

Values = dict[str, Any]
Stacks = Sequence[Sequence[str]]

CHOSEN, LAID, GREYS = "chosen", "laid", "greys"
FILLS = (
    ("the best of my pile", CHOSEN), ("the stacks I laid, then the best of the rest", LAID), ("greys only", GREYS),
)  # fmt: skip
SECONDS = 1.0  # what a hand waits for
MOST_SURROUNDS = 3  # on the panel; a plan as text may have more
_USUAL_LAYERS = {1: [ANY], 2: ["dark", "light"], 3: ["dark", "medium", "light"]}
_FIRST: Values = {
    "title": "Wall", "units": "in", "rim": "1/16", "gap": "1/4",
    "background": {"margin": 3, "in_row": 2, "spacing": "1 1/2"},
    "supplies": {"web": {"width": 17}, "cloth": {"width": 44, "sheet": [18, 22], "room": "1/8"}},
    "block": [{
        "name": "Block", "count": 4, "prints": ["3 1/2", "2 1/2", "1 3/4"], "layers": ["dark", "medium", "light"],
        "surrounds": 1,
    }],
}  # fmt: skip


def _first() -> Plan:
    return plan_of_values(_FIRST)


@dataclass(frozen=True)
class Planning:
    """
    What the Plan panel is about.

    Attributes
    ----------
    plan : the plan; the stacks it names are those that were set aside
    fill : what its blocks are filled with: "chosen", "laid" or "greys"
    fused : whether its stacks were fused
    note : what was wrong with a plan that was kept, if anything
    """

    plan: Plan = field(default_factory=_first)
    fill: str = CHOSEN
    fused: bool = False
    note: str = ""

    def to_plain(self) -> Values:
        """Return what a project keeps of it, as plain values for JSON."""
        return {"plan": values_of(self.plan), "fill": self.fill, "fused": self.fused}

    @classmethod
    def from_plain(cls, data: dict[str, Any], session: Session, project: Project) -> Planning:
        """Return it as a project kept it; `data` is empty where nothing was kept. Never raises on strange data."""
        if not isinstance(data, dict) or not data:
            return cls()
        try:
            plan = replace(plan_of_values(data["plan"]), table=None)
        except (InvalidInputError, ArithmeticError, AttributeError, KeyError, TypeError, ValueError) as error:
            why = str(error) if isinstance(error, InvalidInputError) else "it is not whole."
            return cls(note=f"The plan that was kept with this project cannot be read: {why} This is a new one.")
        fill = data.get("fill")
        return cls(plan, fill if fill in (CHOSEN, LAID, GREYS) else CHOSEN, data.get("fused") is True)

    @property
    def set_aside(self) -> tuple[tuple[str, ...], ...]:
        """The stacks that were set aside for it, names bottom first."""
        return stacks_in(self.plan)


def stacks_in(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """Return all stacks that a plan names."""
    return tuple(stack for block in plan.blocks for *_, layers in block.stacks for stack in layers.stacks)


def laid_stacks(session: Session) -> tuple[tuple[str, ...], ...]:
    """Return the stacks that were laid in the Stack panel, names bottom first."""
    stacks = getattr(session.laying, "stacks", ())
    return tuple(tuple(str(name) for name in getattr(stack, "layers", stack)) for stack in stacks)


# What the hand may change; each returns another planning, or raises InvalidInputError.


def changed(planning: Planning, edit: Callable[[Values], object]) -> Planning:
    """
    Return the planning with its plan's values edited.

    Stacks that were set aside stay in it as far as they still fit; a plan that was fused is one to be made again.

    Raises
    ------
    InvalidInputError
        What comes of it is no plan that could be cut.

    >>> changed(Planning(), lambda values: values.update(gap="0")).plan.gap
    Fraction(0, 1)
    """
    values = values_of(planning.plan)
    edit(values)
    for block in values["block"]:
        _prune(block)
    plan = plan_of_values(values, title=planning.plan.title)
    plan = _sharing(plan, planning.plan)
    _check_supplies(plan)
    return replace(planning, plan=plan, note="", fused=planning.fused and plan == planning.plan)


def _prune(block: Values) -> None:
    """Leave out stacks of another number of layers, and those beyond the number that is asked for."""
    count = block.get("count", 1)
    surrounds = block.get("surrounds", [])
    for number, part in enumerate([block, *(surrounds if isinstance(surrounds, list) else [])]):
        if "stacks" in part and isinstance(count, int):
            layers = len(part.get("prints", block["prints"]))
            most = count * (1 if number % 2 or not number else 2)
            part["stacks"] = [stack for stack in part["stacks"] if len(stack) == layers][:max(most, 0)]


def _sharing(plan: Plan, old: Plan) -> Plan:
    """The same plan; shapes that were there before keep what they have worked out of their corners."""
    known = {block.shape: block.shape for block in old.blocks}
    return replace(plan, blocks=tuple(replace(each, shape=known.get(each.shape, each.shape)) for each in plan.blocks))


def _check_supplies(plan: Plan) -> None:
    """Refuse web and cloth that the largest square does not fit on, before anything is packed."""
    largest = max(side for block in plan.blocks for sides in block.shape.stacks for side in sides)
    for material, what in ((plan.web, "Fusible web"), (plan.cloth, "Cloth to paint")):
        if material is not None:
            try:
                pack({largest: 1}, material)
            except InvalidInputError as error:
                raise InvalidInputError(f"{what}: {error}") from error


def with_title(planning: Planning, title: str) -> Planning:
    """Return the planning with another title."""
    if not title.strip():
        raise InvalidInputError("A plan must have a title; got nothing. Write a word or two.")
    return changed(planning, lambda values: values.update(title=title))


def with_unit(planning: Planning, unit: str) -> Planning:
    """
    Return the planning with lengths in another unit; none of them changes.

    >>> with_unit(Planning(), "mm").plan.rim == Planning().plan.rim
    True
    """
    if unit not in UNITS:
        raise InvalidInputError(f"Lengths are written in {' or '.join(UNITS)}; got {unit!r}. Use one of these.")
    return replace(planning, plan=replace(planning.plan, unit=unit))


def with_length(planning: Planning, name: str, text: str) -> Planning:
    """
    Return the planning with another length.

    Parameters
    ----------
    planning : the planning
    name : "rim", "gap", "margin" or "spacing"
    text : the length; a bare number is in the plan's unit

    >>> with_length(Planning(), "rim", "1/8").plan.rim
    Fraction(127, 40)
    """
    whole = name in ("rim", "gap")
    return changed(planning, lambda values: (values if whole else values["background"]).update({name: text or 0}))


def with_background(planning: Planning, **said: Any) -> Planning:
    """
    Return the planning with another background: its `cloth`, `lightness` (text or None), `in_row` or `in_turn`.

    >>> with_background(Planning(), lightness="22").plan.background.lightness
    22.0
    """
    if "lightness" in said:
        said["lightness"] = _number(said["lightness"])
    if "in_row" in said:
        said["in_row"] = _whole(said["in_row"])
    known = {key: value for key, value in said.items() if value is not None}

    def edit(values: Values) -> None:
        left = {key: value for key, value in values.get("background", {}).items() if key not in said}
        values["background"] = left | known

    return changed(planning, edit)


def with_block(planning: Planning, kind: int, **said: Any) -> Planning:
    """
    Return the planning with a kind of block changed: its `name`, `count`, `prints` (text), `layers` or `surrounds`.

    Parameters
    ----------
    planning : the planning
    kind : place of the kind in the plan
    said : `prints` as text, bottom first, separated by commas; `surrounds` as a number from 0 to 3

    >>> with_block(Planning(), 0, prints="4, 3").plan.blocks[0].core.groups
    ('dark', 'light')
    """

    def edit(values: Values) -> None:
        block = values["block"][kind]
        if "count" in said:
            block["count"] = _whole(said["count"])
        if "name" in said:
            if not said["name"].strip():
                raise InvalidInputError("A kind of block must have a name; got nothing. Write a word or two.")
            block["name"] = said["name"]
        if "layers" in said:
            block["layers"] = list(said["layers"])
        if "prints" in said:
            _set_prints(block, said["prints"])
        if "surrounds" in said:
            _set_surrounds(block, said["surrounds"])

    return changed(planning, edit)


def _set_prints(block: Values, text: str) -> None:
    prints = [part.strip() for part in re.split(r"[,;]", text) if part.strip()]
    if len(prints) != len(block["prints"]):
        block["layers"] = _USUAL_LAYERS.get(len(prints), [ANY] * len(prints))
    block["prints"] = prints
    for surround in block.get("surrounds", []):  # whose squares follow from those of the core
        surround.pop("prints", None)
        surround.pop("layers", None)


def _set_surrounds(block: Values, count: int) -> None:
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MOST_SURROUNDS:
        raise InvalidInputError(
            f"There are from 0 to {MOST_SURROUNDS} surrounds here; got {count!r}. Write more in the plan as text."
        )
    old = block.get("surrounds", [])
    block["surrounds"] = [*old[:count], *({} for _ in range(count - len(old)))]


def with_turned(planning: Planning, kind: int, surround: int, turned: bool) -> Planning:
    """
    Return the planning with the triangles of a surround (1 for the first) turned, right angles inward, or not.

    >>> with_turned(Planning(), 0, 1, True).plan.blocks[0].shape.surrounds[0].turned
    True
    """
    return changed(planning, lambda values: values["block"][kind]["surrounds"][surround - 1].update(turned=turned))


def with_another_block(planning: Planning) -> Planning:
    """
    Return the planning with one more kind of block, like the last one, with a name of its own.

    >>> [block.name for block in with_another_block(Planning()).plan.blocks]
    ['Block', 'Block 2']
    """

    def edit(values: Values) -> None:
        taken = {block["name"] for block in values["block"]}
        last = {key: value for key, value in values["block"][-1].items() if key != "stacks"}
        last["surrounds"] = [{key: value for key, value in surround.items() if key != "stacks"}
                             for surround in last.get("surrounds", [])]
        base, number = re.sub(r" \d+$", "", last["name"]), 2
        while f"{base} {number}" in taken:
            number += 1
        values["block"].append(last | {"name": f"{base} {number}"})

    return changed(planning, edit)


def without_block(planning: Planning, kind: int) -> Planning:
    """Return the planning without a kind of block; the last one stays."""
    if len(planning.plan.blocks) == 1:
        raise InvalidInputError("A plan must have at least one kind of block; this is the only one. Change it instead.")
    return changed(planning, lambda values: values["block"].pop(kind))


def with_fill(planning: Planning, fill: str) -> Planning:
    """Return the planning with its blocks filled another way: "chosen", "laid" or "greys"."""
    if fill not in (CHOSEN, LAID, GREYS):
        raise InvalidInputError(f"Blocks are filled with {CHOSEN}, {LAID} or {GREYS}; got {fill!r}. Use one of these.")
    return replace(planning, fill=fill)


def with_web(planning: Planning, width: str) -> Planning:
    """
    Return the planning with fusible web from a roll of this width; nothing where it is not known.

    >>> with_web(Planning(), "").plan.web is None
    True
    """
    return changed(planning, lambda values: _set_supply(values, "web", {"width": width} if width.strip() else {}))


def with_cloth(planning: Planning, width: str, sheet: str, room: str) -> Planning:
    """
    Return the planning with cloth to paint.

    Parameters
    ----------
    planning : the planning
    width : of the cloth as it is sold; nothing where it is not known
    sheet : "18 x 22", the sheets that it is cut into for painting; nothing where it is painted as it is
    room : kept free round each square

    >>> with_cloth(Planning(), "44", "", "").plan.cloth.length is None
    True
    """
    sides = [side.strip() for side in re.split(r"[x×,;]|\bby\b", sheet) if side.strip()]
    said = {"width": width.strip(), "sheet": sides, "room": room.strip()}
    cloth = {key: value for key, value in said.items() if value}
    return changed(planning, lambda values: _set_supply(values, "cloth", cloth if "width" in cloth or sides else {}))


def with_plates(planning: Planning, text: str) -> Planning:
    """
    Return the planning with these relief plates at hand, such as "rings 3 1/2; dots 2 1/2".

    >>> [plate.motif for plate in with_plates(Planning(), "rings 3 1/2; dots 2 1/2").plan.plates]
    ['rings', 'dots']
    """
    plates = []
    for part in filter(None, (part.strip() for part in re.split(r"[;\n]", text))):
        found = re.search(r"(?:^|\s)(?=[\d.])", part)
        if found is None:
            raise InvalidInputError(
                f"A plate is written as its motif and the side of its print, such as 'rings 3 1/2'; got {part!r}. "
                "Add the size."
            )
        plates.append({"motif": part[: found.start()].strip(), "print": part[found.end() :]})
    return changed(planning, lambda values: _set_supply(values, "plates", plates))


def _set_supply(values: Values, name: str, value: Any) -> None:
    supplies = {key: each for key, each in values.get("supplies", {}).items() if key != name}
    values["supplies"] = supplies | ({name: value} if value else {})


def with_text(planning: Planning, text: str) -> Planning:
    """
    Return the planning of a plan written as text, as it stands in a file; the table that it names is left aside.

    Raises
    ------
    InvalidInputError
        The text is no plan.
    """
    plan = replace(plan_of_text(text, title=planning.plan.title), table=None)
    _check_supplies(plan)
    return Planning(plan, planning.fill)


def _whole(value: Any) -> Any:
    """A whole number where the text is one; else as it is, to be refused in the words of a plan."""
    text = str(value).strip()
    return int(text) if re.fullmatch(r"-?\d{1,9}", text, re.ASCII) else value


def _number(value: Any) -> Any:
    if value is None or not str(value).strip():
        return None
    try:
        number = float(str(value).strip())
    except ValueError:
        return value
    return number if math.isfinite(number) else value


# Filling.


def free_pieces(table: pd.DataFrame, project: str) -> pd.DataFrame:
    """
    Return the pieces that a project may use: those at hand, and those that are set aside for it.

    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "state": ["at hand", "lost"], "project": ["", ""]})
    >>> free_pieces(table, "wall")["swatch_id"].tolist()
    ['a']
    """
    if "state" not in table:
        return table
    state = table["state"].fillna("at hand").astype(str)
    own = table["project"].fillna("").astype(str) == project if "project" in table else state == ""
    return table[state.isin(["", "at hand"]) | ((state == "set aside") & own)]


def filled(session: Session, laid: Stacks = (), *, seconds: float = SECONDS) -> FilledPlan:
    """
    Return the plan on the desk filled as it was asked for.

    Parameters
    ----------
    session : what is on the desk
    laid : stacks of the Stack panel, names bottom first, in the order in which they are to be used
    seconds : how long to look for the best at most; see `fill_plan`
    """
    planning = session.planning
    if planning.fused:
        return FilledPlan(planning.plan)
    table = free_pieces(session.sorted.table, session.project)
    plan = _still_fitting(planning.plan, table)
    if planning.fill == GREYS:
        return FilledPlan(_without_stacks(plan))
    return fill_plan(plan, table, first=laid if planning.fill == LAID else (), seconds=seconds)


def question(session: Session, laid: Stacks = ()) -> tuple[Any, ...]:
    """Return what `filled` depends on beside the pile: while that and this stay the same, so does its answer."""
    plan, planning = session.planning.plan, session.planning
    blocks = tuple((block.name, block.stacks) for block in plan.blocks)
    used = tuple(map(tuple, laid)) if planning.fill == LAID else ()
    return planning.fill, planning.fused, plan.rim, plan.background.lightness, blocks, used


def refilled(plan: Plan, old: FilledPlan) -> FilledPlan:
    """Return an earlier answer for a plan that asks the same: its stacks in the plan as it is now."""
    blocks = tuple(
        replace(block, core=replace(block.core, stacks=known.core.stacks), surrounds=tuple(
            replace(layers, stacks=own.stacks) for layers, own in zip(block.surrounds, known.surrounds, strict=True)
        ))
        for block, known in zip(plan.blocks, old.plan.blocks, strict=True)
    )  # fmt: skip
    return replace(old, plan=replace(plan, blocks=blocks))


def _without_stacks(plan: Plan) -> Plan:
    return _with_layers(plan, lambda layers, _: replace(layers, stacks=()))


def _still_fitting(plan: Plan, table: pd.DataFrame) -> Plan:
    """The plan without stacks whose pieces are not free, or too small."""
    sides = dict(zip(map(str, table["swatch_id"]), table["side"] if "side" in table else [math.nan] * len(table),
                     strict=True))  # fmt: skip

    def fits(name: str, side: float) -> bool:
        return name in sides and not float(sides[name]) < side - 1e-6  # nan: not known, so it may

    def kept(layers: Layers, cut: Sequence[float]) -> Layers:
        return replace(layers, stacks=tuple(
            stack for stack in layers.stacks if all(fits(name, side) for name, side in zip(stack, cut, strict=True))
        ))  # fmt: skip

    return _with_layers(plan, kept)


def _with_layers(plan: Plan, change: Callable[[Layers, Sequence[float]], Layers]) -> Plan:
    def changed_block(block: PlannedBlock) -> PlannedBlock:
        core, *surrounds = (
            change(layers, [float(side + 2 * plan.rim) for side in prints]) for _, _, prints, layers in block.stacks
        )
        return replace(block, core=core, surrounds=tuple(surrounds))

    return replace(plan, blocks=tuple(map(changed_block, plan.blocks)))


def with_set_aside(planning: Planning, done: FilledPlan) -> Planning:
    """Return the planning with the stacks it is filled with in its plan, as they are set aside."""
    return replace(planning, plan=done.plan, fill=CHOSEN if planning.fill == GREYS else planning.fill)
