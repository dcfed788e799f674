"""The Plan panel: blocks and surrounds with their counts, the wall to scale, what is missing, cut list, print."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import traitlets

from contrastkit.compose.cutting import CutPlan, cut_plan
from contrastkit.compose.days import DEFER
from contrastkit.compose.filling import FilledPlan
from contrastkit.compose.layout import Layout, PlacedBlock, lay_out
from contrastkit.compose.plan import ANY, Plan, PlannedBlock, plan_text
from contrastkit.errors import ContrastkitError
from contrastkit.lengths import UNITS, length_words
from contrastkit.panels import plan_words, planning
from contrastkit.panels.desk import Desk, project_of
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import (
    Choice,
    File,
    Folded,
    Line,
    Pick,
    Press,
    Rows,
    Tick,
    Words,
    beside,
    column,
    row,
    script,
)
from contrastkit.panels.parts import show_if as in_view
from contrastkit.panels.planning import Planning
from contrastkit.panels.session import fetch_crops
from contrastkit.panels.wall import MARGIN, Image, Walls, as_jpeg, small_squares
from contrastkit.show.cutlist import LIST, PAGE, write_plan
from contrastkit.show.plan_pictures import Pile
from contrastkit.show.words import counted

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.catalogue import Catalogue
    from contrastkit.panels.session import Pixels, Session

Edit = Callable[[Planning, Any], Planning]

_FIELDS = (  # key in `entries`, label, whether it is about the wall rather than the supplies
    ("rim", "Rim round each print", True), ("gap", "Gap round cores and surrounds", True),
    ("margin", "Hanging margin", True), ("spacing", "Between blocks", True), ("in_row", "Blocks in a row", True),
    ("lightness", "Background's lightness, L*", True), ("cloth", "Background's cloth", True),
    ("web", "Width of the fusible web", False), ("cloth width", "Width of the cloth to paint", False),
    ("cloth sheet", "Sheets that it is painted in", False), ("cloth room", "Room round each square", False),
    ("plates", "Relief plates at hand", False),
)  # fmt: skip
_HINTS = {
    "lightness": "empty: not decided", "plates": "such as rings 3 1/2; dots 2 1/2", "cloth sheet": "such as 18 x 22",
}  # fmt: skip
_MANY = 300  # pieces; drawing more is worth a word


class Wall(anywidget.AnyWidget):
    """A picture to scale with its measures, on which a block can be pointed at; `value` is the block's place."""

    _esm = script("wall.js")
    kind = traitlets.Unicode("wall").tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    data = traitlets.Bytes(b"").tag(sync=True)
    mime = traitlets.Unicode("image/jpeg").tag(sync=True)
    alt = traitlets.Unicode("").tag(sync=True)
    size: Any = traitlets.List([0, 0]).tag(sync=True)
    measures: Any = traitlets.List(["", ""]).tag(sync=True)
    blocks: Any = traitlets.List([]).tag(sync=True)
    in_row = traitlets.Int(1).tag(sync=True)
    tall = traitlets.Int(76).tag(sync=True)  # at most so many hundredths of what is seen at once
    value = traitlets.Int(0).tag(sync=True)

    def draw(self, image: Image, alt: str, measures: tuple[str, str]) -> None:
        """Show another picture (linear RGB), with its words and its width and height."""
        with self.hold_sync():
            self.size = [image.shape[1], image.shape[0]]
            self.alt, self.measures, self.data = alt, list(measures), as_jpeg(image)


class Paper(anywidget.AnyWidget):
    """A finished page that opens on a page of its own; in view once there is one."""

    _esm = script("wall.js")
    kind = traitlets.Unicode("paper").tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    data = traitlets.Bytes(b"").tag(sync=True)


class PlanPanel(Panel):
    """
    The panel where blocks are planned.

    Parameters
    ----------
    desk : what it is about
    folder : where plans are printed to, each into a folder of its title; contrastkit in the user's documents, if not
        given
    """

    def __init__(self, desk: Desk, *, folder: Path | None = None) -> None:
        self.desk = desk
        self.folder = folder or _documents()
        self._walls, self._squares, self._pile = Walls(), dict[str, "Pixels"](), Pile({}, {})
        self._asked: tuple[Any, ...] | None = None
        self._done = FilledPlan(self._planning.plan)
        self._layout: Layout = lay_out(self._planning.plan)
        self._cut: CutPlan | None = None
        self._at = self._kind = 0
        super().__init__(desk, *self._parts())
        desk.watch(self._changed)
        self._show_all()

    @property
    def _planning(self) -> Planning:
        return self.desk.session.planning

    @property
    def done(self) -> FilledPlan:
        """The plan as it is filled now."""
        return self._done

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        self.state, self.busy = Words(level=3), Words(quiet=True)
        self.shortage = [Words() for _ in range(2)]
        self.again = Press("Fill again from the pile", self.desk.attempt(self._fill_again))
        self.stale = row(Words("The pile has changed since this was filled."), self.again)
        self.wall = Wall(label="Blocks of the wall")
        self.wall.observe(lambda change: self._choose(change["new"]), "value")
        return [
            self.state, *self.shortage, self.stale, self.busy,
            beside(column(self.wall, self._actions()), column(self._fill_part(), self._kind_part())),
            self._block_part(), self._settings(), self._cut_part(), self._text_part(),
        ]  # fmt: skip

    def _fill_part(self) -> ipywidgets.Widget:
        self.fill = Choice("Fill the blocks with", planning.FILLS, self._planning.fill, self._fill_chosen)
        return self.fill

    def _kind_part(self) -> ipywidgets.Widget:
        """The controls of the kind of block that is looked at."""
        self.kind = Pick("Kind of block", [], 0, self._kind_chosen)
        self.name = self._line("Name", lambda now, text: planning.with_block(now, self._kind, name=text))
        self.count = self._line("How many", lambda now, text: planning.with_block(now, self._kind, count=text))
        self.prints = self._line(
            "Sides of the prints, bottom first", lambda now, text: planning.with_block(now, self._kind, prints=text),
            hint="such as 3 1/2, 2 1/2, 1 3/4",
        )
        self.layers: list[Pick] = []
        self.layer_box = row()
        self.surrounds = Choice("Surrounds", _counts(0), 0, self._edit(
            "Surrounds", lambda now, value: planning.with_block(now, self._kind, surrounds=value)
        ))  # fmt: skip
        self.turned = [
            Tick(f"Surround {number} turned, right angles inward", False, self._turner(number))
            for number in range(1, planning.MOST_SURROUNDS + 1)
        ]
        self.another = Press("Add a kind of block", self._edit_press("One kind more.", planning.with_another_block))
        self.away = Press("Take this kind away", self._edit_press(
            "One kind less.", lambda now: planning.without_block(now, self._kind)
        ))  # fmt: skip
        return column(
            self.kind, row(self.name, self.count), self.prints, self.layer_box, self.surrounds, *self.turned,
            row(self.another, self.away),
        )

    def _block_part(self) -> ipywidgets.Widget:
        """One block at a time, larger, with its measures."""
        self.block_words = Words(level=3)
        self.block = Wall(label="One block", tall=60)
        self.before = Press("Block before", lambda: self._choose(self._at - 1))
        self.next = Press("Next block", lambda: self._choose(self._at + 1))
        self.measures = Rows("Its measures", plan_words.PART_HEAD)
        self.pieces = Rows("What lies in it", ("part", "pieces, bottom first"))
        self.picked = Words(quiet=True)
        seen = column(self.block_words, row(self.before, self.next), self.block)
        return beside(seen, column(self.picked, self.measures, self.pieces))

    def _actions(self) -> ipywidgets.Widget:
        self.print = Press("Print the plan", self.desk.attempt(self._print), main=True)
        self.keep = Press("Keep the plan", self.desk.attempt(self._keep))
        self.aside = Press("Set the pieces aside", self.desk.attempt(self._set_aside))
        self.fuse = Press("These are fused now", lambda: in_view(True, self.sure))
        self.page = Paper(label="Open the page to print it")
        self.files = [File(f"Save {PAGE}"), File(f"Save {LIST}")]
        self.asked = Words()
        self.yes = Press("Yes, all are fused", self.desk.attempt(self._fuse))
        self.no = Press("Not yet", lambda: in_view(False, self.sure))
        self.sure = column(self.asked, row(self.yes, self.no))
        return column(
            row(self.print, self.keep, self.aside, self.fuse), row(self.page, *self.files), self.sure
        )  # fmt: skip

    def _settings(self) -> ipywidgets.Widget:
        self.title = self._line("Title", planning.with_title)
        self.units = Choice("Lengths in", [(unit, unit) for unit in reversed(UNITS)], self._planning.plan.unit,
                            self._edit("Lengths in", planning.with_unit))  # fmt: skip
        self.lines = {key: self._line(label, _editor(key), hint=_HINTS.get(key, "")) for key, label, _ in _FIELDS}
        self.in_turn = Tick("Kinds of blocks take turns", False, self._edit(
            "Kinds of blocks take turns", lambda now, value: planning.with_background(now, in_turn=value)
        ))  # fmt: skip
        of_wall = [self.lines[key] for key, _, wall in _FIELDS if wall]
        supplies = [self.lines[key] for key, _, wall in _FIELDS if not wall]
        self.settings = Folded(
            "Settings", row(self.title, self.units), row(*of_wall), self.in_turn, row(*supplies[:-1]), supplies[-1]
        )
        return self.settings

    def _cut_part(self) -> ipywidgets.Widget:
        self.cut_words = Words()
        self.tables = {
            "squares": Rows("Squares of painted cloth, and a square of web for each", plan_words.SQUARE_HEAD),
            "stacks": Rows("Once they are fused, not before: further stacks", plan_words.STACK_HEAD),
            "items": Rows("Prints and plates, cloth, web, background", plan_words.ITEM_HEAD),
            "days": Rows("Day by day", plan_words.DAY_HEAD),
        }
        self.cut_list = Folded("Cut list, shopping list and days", self.cut_words, *self.tables.values(), Words(DEFER))
        self.cut_list.button.observe(lambda _: self._show_cut(), "unfolded")
        return self.cut_list

    def _text_part(self) -> ipywidgets.Widget:
        self.text = Line("The plan, as it stands in a file", "", self._edit_line(
            lambda: self.text, "The plan as text", planning.with_text
        ), rows=16)  # fmt: skip
        self.toml = File("Save plan.toml")
        self.as_text = Folded("The plan as text", self.text, self.toml)
        return self.as_text

    # --- what its controls do ---

    def _line(self, label: str, edit: Edit, *, hint: str = "") -> Line:
        line: Line = Line(label, "", self._edit_line(lambda: line, label, edit), hint=hint)
        return line

    def _edit_line(self, line: Callable[[], Line], label: str, edit: Edit) -> Callable[[str], None]:
        """What a line does: change the plan, or say beside it why it cannot."""

        def changed(text: str) -> None:
            try:
                planned = edit(self._planning, text)
            except ContrastkitError as error:
                line().problem = str(error)
                return
            line().problem = ""
            self._put(planned, f"{label}: {text.strip() or 'nothing'}." if len(text) < 80 else f"{label} changed.")

        return changed

    def _edit(self, label: str, edit: Edit) -> Callable[[Any], None]:
        """What a choice or a tick does; it goes back where it cannot be done, and the reason is said."""

        def changed(value: Any) -> None:
            words = {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
            try:
                self._put(edit(self._planning, value), f"{label}: {words}.")
            except ContrastkitError as error:
                self.desk.say(str(error), problem=True)
                self._show_fields()

        return changed

    def _edit_press(self, said: str, edit: Callable[[Planning], Planning]) -> Callable[[], None]:
        return self.desk.attempt(lambda: self._put(edit(self._planning), said))

    def _turner(self, number: int) -> Callable[[bool], None]:
        return self._edit(
            f"Surround {number} turned", lambda now, value: planning.with_turned(now, self._kind, number, value)
        )

    def _put(self, planned: Planning, said: str) -> None:
        if planned == self._planning:
            self._show_fields()
        else:
            self.desk.change(replace(self.desk.session, planning=planned), said)

    def _fill_chosen(self, fill: str) -> None:
        words = next(words for words, value in planning.FILLS if value == fill)
        self._put(planning.with_fill(self._planning, fill), f"Filled with {words}.")

    def _kind_chosen(self, kind: int) -> None:
        self._choose(next(place for place, laid in enumerate(self._layout.blocks) if laid.kind == kind))

    def _layers_chosen(self, _: object) -> None:
        groups = [pick.value for pick in self.layers]
        self._edit("Groups of the layers", lambda now, _: planning.with_block(now, self._kind, layers=groups))(
            ", ".join(groups)
        )

    def _choose(self, place: int) -> None:
        """Look at another block of the wall."""
        self._at = min(max(place, 0), len(self._layout.blocks) - 1)
        self._kind = self._layout.blocks[self._at].kind
        if self.wall.value != self._at:
            self.wall.value = self._at
        self._show_block()
        self._show_fields()

    def _fill_again(self) -> None:
        self._asked = None
        self._walls.tiles.clear()
        self._squares.clear()
        self._show_all()
        self.desk.say("Filled again from the pile.")

    # --- print, keep, set aside, fuse ---

    def _print(self) -> None:
        session, done = self.desk.session, self._done
        self.busy.show(f"Drawing the pages of {counted(done.plan.block_count, 'block')} …")
        try:
            table, crops = self._known(session, done.plan)
            written = write_plan(done.plan, self._cut_now(), self.folder / _folder_name(done.plan.title), table=table,
                                 crops=crops)  # fmt: skip
            page, cut_list = (file.read_bytes() for file in written.files)
        finally:
            self.busy.show("")
        self.page.data = page
        self.files[0].offer(page, PAGE, "text/html")
        self.files[1].offer(cut_list, LIST, "text/csv")
        self.desk.say(f"Printed to {written.folder}: {PAGE} to print, {LIST} for a spreadsheet.")

    def _keep(self) -> None:
        self.desk.keep_project(f"The plan is kept with {self.desk.session.project}.")

    def _set_aside(self) -> None:
        planned = planning.with_set_aside(self._planning, self._done)
        stacks = planning.stacks_in(self._done.plan)
        count = sum(map(len, stacks))
        self._keep_with(
            planned, f"{counted(count, 'piece')} set aside for {self.desk.session.project}.",
            lambda catalogue: catalogue.set_aside_stacks(self.desk.session.project, stacks),
        )

    def _fuse(self) -> None:
        planned = replace(self._planning, fused=True)
        self._keep_with(
            planned, f"The stacks of {self.desk.session.project} are fused; their pieces are used.",
            lambda catalogue: catalogue.fuse(self.desk.session.project),
        )
        in_view(False, self.sure)

    def _keep_with(self, planned: Planning, said: str, call: Callable[[Catalogue], object]) -> None:
        """Keep the plan and do something to its pieces, as one step."""
        session = replace(self.desk.session, planning=planned)
        self.desk.keep(said, lambda catalogue: catalogue.save_project(project_of(catalogue, session)), call,
                       session=session)  # fmt: skip

    # --- what is in view ---

    def _changed(self, new: Session, old: Session) -> None:
        if new.planning != old.planning:
            self._show_all()
        elif not _same_pile(new, old) or planning.laid_stacks(new) != planning.laid_stacks(old):
            in_view(not new.planning.fused and new.planning.fill != planning.GREYS, self.stale)
        if new.picked != old.picked:
            self._show_picked()

    def _show_all(self) -> None:
        self._fill()
        looked_at = self._layout.blocks[self._at]
        self._layout, self._cut = lay_out(self._done.plan), None
        self._at = _nearest(self._layout, looked_at)
        self._kind = self._layout.blocks[self._at].kind
        self._show_words()
        self._show_fields()
        self._show_wall()
        self._show_block()
        self._show_cut()
        for offer in (self.page, *self.files):
            offer.data = b""

    def _fill(self) -> None:
        """Fill the plan, unless nothing that matters for it has changed."""
        session = self.desk.session
        laid = planning.laid_stacks(session)
        asked = planning.question(session, laid)
        plan = session.planning.plan
        if asked == self._asked:
            self._done = planning.refilled(plan, self._done)
            return
        self.busy.show(f"Choosing pieces for {counted(FilledPlan(plan).count, 'stack')} …")
        try:
            self._done = planning.filled(session, laid)
        finally:
            self.busy.show("")
        self._asked = asked
        in_view(False, self.stale)
        table, crops = self._known(session, self._done.plan)
        self._squares |= small_squares({name: crop for name, crop in crops.items() if name not in self._squares})
        self._pile = Pile.of(table, self._squares)

    def _known(self, session: Session, plan: Plan) -> tuple[pd.DataFrame, dict[str, Pixels]]:
        """The pile and the pictures of the plan's pieces, those that are used too, which the desk leaves out."""
        import pandas as pd

        table, names = session.sorted.table, list(plan.swatches)
        crops = dict(fetch_crops(session.crops, names))
        gone = sorted(set(names) - set(table["swatch_id"]))
        if gone and self.desk.catalogue is not None:
            known = self.desk.catalogue.table("")
            used = known[known["swatch_id"].isin(gone)]
            table = pd.concat([table, used], ignore_index=True) if len(used) else table
            crops |= self.desk.catalogue.crops(list(used["swatch_id"])) if len(used) else {}
        return table, crops

    def _show_words(self) -> None:
        session, done = self.desk.session, self._done
        self.state.show(plan_words.state_sentence(session.planning, done))
        missing = plan_words.shortage_sentences(done)
        paint = plan_words.paint_next(done, session.sorted.table, session.breaks)
        notes = [session.planning.note] if session.planning.note else []
        self.shortage[0].show(" ".join([*notes, *missing]))
        self.shortage[1].show(" ".join(paint))
        stacks = planning.stacks_in(done.plan)
        self.aside.disabled = not stacks or session.planning.fused
        in_view(bool(session.planning.set_aside) and not session.planning.fused, self.fuse)
        in_view(False, self.sure)
        count = counted(sum(map(len, session.planning.set_aside)), "piece")
        self.asked.show(f"What is fused cannot be taken apart: {count} will be marked as used. It can be undone here.")
        self._show_picked()

    def _show_picked(self) -> None:
        places = plan_words.where_used(self._done.plan, self.desk.session.picked)
        self.picked.show(f"Picked: {'; '.join(places)}." if places else "")

    def _show_fields(self) -> None:
        plan, planned = self._planning.plan, self._planning
        block = plan.blocks[self._kind]
        said = plan_words.entries(plan)
        self.fill.show(planned.fill)
        self.kind.offer([(f"{each.name} ({each.count})", place) for place, each in enumerate(plan.blocks)], self._kind)
        texts = {
            self.title: said["title"], self.name: block.name, self.count: str(block.count),
            self.prints: plan_words.prints_words(plan, self._kind), self.text: plan_text(plan),
        } | {line: said[key] for key, line in self.lines.items()}
        for line, text in texts.items():
            line.show(text)
            line.problem = ""
        self.toml.offer(plan_text(self._done.plan).encode("utf-8"), "plan.toml", "application/toml")
        self.units.show(plan.unit)
        self.in_turn.show(plan.background.in_turn)
        in_view(len(plan.blocks) > 1, self.kind, self.in_turn)
        self.away.disabled = len(plan.blocks) == 1
        count = len(block.shape.surrounds)
        self.surrounds.offer(_counts(count), count)
        for number, tick in enumerate(self.turned):
            in_view(number < count, tick)
            tick.show(number < count and block.shape.surrounds[number].turned)
        self._show_layers(block.core.groups)

    def _show_layers(self, groups: Sequence[str]) -> None:
        known = dict.fromkeys([ANY, *self.desk.session.breaks.names, *(group or ANY for group in groups)])
        options = [(plan_words.group_words("" if group == ANY else group), group) for group in known]
        if len(self.layers) != len(groups):
            self.layers = [
                Pick("Layer 1, bottom" if number == 1 else f"Layer {number}", options, ANY, self._layers_chosen)
                for number in range(1, len(groups) + 1)
            ]
            self.layer_box.children = tuple(self.layers)
        for pick, group in zip(self.layers, groups, strict=True):
            pick.offer(options, group or ANY)

    def _show_wall(self) -> None:
        plan, layout = self._done.plan, self._layout
        pieces = sum(block.count * _piece_count(block) for block in plan.blocks)
        if pieces > _MANY:
            self.busy.show(f"Drawing {counted(pieces, 'piece')} …")
        image = self._walls.wall(plan, layout, self._pile)
        wide, high = (length_words(float(side), plan.unit) for side in (layout.width, layout.height))
        self.wall.draw(image, f"The wall, {wide} wide and {high} high. {self.state.value}", (wide, high))
        with self.wall.hold_sync():
            self.wall.in_row = plan.background.in_row
            self.wall.blocks = _places(plan, layout)
            self.wall.value = self._at
        self.busy.show("")

    def _show_block(self) -> None:
        plan, laid = self._done.plan, self._layout.blocks[self._at]
        block = plan.blocks[laid.kind]
        finished = length_words(float(block.shape.finished[-1]), plan.unit)
        words = f"{block.name}, {laid.number + 1} of {block.count}: {finished} finished"
        self.block_words.show(words)
        image = self._walls.block(plan, laid, self._pile)
        shown = length_words(MARGIN * float(block.shape.finished[-1]), plan.unit)
        self.block.draw(image, f"{words}. The picture is {shown} wide.", (finished, finished))
        self.measures.fill(plan_words.part_rows(block, plan.unit))
        self.pieces.fill(plan_words.piece_rows(block, laid.number))
        last = len(self._layout.blocks) - 1
        self.before.disabled, self.next.disabled = self._at == 0, self._at == last

    def _cut_now(self) -> CutPlan:
        if self._cut is None:
            self._cut = cut_plan(self._done.plan)
        return self._cut

    def _show_cut(self) -> None:
        if not self.cut_list.is_open:
            return
        try:
            cut = self._cut_now()
        except ContrastkitError as error:  # a square that does not fit, with other squares than were tried
            self.cut_words.show(str(error))
            return
        self.cut_words.show(" ".join(cut.sentences))
        self.tables["squares"].fill(plan_words.square_rows(cut))
        self.tables["stacks"].fill(plan_words.stack_rows(cut))
        self.tables["items"].fill(plan_words.item_rows(cut))
        self.tables["days"].fill(plan_words.day_rows(cut))
        in_view(bool(cut.stacks), self.tables["stacks"])


def _editor(key: str) -> Edit:
    """What a line of the settings changes."""
    if key in ("rim", "gap", "margin", "spacing"):
        return lambda now, text: planning.with_length(now, key, text)
    if key in ("in_row", "lightness", "cloth"):
        return lambda now, text: planning.with_background(now, **{key: text})
    if key == "web":
        return planning.with_web
    if key == "plates":
        return planning.with_plates

    def cloth(now: Planning, text: str) -> Planning:
        said = plan_words.entries(now.plan)
        parts = {name: said[f"cloth {name}"] for name in ("width", "sheet", "room")}
        return planning.with_cloth(now, **(parts | {key.removeprefix("cloth "): text}))

    return cloth


def _counts(most: int) -> list[tuple[str, int]]:
    """The numbers of surrounds that can be chosen; a plan as text may have more."""
    numbers = sorted({*range(planning.MOST_SURROUNDS + 1), most})
    return [("none" if number == 0 else str(number), number) for number in numbers]


def _piece_count(block: PlannedBlock) -> int:
    """How many pieces show in a block of this kind: squares of the core, four triangles a layer of each surround."""
    return len(block.shape.prints) + 4 * sum(len(blocks.prints) for blocks in block.shape.further_blocks)


def _nearest(layout: Layout, block: PlacedBlock) -> int:
    """The place of the same block in another layout, else of the one most like it."""
    apart = [(abs(other.kind - block.kind), abs(other.number - block.number)) for other in layout.blocks]
    return apart.index(min(apart))


def _places(plan: Plan, layout: Layout) -> list[list[Any]]:
    """Where the blocks lie on the picture: words, then left, top, width and height in hundredths of it."""
    width, height = float(layout.width), float(layout.height)
    places: list[list[Any]] = []
    for number, laid in enumerate(layout.blocks, start=1):
        side = float(plan.blocks[laid.kind].shape.finished[-1])
        left, top = float(laid.centre[0]) - side / 2, height - float(laid.centre[1]) - side / 2
        words = f"{plan.blocks[laid.kind].name}, {laid.number + 1}; block {number} of {len(layout.blocks)}"
        shares = (left / width, top / height, side / width, side / height)
        places.append([words, *(round(100 * share, 3) for share in shares)])
    return places


def _same_pile(new: Session, old: Session) -> bool:
    """Whether two sessions have the same pieces, as far as filling a plan goes."""
    if new.sorting.grouping != old.sorting.grouping or new.project != old.project:
        return False
    if new.table is old.table:
        return True
    columns = [name for name in ("swatch_id", "lightness", "side", "state", "project") if name in new.table]
    return set(columns) <= set(old.table) and new.table[columns].equals(old.table[columns])


def _documents() -> Path:
    from platformdirs import user_documents_path

    return user_documents_path() / "contrastkit"


def _folder_name(title: str) -> str:
    """
    Return a title as a folder may be called on any system: letters, figures, spaces and hyphens.

    >>> _folder_name("../Evening: wall?"), _folder_name("..")
    ('Evening wall', 'plan')
    """
    kept = "".join(letter if _plain(letter) else " " for letter in title)
    return " ".join(kept.split())[:60].strip() or "plan"


def _plain(letter: str) -> bool:
    return letter in "-_" or unicodedata.category(letter)[0] in "LN"
