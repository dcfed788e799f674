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
import math
import os
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.compose.blocks import MOST_SURROUNDS, BlockShape, Surround
from contrastkit.compose.packing import Material
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import UNITS, length_words, parse_length

if TYPE_CHECKING:
    import pandas as pd

MOST_BLOCKS, MOST_PIECES = 1000, 20_000  # of one kind; in a plan. Nobody cuts more by hand.
GROUPS = (
    "darkest", "very dark", "dark", "medium dark", "medium", "medium light", "light", "very light", "lightest"
)  # fmt: skip
"""Names of lightness groups, darkest first; two to nine of them are in use at a time."""
ANY = "any"
_MOST_BYTES = 1_000_000
_MOST_KINDS = 100
_KEYS = {
    "the plan": ("title", "units", "rim", "gap", "table", "background", "supplies", "block"),
    "background": ("cloth", "lightness", "margin", "in_row", "spacing", "in_turn"),
    "supplies": ("web", "cloth", "plates"),
    "supplies.web": ("width", "length", "sheet"),
    "supplies.cloth": ("width", "length", "sheet", "room"),
    "supplies.plates": ("motif", "print"),
    "block": ("name", "count", "prints", "layers", "stacks", "surrounds"),
    "block.surrounds": ("turned", "prints", "layers", "stacks"),
}
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
    top = _Part(_entries(file), _shown(file.name), "the plan")
    top.check_keys()
    unit = top.choice("units", UNITS)
    rim, gap = top.length("rim", unit, default=0), top.length("gap", unit, default=0)
    blocks = _blocks(top, unit, rim, gap)
    web, cloth, cloth_width, plates = _supplies(top, unit)
    table = top.text("table", "")
    return Plan(
        title=top.text("title", "") or file.stem, unit=unit, rim=rim, gap=gap,
        background=_background(top, unit, sum(block.count for block in blocks)), blocks=blocks, web=web, cloth=cloth,
        cloth_width=cloth_width, plates=plates, table=file.parent / table if table else None,
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


# The file.


def _shown(name: str) -> str:
    return repr(name.encode("utf-8", "replace").decode())


def _entries(file: Path) -> dict[str, Any]:
    try:
        if file.is_dir():
            raise InvalidInputError(f"A plan must be a file; {_shown(str(file))} is a folder. Name the file in it.")
        if file.stat().st_size > _MOST_BYTES:
            raise InvalidInputError(
                f"A plan must be a TOML file of at most a megabyte; {_shown(str(file))} has more. Is it a photograph?"
            )
        return tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except InvalidInputError:
        raise
    except FileNotFoundError as error:
        raise InvalidInputError(f"There is no file {_shown(str(file))}. Check the name and the folder.") from error
    except RecursionError as error:
        raise _unreadable(file, "it is nested too deep") from error
    except UnicodeDecodeError as error:
        raise _unreadable(file, "it is not UTF-8 text") from error
    except OSError as error:
        raise _unreadable(file, error.strerror or "it cannot be opened") from error
    except ValueError as error:  # tomllib's own, which names the line; and a name that no file can have
        raise _unreadable(file, str(error)) from error


def _unreadable(file: Path, why: str) -> InvalidInputError:
    return InvalidInputError(
        f"A plan must be a TOML file; {_shown(str(file))} cannot be read: {why.rstrip('.')}. Correct it there."
    )


@dataclass(frozen=True)
class _Part:
    """One table of the file: what it says, its place in words, and which keys it may have."""

    entries: dict[str, Any]
    place: str
    kind: str

    def error(self, text: str) -> InvalidInputError:
        return InvalidInputError(f"{self.place}: {text}")

    def check_keys(self) -> None:
        known = _KEYS[self.kind]
        for key in self.entries:
            if key not in known:
                raise self.error(_unknown_key(key, known))

    def part(self, key: str) -> _Part:
        """The table of this name; empty where it is not there."""
        entries = self.entries.get(key, {})
        kind = key if self.kind == "the plan" else f"{self.kind}.{key}"
        if not isinstance(entries, dict):
            raise self.error(f"{key} must be a table; got {_brief(entries)}. Write its keys under a heading [{kind}].")
        part = _Part(entries, f"{self.place}, {key}", kind)
        part.check_keys()
        return part

    def parts(self, key: str, noun: str) -> Iterator[_Part]:
        """The tables of this name, each under a heading in double brackets."""
        listed = self.entries.get(key, [])
        kind = key if self.kind == "the plan" else f"{self.kind}.{key}"
        if not isinstance(listed, list) or not all(isinstance(entries, dict) for entries in listed):
            raise self.error(
                f"{key} must be tables; got {_brief(listed)}. Write the keys of each under a heading [[{kind}]]."
            )
        for number, entries in enumerate(listed, start=1):
            name = entries.get("name")
            called = f"{noun} {_shown(name)}" if isinstance(name, str) and name else f"{noun} {number}"
            part = _Part(entries, f"{self.place}, {called}", kind)
            part.check_keys()
            yield part

    def length(self, key: str, unit: str, *, default: int | None = None, zero: bool = True) -> Fraction:
        if key not in self.entries and default is not None:
            return Fraction(default)
        if key not in self.entries:
            raise self.error(f"{key} must be there, as a length such as 3.5 or \"3 1/2 in\"; it is missing. Add it.")
        return self._length(self.entries[key], key, unit, zero)

    def lengths(self, key: str, unit: str) -> tuple[Fraction, ...]:
        listed = self.entries.get(key)
        if not isinstance(listed, list) or not listed:
            got = "it is missing" if key not in self.entries else f"got {_brief(listed)}"
            raise self.error(f'{key} must be a list of lengths, such as ["3 1/2", "2 1/2"]; {got}. Write one.')
        return tuple(
            self._length(each, f"{key}, entry {place},", unit, False) for place, each in enumerate(listed, start=1)
        )

    def _length(self, value: Any, name: str, unit: str, zero: bool) -> Fraction:
        try:
            return parse_length(value, unit=unit, zero=zero, name=name)
        except InvalidInputError as error:
            raise self.error(str(error)) from error

    def text(self, key: str, default: str) -> str:
        value = self.entries.get(key, default)
        if not isinstance(value, str):
            raise self.error(f"{key} must be text; got {_brief(value)}. Put it in quotes.")
        return " ".join(value.split())

    def choice(self, key: str, allowed: Sequence[str]) -> str:
        value = self.entries.get(key)
        if value not in allowed:
            got = "it is missing" if key not in self.entries else f"got {_brief(value)}"
            raise self.error(f"{key} must be {' or '.join(map(repr, allowed))}; {got}. Write one of these.")
        return str(value)

    def whole(self, key: str, most: int, *, default: int) -> int:
        value = self.entries.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
            raise self.error(f"{key} must be a whole number from 1 to {most}; got {_brief(value)}. Correct it.")
        return value

    def number(self, key: str, low: float, high: float) -> float | None:
        value = self.entries.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.error(f"{key} must be a number from {low:g} to {high:g}; got {_brief(value)}. Correct it.")
        return float(value)

    def yes(self, key: str) -> bool:
        value = self.entries.get(key, False)
        if not isinstance(value, bool):
            raise self.error(f"{key} must be true or false; got {_brief(value)}. Write one of these, without quotes.")
        return value


def _brief(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unknown_key(key: str, known: Sequence[str]) -> str:
    got = f"every key must be a known one; got {_brief(key)}"
    near = difflib.get_close_matches(key.lower(), known, 1)
    if near:
        return f"{got}, and the nearest is {near[0]!r}. Correct it."
    homes = [kind for kind, keys in _KEYS.items() if key in keys]
    if homes:
        return f"{got}, which belongs in {' or '.join(homes)}. Move it there."
    return f"{got}, and what can stand here is {', '.join(known)}. Take it out, or use one of these."


# The parts of the plan.


def _background(top: _Part, unit: str, blocks: int) -> Background:
    part = top.part("background")
    return Background(
        lightness=part.number("lightness", 0, 100), cloth=part.text("cloth", ""),
        margin=part.length("margin", unit, default=0), spacing=part.length("spacing", unit, default=0),
        in_row=part.whole("in_row", MOST_BLOCKS, default=math.ceil(math.sqrt(blocks))), in_turn=part.yes("in_turn"),
    )


def _supplies(
    top: _Part, unit: str
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


def _material(part: _Part, unit: str) -> Material | None:
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


def _blocks(top: _Part, unit: str, rim: Fraction, gap: Fraction) -> tuple[PlannedBlock, ...]:
    parts = list(top.parts("block", "block"))
    if not 1 <= len(parts) <= _MOST_KINDS:
        raise top.error(
            f"a plan must have 1 to {_MOST_KINDS} kinds of blocks; got {len(parts)}. Write one for each kind, such as "
            f"{_EXAMPLE}."
        )
    blocks = tuple(_block(part, number, unit, rim, gap) for number, part in enumerate(parts, start=1))
    _check_all(top, blocks)
    return blocks


def _block(part: _Part, number: int, unit: str, rim: Fraction, gap: Fraction) -> PlannedBlock:
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


def _surrounds(part: _Part) -> list[_Part]:
    value = part.entries.get("surrounds", 0)
    if isinstance(value, list):
        return list(part.parts("surrounds", "surround"))
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_SURROUNDS:
        raise part.error(
            f"surrounds must be a whole number from 0 to {MOST_SURROUNDS}, or tables; got {_brief(value)}. Write how "
            "many there are, or the keys of each under a heading [[block.surrounds]]."
        )
    return [_Part({}, f"{part.place}, surround {number}", "block.surrounds") for number in range(1, value + 1)]


def _own_prints(part: _Part, unit: str) -> tuple[Fraction, ...] | None:
    return part.lengths("prints", unit) if "prints" in part.entries else None


def _layers(part: _Part, layers: int, stacks: int, inherited: tuple[str, ...]) -> Layers:
    if "layers" in part.entries:
        groups = _groups(part, layers)
    else:
        groups = inherited if len(inherited) == layers else ("",) * layers
    return Layers(groups, _stacks(part, layers, stacks))


def _groups(part: _Part, layers: int) -> tuple[str, ...]:
    names = part.entries["layers"]
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise part.error(
            f'layers must be a list of groups, such as ["dark", "light"]; got {_brief(names)}. Write one a print.'
        )
    if len(names) != layers:
        raise part.error(f"layers must have one entry for each of the {layers} prints; got {len(names)}. Correct it.")
    for name in names:
        if name not in (*GROUPS, ANY):
            near = difflib.get_close_matches(name.lower(), (*GROUPS, ANY), 1)
            hint = f"the nearest is {near[0]!r}. Correct it" if near else f"there are {', '.join(GROUPS)}. Use these"
            raise part.error(f"a layer must be a lightness group, or {ANY!r}; got {_brief(name)}, and {hint}.")
    return tuple("" if name == ANY else name for name in names)


def _stacks(part: _Part, layers: int, stacks: int) -> tuple[tuple[str, ...], ...]:
    listed = part.entries.get("stacks", [])
    if not isinstance(listed, list) or not all(_are_names(stack) for stack in listed):
        raise part.error(
            f'stacks must be lists of swatches, such as [["T13", "T15"], ["T20", "T24"]]; got {_brief(listed)}. '
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


def _check_all(top: _Part, blocks: Sequence[PlannedBlock]) -> None:
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
