"""The Explore panel: the palette by lightness, hue and vividness, and the pairs that colour fools the eye with."""

from __future__ import annotations

import io
import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import traitlets
from PIL import Image as PillowImage

from contrastkit.compose.hues import HUES, hue_name
from contrastkit.panels import exploring
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import Choice, Folded, Press, Rows, Slide, Words, beside, row, script, show_if, sprites
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.panels.sorting import picked_sentence
from contrastkit.show import look

if TYPE_CHECKING:
    from contrastkit.panels.desk import Desk

_SIDE = 56  # pixels of a piece on the sheet
_MANY = 250  # pieces from which on they are half as large on the sheet
_MOST = 1000
"""More pieces than a field shows so that each can be seen."""
_NOTHING = {
    "value": "No two pieces differ much in colour and hardly in value.",
    "hue": "No two pieces are of one hue and far apart in value.",
    "vivid": "No piece looks much lighter than it measures.",
}


class _Part(anywidget.AnyWidget):
    # what both parts know: where on the sheet each piece is, and which are picked; what is tapped comes as a message
    _esm = script("field.js")
    kind = traitlets.Unicode("").tag(sync=True)
    sheet_number = traitlets.Unicode("").tag(sync=True)
    places: Any = traitlets.Dict().tag(sync=True)
    side = traitlets.Int(_SIDE).tag(sync=True)
    sheet_size: Any = traitlets.List([0, 0]).tag(sync=True)
    picked: Any = traitlets.List().tag(sync=True)
    surround = traitlets.Unicode("").tag(sync=True)
    ink = traitlets.Unicode("").tag(sync=True)

    def __init__(self, kind: str, sheet_number: str, on_tap: Callable[[Sequence[str]], object]) -> None:
        super().__init__(kind=kind, sheet_number=sheet_number)
        self._on_tap = on_tap
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        names = content.get("tapped") if isinstance(content, dict) else None
        if isinstance(names, list) and names and all(isinstance(name, str) for name in names):
            self._on_tap(names)


class Fields(_Part):
    """The palette in two fields."""

    points: Any = traitlets.List().tag(sync=True)  # name, L*, hue angle, chroma, words, grey
    fields: Any = traitlets.List().tag(sync=True)
    sheet = traitlets.Bytes(b"").tag(sync=True)


class Pairs(_Part):
    """A list of pairs, or of single pieces, each told in a sentence."""

    label = traitlets.Unicode("").tag(sync=True)
    found: Any = traitlets.List().tag(sync=True)  # names, words, greys


class ExplorePanel(Panel):
    """The panel where the palette is looked at."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._pictured: tuple[list[str], Any] | None = None
        super().__init__(desk, *self._parts())
        desk.watch(self._watch)
        self._show(desk.session)

    def _parts(self) -> list[ipywidgets.Widget]:
        now, attempt = self.desk.session.exploring, self.desk.attempt
        self.state, self.told, self.nothing, self.too_many = Words(level=3), Words(), Words(quiet=True), Words()
        number = secrets.token_hex(8)
        self.fields = Fields("fields", number, attempt(self._tapped))
        self.pairs = Pairs("pairs", number, attempt(self._tapped))
        self.listed = Choice("Listed", exploring.LISTS, now.listed, attempt(self._listed))
        self.within = Slide("Values called alike within", 1, 20, 1, now.within, self._within, words="{:g} L*".format)
        self.surround = Choice("On", [(name, name) for name in look.SURROUNDS], now.surround, attempt(self._surround))
        self.drop = Press("Let go of all picks", attempt(self._drop))
        self.rows = Rows("The palette in numbers", ("piece", "L*", "group", "hue", "hue angle", "vividness (C*ab)"))
        return [
            self.state, self.too_many, self.fields, self.told, row(self.drop, self.surround),
            beside(self.listed, self.within), self.nothing, self.pairs, Folded("The palette in numbers", self.rows),
        ]

    # --- what the hand does ---

    def _change(self, now: exploring.Exploring, said: str) -> None:
        self.desk.change(replace(self.desk.session, exploring=now), said)

    def _tapped(self, names: Sequence[str]) -> None:
        session = self.desk.session
        if set(names) <= set(session.picked):
            wanted = [name for name in names if name in session.picked]
        else:
            wanted = [name for name in names if name not in session.picked]
        for name in wanted:
            session = session.picking(name)
        verb = "Picked" if wanted and wanted[0] in session.picked else "Let go of"
        self.desk.change(session, f"{verb} {' and '.join(names)}.")

    def _listed(self, listed: str) -> None:
        words = dict((each, words) for words, each in exploring.LISTS)[listed]
        self._change(exploring.with_list(self.desk.session.exploring, listed), f"Listed: {words}.")

    def _within(self, within: float, settled: bool) -> None:
        now = replace(self.desk.session, exploring=exploring.with_within(self.desk.session.exploring, within))
        if settled:
            self.desk.change(now, f"Alike within {within:g} L*.")
        else:
            self.desk.show(now)

    def _surround(self, surround: str) -> None:
        self._change(exploring.with_surround(self.desk.session.exploring, surround), f"On a {surround} surround.")

    def _drop(self) -> None:
        self.desk.change(replace(self.desk.session, picked=()), "Nothing is picked.")

    # --- what is in view ---

    def _watch(self, new: Session, old: Session) -> None:
        if new.table is not old.table or new.exploring.surround != old.exploring.surround:
            self._show(new)
        elif new.exploring != old.exploring:
            self._show_found(new)
        elif new.breaks != old.breaks:
            self._show_words(new)
        if new.picked != old.picked:
            self._show_picked(new)

    def _show(self, session: Session) -> None:
        points = exploring.points(session)
        shown, left = points[:_MOST], max(0, len(points) - _MOST)
        self.state.show(exploring.state_sentence(session))
        self.too_many.show(f"{left} more, the lightest, are not shown: the fields hold {_MOST}." if left else "")
        with self.fields.hold_sync(), self.pairs.hold_sync():
            self._show_fields(session, shown)
            self._show_words(session)
            self._show_found(session)
        self.surround.show(session.exploring.surround)
        self._show_picked(session)

    def _show_fields(self, session: Session, shown: list[tuple[str, float, float, float]]) -> None:
        tone = look.SURROUNDS[session.exploring.surround]
        self._show_pictures(session, [name for name, *_ in shown])
        for part in (self.fields, self.pairs):
            part.surround, part.ink = look.grey_hex(tone), look.grey_hex(look.legible_on(tone))
        most = max([40.0, *(chroma for *_, chroma in shown)])
        self.fields.fields = [
            {"title": "Lightness across, hue up", "low": 0, "high": 360, "up": "hue", "marks": _hue_marks()},
            {"title": "Lightness across, vividness up", "low": 0, "high": most, "up": "chroma",
             "marks": [[0, "grey"], [most, "vivid"]]},
        ]

    def _show_words(self, session: Session) -> None:
        """The words for each piece; they name its group."""
        points = exploring.points(session)[:_MOST]
        self.fields.points = [
            [name, lightness, hue, chroma, _words(session, name, hue, chroma), look.grey_hex(lightness)]
            for name, lightness, hue, chroma in points
        ]
        of = session.by_name
        self.rows.fill([
            (name, of[name].lightness_words, of[name].group, hue_name(chroma, hue), f"{hue:.0f}°", f"{chroma:.0f}")
            for name, _, hue, chroma in points
        ])  # fmt: skip
        self.told.show(picked_sentence(session))

    def _show_found(self, session: Session) -> None:
        now, found, of = session.exploring, exploring.found(session), session.by_name
        self.pairs.label = dict((each, words) for words, each in exploring.LISTS)[now.listed]
        self.pairs.found = [
            [list(each.names), each.sentence, [look.grey_hex(of[name].lightness) for name in each.names]]
            for each in found
        ]
        self.nothing.show("" if found or not self.fields.points else _NOTHING[now.listed])
        show_if(now.listed == "value", self.within)
        self.listed.show(now.listed)
        self.within.show(now.within)

    def _show_pictures(self, session: Session, names: list[str]) -> None:
        if self._pictured is not None and self._pictured[0] == names and self._pictured[1] is session.crops:
            return
        self._pictured = names, session.crops
        side = _SIDE if len(names) <= _MANY else _SIDE // 2
        sheet, places = sprites(fetch_crops(session.crops, names), side)
        size = list(PillowImage.open(io.BytesIO(sheet)).size)
        self.fields.sheet = sheet
        for part in (self.fields, self.pairs):
            part.side, part.sheet_size = side, size
            part.places = {name: list(place) for name, place in places.items()}

    def _show_picked(self, session: Session) -> None:
        self.fields.picked = self.pairs.picked = list(session.picked)
        self.told.show(picked_sentence(session))
        self.drop.disabled = not session.picked


def _words(session: Session, name: str, hue: float, chroma: float) -> str:
    piece = session.by_name[name]
    return f"{name}: L* {piece.lightness_words}, {piece.group}, hue {hue:.0f}°, vividness {chroma:.0f}"


def _hue_marks() -> list[list[Any]]:
    """Where each hue's word stands: in the middle of its reach; red's, which goes through 0, at its foot."""
    starts = sorted((start, name) for name, start in HUES if name != "red")
    first = starts[0][0]
    ends = [start for start, _ in starts[1:]] + [345.0]
    marks: list[list[Any]] = [[first / 2, "red"]]
    return marks + [[(start + end) / 2, name] for (start, name), end in zip(starts, ends, strict=True)]
