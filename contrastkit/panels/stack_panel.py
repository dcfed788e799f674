"""The Stack panel: pieces are tapped to lay them, and the stacks are drawn and judged while the hand moves."""

from __future__ import annotations

import io
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import anywidget
import ipywidgets
import traitlets
from PIL import Image as PillowImage

from contrastkit.compose.seams import metres
from contrastkit.lengths import length_words
from contrastkit.panels import laying as hand
from contrastkit.panels import stack_words as words
from contrastkit.panels.laying import Bench, Judged, Laying
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import (
    Choice,
    Folded,
    Line,
    Press,
    Slide,
    Tick,
    Words,
    as_png,
    beside,
    column,
    row,
    script,
    show_if,
)
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.show import look
from contrastkit.show.glance import SMALL, glance, seen_as, sheet_of_squares, shrunk
from contrastkit.show.mockup import Image
from contrastkit.show.pieces import Piece
from contrastkit.show.views import Viewing, view_named

if TYPE_CHECKING:
    from contrastkit.panels.desk import Desk

T = TypeVar("T")

_SIDES = {1: 400, 2: 340, 3: 280, 4: 240}  # pixels of a picture, by how many stand side by side
_AROUND = 1.12  # side of a picture in sides of the largest stack, so that what it lies on shows all round
_REMEMBERED = 48  # pictures that are kept, so that what was seen a moment ago is there at once
_FINE = 2  # pixels to one of the page, in the small picture
_GAP = 10.0  # L* at which a background begins, when one is asked for: that of the surround, kept within the slide
_SHEET_QUALITY = 92


class Table(anywidget.AnyWidget):
    """The pieces to tap, and the stacks side by side; what a hand does comes as a message."""

    _esm = script("stack.js")
    groups: Any = traitlets.List().tag(sync=True)  # names, darkest first
    tray: Any = traitlets.List().tag(sync=True)  # of every piece what is shown of it, dark to light
    sheet = traitlets.Bytes(b"").tag(sync=True)
    sheet_size: Any = traitlets.List([0, 0]).tag(sync=True)
    side = traitlets.Int(SMALL).tag(sync=True)
    lying: Any = traitlets.Dict().tag(sync=True)  # by name: where a piece lies, in words
    picked: Any = traitlets.List().tag(sync=True)
    stacks: Any = traitlets.List().tag(sync=True)
    pictures: Any = traitlets.List().tag(sync=True)  # large and small of every stack
    sizes: Any = traitlets.List([0, 0]).tag(sync=True)  # of the large ones and of the small ones on the page, pixels
    small_words = traitlets.Unicode("").tag(sync=True)
    at = traitlets.Int(0).tag(sync=True)
    layer = traitlets.Int(hand.NONE).tag(sync=True)
    better: Any = traitlets.Dict().tag(sync=True)
    surround = traitlets.Unicode("").tag(sync=True)
    ink = traitlets.Unicode("").tag(sync=True)

    def __init__(self, on_message: Callable[[dict[str, Any]], object]) -> None:
        super().__init__()
        self._on_message = on_message
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        if isinstance(content, dict):
            self._on_message(content)


class StackPanel(Panel):
    """The panel where pieces are laid on one another."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.bench = _bench_of(desk.session)
        self._drawn: OrderedDict[Any, tuple[bytes, bytes]] = OrderedDict()
        self._judged: OrderedDict[Any, Judged] = OrderedDict()
        self._mended: Any = None
        super().__init__(desk, *self._parts())
        self._lay_out()
        self._show(desk.session)
        desk.watch(self._watch)

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        attempt, now = self.desk.attempt, self.desk.session.laying
        self.state, self.told = Words(level=3), Words(quiet=True)
        self.table = Table(attempt(self._heard))
        self.mend = Press("What would be better here?", attempt(self._better), main=True)
        self.view = Choice("Seen", _view_options(self.desk.session), now.view, attempt(self._view))
        self.distance = Slide(
            "From", hand.NEAREST / 1000, hand.FURTHEST / 1000, 0.1, now.distance_mm / 1000, attempt(self._distance),
            words=lambda value: f"as seen from {metres(1000 * value)}", marks=(1, 2, 3, 5, 8),
        )
        self.beside = Press("An empty stack beside it", attempt(self._beside))
        self.copy = Press("A copy beside it", attempt(self._copy))
        self.away = Press("Take this stack away", attempt(self._away))
        self.lay_picked = Press("Lay the picked pieces", attempt(self._lay_picked))
        self.keep = Press("Keep", attempt(self._keep), hint="the stacks, and how they are looked at")
        self.set_aside = Press("Set their pieces aside", attempt(self._set_aside), hint="for this project")
        controls = column(
            self.mend, self.view, self.distance, row(self.beside, self.copy, self.away, self.lay_picked),
            row(self.keep, self.set_aside), self._settings(now),
        )  # fmt: skip
        return [self.state, self.told, beside(self.table, controls)]

    def _settings(self, now: Laying) -> ipywidgets.Widget:
        attempt = self.desk.attempt
        self.surround = Choice("Looked at on", [(name, name) for name in look.SURROUNDS], now.surround,
                               attempt(self._surround))
        self.on_background = Tick("On the background of the work", now.background is not None, attempt(self._on_own))
        self.background = Slide("How light the background is", 0, 100, 1, now.background or 50.0,
                                attempt(self._background), words="L* {:.0f}".format)
        self.sizes = Line("Cut sizes in inches, bottom first", "", attempt(self._sizes),
                          hint="such as 3 5/8, 2 5/8, 1 7/8; nothing for the usual ones")
        self.rim = Line("Rim in inches", "", attempt(self._rim), hint="such as 1/16")
        self.own_rims = Tick("Rims of another lightness", now.rim_lightness is not None, attempt(self._own_rims))
        self.rims = Slide("How light the rims are", 0, 100, 1, now.rim_lightness or 90.0, attempt(self._rims),
                          words="L* {:.0f}".format)
        return Folded(
            "Sizes, rim and background", self.surround, self.on_background, self.background, self.sizes, self.rim,
            self.own_rims, self.rims,
        )  # fmt: skip

    # --- what the hand does ---

    def _heard(self, content: dict[str, Any]) -> None:
        """What was done on the page, which may say anything."""
        name, number = content.get("name"), content.get("layer")
        place = number if isinstance(number, int) and not isinstance(number, bool) else hand.NONE
        whole = content.get("stack")
        stack = whole if isinstance(whole, int) and not isinstance(whole, bool) else -1
        acts: dict[str, Callable[[], None]] = {
            "lay": lambda: self.lay(str(name)),
            "swap": lambda: self.swap(place, str(name)),
            "lift": lambda: self.lift(place),
            "up": lambda: self.move(place, 1),
            "down": lambda: self.move(place, -1),
            "choose": lambda: self.choose(place),
            "stack": lambda: self.take_up(stack),
        }
        act = acts.get(str(content.get("do")))
        if act is not None:
            act()

    def lay(self, name: str) -> None:
        """Lay a piece on the stack at hand, or swap it in where a layer is chosen."""
        before = hand.cleared(self.desk.session).laying
        after = hand.laid(self.desk.session, name)
        if before.layer != hand.NONE:
            said = f"{name} in the place of {before.hand[before.layer]}."
        else:
            said = f"{name} laid." if len(after.laying.hand) > len(before.hand) else f"{name} lifted out."
        self._change(after, said)

    def swap(self, layer: int, name: str) -> None:
        """Put a piece in the place of a layer of the stack at hand."""
        after = hand.swapped(self.desk.session, layer, name)
        self._change(after, f"{name} in the place of {self._hand[layer]}.")

    def lift(self, layer: int) -> None:
        """Lift a layer out of the stack at hand."""
        after = hand.lifted(self.desk.session, layer)
        self._change(after, f"{self._hand[layer]} lifted out.")

    def move(self, layer: int, by: int) -> None:
        """Have a layer of the stack at hand change places with the one above (1) or below (-1)."""
        after = hand.moved(self.desk.session, layer, by)
        self._change(after, f"{self._hand[layer]} moved {'up' if by > 0 else 'down'}.")

    def choose(self, layer: int) -> None:
        """Choose a layer of the stack at hand, to be swapped by the next tap; the same again for none."""
        now = hand.cleared(self.desk.session)
        chosen = hand.NONE if layer == now.laying.layer else layer
        session = hand.choosing(now, chosen)
        said = "No layer is chosen." if chosen == hand.NONE else (
            f"{now.laying.hand[chosen]} is chosen. Tap the piece to put in its place."
        )
        self.desk.change(session, said)

    @property
    def _hand(self) -> tuple[str, ...]:
        return hand.cleared(self.desk.session).laying.hand

    def take_up(self, stack: int) -> None:
        """Have another stack at hand."""
        session = hand.at_stack(self.desk.session, stack)
        self.desk.change(session, f"Stack {words.LETTERS[stack]} is at hand.")

    def _change(self, session: Session, said: str) -> None:
        judged = self._judge(session, session.laying.at)
        ending = f" {words.finding_words(judged)}" if judged.layers else ""
        self.desk.change(session, f"{said}{ending}{'.' if ending and not ending.endswith('.') else ''}")

    def _better(self) -> None:
        asked = not self.desk.session.laying.better
        self.desk.change(
            hand.looking(self.desk.session, better=asked),
            "What would be better is asked of the pile." if asked else "What would be better is hidden.",
        )
        told = self.table.better
        if told:
            self.desk.say(" ".join([f"{told['head']}.", *told["words"], *(each["words"] for each in told["remedies"])]))

    def _view(self, view: str) -> None:
        session = hand.looking(self.desk.session, view=view)
        self.desk.change(session, f"Seen {view_named(view).words(_viewing(session))}.")

    def _distance(self, value: float, settled: bool) -> None:
        session = hand.looking(self.desk.session, distance_mm=round(1000 * value))
        self._slid(session, settled, f"As seen from {metres(session.laying.distance_mm)}.")

    def _slid(self, session: Session, settled: bool, said: str) -> None:
        if settled:
            self.desk.change(session, said)
        else:
            self.desk.show(session)

    def _beside(self) -> None:
        session = hand.another(self.desk.session)
        self.desk.change(session, f"Stack {words.LETTERS[session.laying.at]} is empty. Tap a piece.")

    def _copy(self) -> None:
        session = hand.another(self.desk.session, copy=True)
        self.desk.change(session, f"Stack {words.LETTERS[session.laying.at]} is a copy. Swap a layer and compare.")

    def _away(self) -> None:
        now = self.desk.session
        self.desk.change(hand.without(now, now.laying.at), f"Stack {words.LETTERS[now.laying.at]} taken away.")

    def _lay_picked(self) -> None:
        self._change(hand.with_picked(self.desk.session), "The picked pieces laid, in the order they were picked.")

    def _surround(self, name: str) -> None:
        self.desk.change(hand.looking(self.desk.session, surround=name), f"On a {name} surround.")

    def _on_own(self, own: bool) -> None:
        lightness = min(max(self.desk.session.laying.around, _GAP), 100 - _GAP) if own else None
        said = f"On a background of L* {lightness:.0f}." if own else "On no background."
        self.desk.change(hand.looking(self.desk.session, background=lightness), said)

    def _background(self, lightness: float, settled: bool) -> None:
        session = hand.looking(self.desk.session, background=float(lightness))
        self._slid(session, settled, f"On a background of L* {lightness:.0f}.")

    def _sizes(self, text: str) -> None:
        session = hand.with_sizes(self.desk.session, text)
        self.desk.change(session, f"Cut to {text}." if text.strip() else "Cut to the usual sizes.")

    def _rim(self, text: str) -> None:
        session = hand.with_rim(self.desk.session, text)
        self.desk.change(session, f"Rims of {length_words(session.laying.rim_mm, 'in')}.")

    def _own_rims(self, other: bool) -> None:
        session = hand.looking(self.desk.session, rim_lightness=self.rims.value if other else None)
        self.desk.change(session, f"Rims of L* {self.rims.value:.0f}." if other else "Rims as they are.")

    def _rims(self, lightness: float, settled: bool) -> None:
        session = hand.looking(self.desk.session, rim_lightness=float(lightness))
        self._slid(session, settled, f"Rims of L* {lightness:.0f}.")

    def _keep(self) -> None:
        self.desk.keep_project(f"The stacks are kept with {self.desk.session.project}.")

    def _set_aside(self) -> None:
        session = hand.cleared(self.desk.session)
        stacks = [layers for layers in session.laying.stacks if len(layers) > 1]
        count = sum(map(len, stacks))
        self.desk.keep(
            f"{count} pieces set aside for {session.project}.",
            lambda catalogue: catalogue.set_aside_stacks(session.project, stacks),
        )

    # --- what is shown ---

    def _watch(self, new: Session, old: Session) -> None:
        if not _same_pile(new, old):
            self.bench = _bench_of(new)
            self._drawn.clear()
            self._judged.clear()
            self._mended = None
            self._lay_out()
        elif new.breaks != old.breaks:
            self._lay_out()
        if new.laying != old.laying or new.picked != old.picked or not _same_pile(new, old) or new.breaks != old.breaks:
            self._show(new)

    def _lay_out(self) -> None:
        """The pieces to tap, which change only with the pile."""
        session = self.desk.session
        known = [piece for piece in session.pieces if piece.known]
        sheet, places = sheet_of_squares([piece.swatch_id for piece in known], self.bench.squares)
        with self.table.hold_sync():
            self.table.groups = list(session.breaks.names)
            self.table.sheet = _as_jpeg(sheet) if places else b""
            self.table.sheet_size = [sheet.shape[1], sheet.shape[0]]
            self.table.tray = [_tray_told(piece, places) for piece in known]

    def _show(self, session: Session) -> None:
        session = hand.cleared(session)
        now, count = session.laying, len(session.laying.stacks)
        self._show_pictures(session)  # first: the eye waits for them, words come a moment later
        judged = [self._judge(session, number) for number in range(count)]
        with self.table.hold_sync():
            self.table.stacks = [
                words.stack_told(number, now, each, session.breaks) for number, each in enumerate(judged)
            ]  # fmt: skip
            self.table.at, self.table.layer = now.at, now.layer
            self.table.lying, self.table.picked = _lying(now), list(session.picked)
            self.table.surround = look.grey_hex(now.around)
            self.table.ink = look.grey_hex(look.legible_on(now.around))
        self._show_words(session, judged)
        self._show_controls(session)
        self._show_better(session, judged[now.at])

    def _show_pictures(self, session: Session) -> None:
        now = session.laying
        sized = replace(now, view="colour")  # sizes are the same in any light, and light takes time
        found = [hand.measured(sized, names, self.bench) for names in now.stacks]
        size = _AROUND * max((each.sides[0] for each in found if each.sides), default=100.0)
        side = _SIDES[len(found)]
        small = words.small_size(size, now.distance_mm, side)
        with self.table.hold_sync():
            self.table.pictures = [png for each in found for png in self._picture(session, each, size, side, small)]
            self.table.sizes = [side, small]
            self.table.small_words = (
                f"The small one, at arm's length, is as large as from {metres(now.distance_mm)}." if small else ""
            )

    def _show_words(self, session: Session, judged: list[Judged]) -> None:
        now = session.laying
        at = judged[now.at]
        letter = f"{words.LETTERS[now.at]}. " if len(judged) > 1 else ""
        self.state.value = letter + words.finding_words(at)
        lit = hand.VIEWS.index(now.view) >= hand.VIEWS.index("lamp")
        how = f"Judged {view_named(now.view).words(_viewing(session))}, " if lit else "Judged "
        self.told.value = (
            f"{how}by what shows of each piece; rims as from {metres(now.distance_mm)}. "
            f"{at.score.points:.0f} of 100 points."
            if at.score else f"{len(session.table)} pieces in the pile, dark to light."
        )  # fmt: skip

    def _show_controls(self, session: Session) -> None:
        now = session.laying
        self.view.offer(_view_options(session), now.view)
        self.distance.show(now.distance_mm / 1000)
        self.mend.label = "Hide what would be better" if now.better else "What would be better here?"
        self.mend.disabled = len(now.hand) < 2 and not now.better
        self.copy.disabled = self.beside.disabled = len(now.stacks) >= hand.MOST_STACKS
        self.away.disabled = len(now.stacks) == 1 and not now.hand
        show_if(bool(session.picked), self.lay_picked)
        show_if(self.desk.catalogue is not None, self.keep, self.set_aside)
        self.set_aside.disabled = not any(len(layers) > 1 for layers in now.stacks)
        self.surround.show(now.surround)
        self.on_background.show(now.background is not None)
        self.own_rims.show(now.rim_lightness is not None)
        show_if(now.background is not None, self.background)
        show_if(now.background is None, self.surround)
        show_if(now.rim_lightness is not None, self.rims)
        for slide, value in ((self.background, now.background), (self.rims, now.rim_lightness)):
            if value is not None:
                slide.show(value)
        self.sizes.show(words.sizes_words(now.sides).removesuffix(" in"))
        self.rim.show(length_words(now.rim_mm, "in").removesuffix(" in"))

    def _show_better(self, session: Session, at: Judged) -> None:
        if not session.laying.better:
            self.table.better = {}
            return
        now = session.laying
        key = (now.stacks, now.at, now.view, now.background, now.rim_mm, now.sides)
        if self._mended is None or self._mended[0] != key:
            levels = {name: surface.lightness for name, surface in self.bench.surfaces(now.view).items()}
            told = words.better_told(now.at, hand.better(now, at, self.bench), levels)
            self._mended = (key, told)
        self.table.better = self._mended[1]

    # --- what is remembered ---

    def _judge(self, session: Session, number: int) -> Judged:
        now = session.laying
        key = (now.stacks[number], now.view, now.distance_mm, now.background, now.rim_mm, now.rim_lightness, now.sides)
        return _remembered(self._judged, key, lambda: hand.judged(now, now.stacks[number], self.bench))

    def _picture(self, session: Session, judged: Judged, size: float, side: int, small: int) -> tuple[bytes, bytes]:
        now = session.laying
        edges = tuple(session.breaks.edges) if now.view == "values" else ()
        key = (judged.names, judged.sides, size, side, small, now.view, now.distance_mm, now.around, now.rim_mm,
               now.rim_lightness, edges)  # fmt: skip
        return _remembered(self._drawn, key, lambda: self._draw(session, judged, size, side, small))

    def _draw(self, session: Session, judged: Judged, size: float, side: int, small: int) -> tuple[bytes, bytes]:
        now = session.laying
        image = glance(
            [self.bench.surfaces()[name] for name in judged.names], judged.sides, self.bench.squares, size_mm=size,
            side=side, around=now.around, rim_mm=now.rim_mm, rim_lightness=now.rim_lightness,
        )  # fmt: skip
        viewing = Viewing(size / side, now.distance_mm, session.breaks)
        seen = seen_as(image, now.view, viewing)
        return as_png(seen), as_png(_small(image, seen, now.view, viewing, small)) if small else b""


def _small(image: Image, seen: Image, view: str, viewing: Viewing, small: int) -> Image:
    """As small as it looks from there, without the eye's blur: the eye that looks at it has its own."""
    if view == "values":  # flat, so that the blur it has hardly shows
        return shrunk(seen, _FINE * small)
    return view_named(view).see(shrunk(image, _FINE * small), viewing)


def _remembered(kept: OrderedDict[Any, T], key: Any, make: Callable[[], T]) -> T:
    if key not in kept:
        kept[key] = make()
    kept.move_to_end(key)
    while len(kept) > _REMEMBERED:
        kept.popitem(last=False)
    return kept[key]


def _bench_of(session: Session) -> Bench:
    return Bench(session.table, fetch_crops(session.crops, [str(name) for name in session.table["swatch_id"]]))


def _same_pile(new: Session, old: Session) -> bool:
    """Whether nothing changed that is drawn or judged: notes and places may have."""
    if new.table is old.table:
        return True
    told = [name for name in new.table.columns if name.startswith("lightness") or name in _TOLD]
    return list(new.table.columns) == list(old.table.columns) and new.table[told].equals(old.table[told])


_TOLD = ("swatch_id", "chroma", "hue_angle", "side", "outline")


def _viewing(session: Session) -> Viewing:
    return Viewing(1.0, session.laying.distance_mm, session.breaks)


def _view_options(session: Session) -> list[tuple[str, str]]:
    return [(view_named(name).words(_viewing(session)), name) for name in hand.VIEWS]


def _tray_told(piece: Piece, places: dict[str, tuple[int, int]]) -> dict[str, Any]:
    place = places.get(piece.swatch_id)
    return {
        "name": piece.swatch_id, "level": piece.lightness_words, "group": piece.group,
        "at": list(place) if place else [], "grey": look.grey_hex(min(max(piece.lightness, 0), 100)),
    }  # fmt: skip


def _lying(now: Laying) -> dict[str, str]:
    """Where each piece lies: the letters of its stacks."""
    found: dict[str, str] = {}
    for number, layers in enumerate(now.stacks):
        for name in layers:
            found[name] = found.get(name, "") + words.LETTERS[number]
    return found


def _as_jpeg(sheet: Any) -> bytes:
    file = io.BytesIO()
    PillowImage.fromarray(sheet).save(file, "JPEG", quality=_SHEET_QUALITY, subsampling=0)
    return file.getvalue()
