"""
A plan: the blocks to be made, what they lie on and what there is to make them from, written in a TOML file.

    title = "Evening wall"
    units = "in"                          # of bare numbers, and of what is printed: in or mm
    rim = "1/16"                          # bare ground round each print
    gap = "1/4"                           # open background between a core and its surrounds
    table = "swatches.csv"                # optional: where the swatches named below stand

    [background]
    cloth = "slate linen"
    lightness = 22                        # L*, optional
    margin = 3                            # hanging margin on every side
    in_row = 4                            # blocks in a row
    spacing = "1 1/2"                     # between neighbouring blocks
    in_turn = true                        # kinds of blocks take turns; else all of one kind, then all of the next

    [supplies.web]                        # fusible web: a roll's width (and length, if that is limited), or sheets
    width = 17

    [supplies.cloth]                      # cloth to paint: its width, and the sheets it is cut into for painting
    width = 44
    sheet = [18, 22]
    room = "1/8"                          # kept free round each square, to be trimmed off

    [[supplies.plates]]                   # relief plates at hand
    motif = "rings"
    print = "3 1/2"                       # side of the print it makes

    [[block]]
    name = "Lantern"
    count = 6
    prints = ["3 1/2", "2 1/2", "1 3/4"]  # sides, bottom first
    layers = ["dark", "medium", "light"]  # optional: a lightness group for each layer, or "any"
    stacks = [["T13", "T15", "T03"]]      # optional: swatches for cores, bottom first, a list for each core
    surrounds = 2                         # or a [[block.surrounds]] for each, with turned, prints, layers, stacks

Only `units` and one block with `prints` must be there. Lengths are numbers, or texts such as "3 1/2 in" or "9 cm".
"""

from __future__ import annotations

import difflib
import json
import math
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.compose.blocks import MOST_SURROUNDS, BlockShape, Surround
from contrastkit.compose.packing import Material
from contrastkit.compose.toml_parts import Part, TomlKind, brief, part_of, read_toml, toml_of_text
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import MM_PER_INCH, UNITS, length_words

if TYPE_CHECKING:
    import pandas as pd

MOST_BLOCKS, MOST_PIECES = 1000, 20_000  # of one kind; in a plan. Nobody cuts more by hand.
GROUPS = (
    "darkest", "very dark", "dark", "medium dark", "medium", "medium light", "light", "very light", "lightest"
)  # fmt: skip
"""Names of lightness groups, darkest first; two to nine of them are in use at a time."""
ANY = "any"
_MOST_KINDS = 100
_KIND = TomlKind("A plan", "the plan", {
    "the plan": ("title", "units", "rim", "gap", "table", "background", "supplies", "block"),
    "background": ("cloth", "lightness", "margin", "in_row", "spacing", "in_turn"),
    "supplies": ("web", "cloth", "plates"),
    "supplies.web": ("width", "length", "sheet"),
    "supplies.cloth": ("width", "length", "sheet", "room"),
    "supplies.plates": ("motif", "print"),
    "block": ("name", "count", "prints", "layers", "stacks", "surrounds"),
    "block.surrounds": ("turned", "prints", "layers", "stacks"),
})  # fmt: skip
_FINEST_PART = 256  # of an inch; what is finer was not read off a ruler
_LONGEST_FRACTION = 50  # letters; a little less than what is read as a length
_EXAMPLE = '[[block]] with prints = ["3 1/2", "2 1/2"]'


@dataclass(frozen=True)
class Plate:
    """A relief plate: its motif, and the side of the square print that it makes, mm."""

    motif: str
    print_side: Fraction


@dataclass(frozen=True)
class Background:
    """
    What the blocks lie on; lengths in mm.

    Attributes
    ----------
    lightness : L*, None where unknown
    cloth : its name, or nothing
    margin : hanging margin on every side, for hem, frame or sleeve
    in_row : how many blocks a row has
    spacing : ground left between neighbouring blocks
    in_turn : whether the kinds of blocks take turns, instead of all of one kind and then all of the next
    """

    lightness: float | None = None
    cloth: str = ""
    margin: Fraction = Fraction(0)
    in_row: int = 1
    spacing: Fraction = Fraction(0)
    in_turn: bool = False


@dataclass(frozen=True)
class Layers:
    """
    What the layers of stacks are made of, bottom first.

    Attributes
    ----------
    groups : name of a lightness group for each layer, or nothing where any will do
    stacks : names of swatches, layer by layer, of as many stacks as they are chosen for
    """

    groups: tuple[str, ...]
    stacks: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class PlannedBlock:
    """
    One kind of block.

    Attributes
    ----------
    name : unique in the plan
    count : how many
    shape : prints, rim, gap and surrounds
    core : what the layers of the cores are
    surrounds : what the layers of the further stacks of each surround are
    """

    name: str
    count: int
    shape: BlockShape
    core: Layers
    surrounds: tuple[Layers, ...] = ()

    @property
    def stacks(self) -> tuple[tuple[str, int, tuple[Fraction, ...], Layers], ...]:
        """What is stacked, for all blocks of this kind: for which part, how many, sides of prints, what layers."""
        further = zip(self.shape.further_blocks, self.surrounds, strict=True)
        return (
            ("core", self.count, self.shape.prints, self.core),
            *((f"surround {blocks.surround}", self.count * blocks.count, blocks.prints, layers)
              for blocks, layers in further),
        )


@dataclass(frozen=True)
class Plan:
    """
    A whole project; lengths in mm.

    Attributes
    ----------
    title : of the project
    unit : in what lengths are printed, "in" or "mm"
    rim, gap : bare ground round each print; open background between core and surrounds
    background : what all blocks lie on
    blocks : kinds of blocks
    web, cloth : fusible web, and the cloth that is painted, as bought or as sheets; None where the plan does not say
    cloth_width : of cloth as it is sold; None where the plan does not say
    plates : relief plates at hand
    table : the table of swatches that stacks are named from; None where the plan names none
    """

    title: str
    unit: str
    rim: Fraction
    gap: Fraction
    background: Background
    blocks: tuple[PlannedBlock, ...]
    web: Material | None = None
    cloth: Material | None = None
    cloth_width: Fraction | None = None
    plates: tuple[Plate, ...] = ()
    table: Path | None = None

    @property
    def swatches(self) -> tuple[str, ...]:
        """Names of all swatches that the plan uses."""
        layers = (each for block in self.blocks for _, _, _, each in block.stacks)
        return tuple(name for each in layers for stack in each.stacks for name in stack)

    @property
    def block_count(self) -> int:
        """How many blocks there are in all."""
        return sum(block.count for block in self.blocks)


def read_plan(path: str | os.PathLike[str]) -> Plan:
    """
    Return the plan in a TOML file; what can stand in it is shown at the top of this module.

    Raises
    ------
    InvalidInputError
        The file cannot be read, a key is not known or missing, or what it says cannot be right; the message names the
        place.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "plan.toml"
    ...     _ = file.write_text('units = "in"\\n[[block]]\\nname = "Hearth"\\nprints = ["3 1/2", "2 1/2"]')
    ...     plan = read_plan(file)
    >>> plan.title, plan.blocks[0].name, plan.blocks[0].shape.prints
    ('plan', 'Hearth', (Fraction(889, 10), Fraction(127, 2)))
    """
    file = Path(path)
    return _plan(read_toml(file, _KIND), file.stem, file.parent)


def plan_of_text(text: str, *, title: str = "plan", folder: Path | None = None) -> Plan:
    """
    Return the plan that a text says, as it would stand in a file.

    Parameters
    ----------
    text : TOML, as shown at the top of this module
    title : of a plan that says none
    folder : where the table stands that it names; if not given, where the program runs

    Raises
    ------
    InvalidInputError
        As for `read_plan`, with no file to be named.

    >>> plan_of_text('units = "mm"\\n[[block]]\\nname = "Hearth"\\nprints = [90, 60]').blocks[0].shape.side
    Fraction(90, 1)
    """
    return _plan(toml_of_text(text, _KIND), title, folder or Path())


def plan_of_values(values: Mapping[str, Any], *, title: str = "plan", folder: Path | None = None) -> Plan:
    """
    Return the plan that plain values say: tables as dictionaries, lists, texts and numbers, as TOML has them.

    Parameters
    ----------
    values : by the keys shown at the top of this module
    title, folder : as for `plan_of_text`

    Raises
    ------
    InvalidInputError
        As for `plan_of_text`.

    >>> plan_of_values({"units": "mm", "block": [{"prints": [90, 60], "count": 4}]}).block_count
    4
    """
    return _plan(part_of(values, _KIND), title, folder or Path())


def plan_values(plan: Plan) -> dict[str, Any]:
    """
    Return a plan as plain values, from which `plan_of_values` makes it again.

    >>> plan = plan_of_values({"units": "in", "rim": 0.0625, "block": [{"name": "Hearth", "prints": ["3 1/2"]}]})
    >>> plan_values(plan)["rim"], plan_values(plan)["block"]
    ('1/16', [{'name': 'Hearth', 'count': 1, 'prints': ['3 1/2']}])
    """
    return _without_nothing({
        "title": plan.title, "units": plan.unit, "rim": _written(plan.rim, plan.unit),
        "gap": _written(plan.gap, plan.unit), "table": None if plan.table is None else str(plan.table),
        "background": _background_values(plan.background, plan.unit), "supplies": _supplies_values(plan),
        "block": [_block_values(block, plan.unit) for block in plan.blocks],
    })  # fmt: skip


def plan_text(plan: Plan) -> str:
    """
    Return a plan as the TOML that `read_plan` reads.

    >>> print(plan_text(plan_of_values({"units": "mm", "block": [{"name": "Hearth", "prints": [90.5]}]})), end="")
    title = "plan"
    units = "mm"
    rim = "0"
    gap = "0"
    <BLANKLINE>
    [background]
    margin = "0"
    in_row = 1
    spacing = "0"
    <BLANKLINE>
    [[block]]
    name = "Hearth"
    count = 1
    prints = ["90.5"]
    """
    return "\n".join(_toml(plan_values(plan), ())).lstrip("\n") + "\n"


def _plan(top: Part, title: str, folder: Path) -> Plan:
    unit = top.choice("units", UNITS)
    rim, gap = top.length("rim", unit, default=0), top.length("gap", unit, default=0)
    blocks = _blocks(top, unit, rim, gap)
    web, cloth, cloth_width, plates = _supplies(top, unit)
    table = top.text("table", "")
    return Plan(
        title=top.text("title", "") or title, unit=unit, rim=rim, gap=gap,
        background=_background(top, unit, sum(block.count for block in blocks)), blocks=blocks, web=web, cloth=cloth,
        cloth_width=cloth_width, plates=plates, table=folder / table if table else None,
    )


def check_swatches(plan: Plan, table: pd.DataFrame) -> None:
    """
    Let no plan pass that names swatches which are not in the table, or are too small for the layer they are meant for.

    Parameters
    ----------
    plan : the plan
    table : swatches, with a column `swatch_id`; a column `side` (mm) is heeded where it is there

    Raises
    ------
    InvalidInputError
        A swatch is not in the table, or is too small.

    >>> import pandas as pd
    >>> shape = BlockShape((Fraction(80),), Fraction(2))
    >>> block = PlannedBlock("Hearth", 1, shape, Layers(("",), (("T1",),)))
    >>> plan = Plan("Wall", "mm", Fraction(2), Fraction(0), Background(), (block,))
    >>> check_swatches(plan, pd.DataFrame({"swatch_id": ["T2"]}))
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: Every swatch in the plan must be in the table; block 'Hearth' names 'T1', ...
    """
    sides = _sides(table)
    for block in plan.blocks:
        for part, _, prints, layers in block.stacks:
            for stack in layers.stacks:
                for name, side in zip(stack, prints, strict=True):
                    _check_swatch(name, side + 2 * plan.rim, sides, f"block {block.name!r}, {part}", plan.unit)


def _sides(table: pd.DataFrame) -> dict[str, float]:
    """The side of each swatch of the table, mm; nan where it is not known."""
    sides = table["side"] if "side" in table else [math.nan] * len(table)
    return dict(zip(map(str, table["swatch_id"]), map(float, sides), strict=True))


def _check_swatch(name: str, side: Fraction, sides: Mapping[str, float], place: str, unit: str) -> None:
    if name not in sides:
        near = difflib.get_close_matches(name, sides, 1, 0.5)
        raise InvalidInputError(
            f"Every swatch in the plan must be in the table; {place.removesuffix(', core')} names {name!r}, which is "
            f"not{f', and the nearest is {near[0]!r}' if near else ''}. Correct the name."
        )
    if sides[name] < float(side):  # never for nan
        raise InvalidInputError(
            f"A swatch must be as large as the square cut from it; {name!r} gives {length_words(sides[name], unit)}, "
            f"and {place} takes {length_words(side, unit)}. Choose a larger one."
        )


# The parts of the plan.


def _background(top: Part, unit: str, blocks: int) -> Background:
    part = top.part("background")
    return Background(
        lightness=part.number("lightness", 0, 100), cloth=part.text("cloth", ""),
        margin=part.length("margin", unit, default=0), spacing=part.length("spacing", unit, default=0),
        in_row=part.whole("in_row", MOST_BLOCKS, default=math.ceil(math.sqrt(blocks))), in_turn=part.yes("in_turn"),
    )


def _supplies(
    top: Part, unit: str
) -> tuple[Material | None, Material | None, Fraction | None, tuple[Plate, ...]]:
    part = top.part("supplies")
    web, cloth = part.part("web"), part.part("cloth")
    plates = tuple(
        Plate(each.text("motif", "") or f"plate {number}", each.length("print", unit, zero=False))
        for number, each in enumerate(part.parts("plates", "plate"), start=1)
    )
    cloth_width = cloth.length("width", unit, zero=False) if "width" in cloth.entries else None
    if "sheet" in web.entries and "width" in web.entries:
        raise web.error("it must be a roll, with a width, or sheets; got both. Leave out width or sheet.")
    return _material(web, unit), _material(cloth, unit), cloth_width, plates


def _material(part: Part, unit: str) -> Material | None:
    if not part.entries:
        return None
    room = part.length("room", unit, default=0)
    if "sheet" in part.entries:
        size = part.lengths("sheet", unit)
        if len(size) != 2:
            raise part.error(f"sheet must be two lengths, such as [18, 22]; got {len(size)}. Correct it.")
        if "length" in part.entries:
            raise part.error("it must have a length, of a roll, or sheets; got both. Leave out length or sheet.")
        return Material(size[0], size[1], room)
    length = part.length("length", unit, zero=False) if "length" in part.entries else None
    return Material(part.length("width", unit, zero=False), length, room)


def _blocks(top: Part, unit: str, rim: Fraction, gap: Fraction) -> tuple[PlannedBlock, ...]:
    parts = list(top.parts("block", "block"))
    if not 1 <= len(parts) <= _MOST_KINDS:
        raise top.error(
            f"a plan must have 1 to {_MOST_KINDS} kinds of blocks; got {len(parts)}. Write one for each kind, such as "
            f"{_EXAMPLE}."
        )
    blocks = tuple(_block(part, number, unit, rim, gap) for number, part in enumerate(parts, start=1))
    _check_all(top, blocks)
    return blocks


def _block(part: Part, number: int, unit: str, rim: Fraction, gap: Fraction) -> PlannedBlock:
    name = part.text("name", "") or f"block {number}"
    count = part.whole("count", MOST_BLOCKS, default=1)
    surrounds = _surrounds(part)
    prints = part.lengths("prints", unit)
    try:
        shape = BlockShape(
            prints, rim, gap, tuple(Surround(_own_prints(each, unit), each.yes("turned")) for each in surrounds)
        )
    except InvalidInputError as error:
        raise error if str(error).startswith(part.place) else part.error(str(error)) from error
    core = _layers(part, len(prints), count, ())
    further = (
        _layers(each, len(blocks.prints), count * blocks.count, core.groups)
        for each, blocks in zip(surrounds, shape.further_blocks, strict=True)
    )
    return PlannedBlock(name, count, shape, core, tuple(further))


def _surrounds(part: Part) -> list[Part]:
    value = part.entries.get("surrounds", 0)
    if isinstance(value, list):
        return list(part.parts("surrounds", "surround"))
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_SURROUNDS:
        raise part.error(
            f"surrounds must be a whole number from 0 to {MOST_SURROUNDS}, or tables; got {brief(value)}. Write how "
            "many there are, or the keys of each under a heading [[block.surrounds]]."
        )
    return [part.empty(f"surround {number}", "surrounds") for number in range(1, value + 1)]


def _own_prints(part: Part, unit: str) -> tuple[Fraction, ...] | None:
    return part.lengths("prints", unit) if "prints" in part.entries else None


def _layers(part: Part, layers: int, stacks: int, inherited: tuple[str, ...]) -> Layers:
    if "layers" in part.entries:
        groups = _groups(part, layers)
    else:
        groups = inherited if len(inherited) == layers else ("",) * layers
    return Layers(groups, _stacks(part, layers, stacks))


def _groups(part: Part, layers: int) -> tuple[str, ...]:
    names = part.entries["layers"]
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise part.error(
            f'layers must be a list of groups, such as ["dark", "light"]; got {brief(names)}. Write one a print.'
        )
    if len(names) != layers:
        raise part.error(f"layers must have one entry for each of the {layers} prints; got {len(names)}. Correct it.")
    for name in names:
        if name not in (*GROUPS, ANY):
            near = difflib.get_close_matches(name.lower(), (*GROUPS, ANY), 1)
            hint = f"the nearest is {near[0]!r}. Correct it" if near else f"there are {', '.join(GROUPS)}. Use these"
            raise part.error(f"a layer must be a lightness group, or {ANY!r}; got {brief(name)}, and {hint}.")
    return tuple("" if name == ANY else name for name in names)


def _stacks(part: Part, layers: int, stacks: int) -> tuple[tuple[str, ...], ...]:
    listed = part.entries.get("stacks", [])
    if not isinstance(listed, list) or not all(_are_names(stack) for stack in listed):
        raise part.error(
            f'stacks must be lists of swatches, such as [["T13", "T15"], ["T20", "T24"]]; got {brief(listed)}. '
            "Write one list for each stack, bottom first."
        )
    for number, stack in enumerate(listed, start=1):
        if len(stack) != layers:
            raise part.error(
                f"a stack must have one swatch for each of the {layers} prints; stack {number} has {len(stack)}. "
                "Correct it."
            )
    if len(listed) > stacks:
        raise part.error(f"stacks must have at most {stacks} lists, one a stack; got {len(listed)}. Leave some out.")
    return tuple(map(tuple, listed))


def _are_names(stack: Any) -> bool:
    return isinstance(stack, list) and all(isinstance(name, str) and name for name in stack)


def _check_all(top: Part, blocks: Sequence[PlannedBlock]) -> None:
    """What no block can know alone: names, swatches and pieces of them all."""
    names = [block.name for block in blocks]
    for name in names:
        if names.count(name) > 1:
            raise top.error(f"each block must have a name of its own; got {name!r} twice. Rename one of them.")
    used: dict[str, str] = {}
    for block in blocks:
        for part, _, _, layers in block.stacks:
            for swatch in (swatch for stack in layers.stacks for swatch in stack):
                if swatch in used:
                    raise top.error(
                        f"each swatch can be cut only once; {swatch!r} is in {used[swatch]} and in block "
                        f"{block.name!r}, {part}. Choose another one for one of them."
                    )
                used[swatch] = f"block {block.name!r}, {part},"
    pieces = sum(count * len(prints) for block in blocks for _, count, prints, _ in block.stacks)
    if pieces > MOST_PIECES:
        raise top.error(
            f"a plan must have at most {MOST_PIECES:,} pieces; got {pieces:,}. Make fewer blocks, or several plans."
        )


# The way back.


def _without_nothing(values: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value not in (None, "", False, [], {})}


def _written(length: Fraction, unit: str) -> str:
    """A length so that it is read back exactly: bare in the plan's unit where that is short, else with the other."""
    plain = {"in": _fraction_words(length / MM_PER_INCH), "mm": _decimal_words(length)}
    other = "mm" if unit == "in" else "in"
    if plain[unit]:
        return plain[unit]
    short = length if len(str(length)) <= _LONGEST_FRACTION else length.limit_denominator(10**9)  # far below any blade
    return f"{plain[other]} {other}" if plain[other] else f"{short.numerator}/{short.denominator} mm"


def _fraction_words(inches: Fraction) -> str:
    """Inches as a ruler has them, such as 3 1/2; nothing where they are finer than any ruler."""
    whole, part = divmod(inches, 1)
    if part.denominator > _FINEST_PART:
        return ""
    return " ".join(filter(None, (str(whole) if whole or not part else "", str(part) if part else "")))


def _decimal_words(mm: Fraction) -> str:
    """Millimetres as a decimal; nothing where it would not end soon."""
    return f"{float(mm):.6f}".rstrip("0").rstrip(".") if (mm * 10**6).denominator == 1 else ""


def _background_values(ground: Background, unit: str) -> dict[str, Any]:
    return _without_nothing({
        "cloth": ground.cloth, "lightness": ground.lightness, "margin": _written(ground.margin, unit),
        "in_row": ground.in_row, "spacing": _written(ground.spacing, unit), "in_turn": ground.in_turn,
    }) | ({} if ground.lightness is None else {"lightness": ground.lightness})  # fmt: skip


def _supplies_values(plan: Plan) -> dict[str, Any]:
    unit = plan.unit
    plates = [{"motif": plate.motif, "print": _written(plate.print_side, unit)} for plate in plan.plates]
    cloth = _material_values(plan.cloth, unit, sheets=plan.cloth is not None and plan.cloth.length is not None)
    if plan.cloth_width is not None:
        cloth["width"] = _written(plan.cloth_width, unit)
    web = _material_values(plan.web, unit, sheets=False)
    return _without_nothing({"web": web, "cloth": cloth, "plates": plates})


def _material_values(material: Material | None, unit: str, *, sheets: bool) -> dict[str, Any]:
    """As a roll, or as sheets: to packing, a roll of limited length and a sheet are the same."""
    if material is None:
        return {}
    room = {} if not material.room else {"room": _written(material.room, unit)}
    if sheets and material.length is not None:
        return {"sheet": [_written(material.width, unit), _written(material.length, unit)]} | room
    length = {} if material.length is None else {"length": _written(material.length, unit)}
    return {"width": _written(material.width, unit)} | length | room


def _block_values(block: PlannedBlock, unit: str) -> dict[str, Any]:
    surrounds = [
        _without_nothing({
            "turned": surround.turned,
            "prints": [] if surround.prints is None else [_written(side, unit) for side in surround.prints],
            "layers": [] if _inherited(block.core, layers) else _group_values(layers),
            "stacks": [list(stack) for stack in layers.stacks],
        })
        for surround, layers in zip(block.shape.surrounds, block.surrounds, strict=True)
    ]  # fmt: skip
    return _without_nothing({
        "name": block.name, "count": block.count, "prints": [_written(side, unit) for side in block.shape.prints],
        "layers": _group_values(block.core) if any(block.core.groups) else [],
        "stacks": [list(stack) for stack in block.core.stacks], "surrounds": surrounds,
    })  # fmt: skip


def _inherited(core: Layers, layers: Layers) -> bool:
    return layers.groups == (core.groups if len(core.groups) == len(layers.groups) else ("",) * len(layers.groups))


def _group_values(layers: Layers) -> list[str]:
    return [group or ANY for group in layers.groups]


def _toml(values: Mapping[str, Any], heading: tuple[str, ...]) -> Iterator[str]:
    """Lines of a table: its own keys first, then the tables in it under their headings."""
    for key, value in values.items():
        if not _is_tables(value):
            yield f"{key} = {_toml_value(value)}"
    for key, value in values.items():
        inner = (*heading, key)
        for table in value if isinstance(value, list) and _is_tables(value) else [value] * isinstance(value, dict):
            yield ""
            yield f"[[{'.'.join(inner)}]]" if isinstance(value, list) else f"[{'.'.join(inner)}]"
            yield from _toml(table, inner)


def _is_tables(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _toml_value(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_toml_value, value))}]"
    if isinstance(value, str):  # JSON and TOML quote alike, but for DEL and halves of letters, which TOML cannot hold
        return json.dumps(value.encode("utf-8", "replace").decode(), ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value).lower() if isinstance(value, bool) else repr(value)
