"""The Sort panel: the pile along its lightness, edges to drag, counts and balance that follow the hand."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import numpy as np
import traitlets
from PIL import Image as PillowImage

from contrastkit.compose.hues import HUE_NAMES
from contrastkit.errors import ContrastkitError
from contrastkit.keep.filters import STATES
from contrastkit.light.lightness import munsell_value_to_lightness, srgb1_to_linear
from contrastkit.panels import sorting
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import (
    Choice,
    Folded,
    Line,
    Pick,
    Press,
    Words,
    as_png,
    beside,
    column,
    row,
    show_if,
    sprites,
)
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.show import look
from contrastkit.show.crops import encoded

if TYPE_CHECKING:
    from contrastkit.panels.desk import Desk

_SIDE = 72  # pixels of a piece on the sheet
_MOST_SIDE = {True: _SIDE, False: 36}  # of a few pieces, of many
_MANY = 250


class Strip(anywidget.AnyWidget):
    """The pieces along their lightness; `moved` is what a hand did to an edge, `tapped` comes as a message."""

    _esm = Path(__file__).with_name("strip.js")
    label = traitlets.Unicode("").tag(sync=True)
    pieces: Any = traitlets.List().tag(sync=True)  # name, L*, words, whether borderline; dark to light
    greys: Any = traitlets.List().tag(sync=True)
    all: Any = traitlets.List().tag(sync=True)  # L* of every piece that is counted
    places: Any = traitlets.Dict().tag(sync=True)
    side = traitlets.Int(_SIDE).tag(sync=True)
    sheet_size: Any = traitlets.List([0, 0]).tag(sync=True)
    colour = traitlets.Bytes(b"").tag(sync=True)
    grey = traitlets.Bytes(b"").tag(sync=True)
    view = traitlets.Unicode("colour").tag(sync=True)
    edges: Any = traitlets.List().tag(sync=True)
    groups: Any = traitlets.List().tag(sync=True)  # name, how many are borderline
    gap = traitlets.Float(sorting.LEAST_GAP).tag(sync=True)
    picked: Any = traitlets.List().tag(sync=True)
    steps: Any = traitlets.List().tag(sync=True)
    surround = traitlets.Unicode("").tag(sync=True)
    ink = traitlets.Unicode("").tag(sync=True)
    moved: Any = traitlets.List().tag(sync=True)

    def __init__(self, on_move: Callable[[int, float, bool], object], on_tap: Callable[[str], object]) -> None:
        super().__init__(steps=_munsell_steps())
        self._on_tap = on_tap
        self.observe(lambda change: _told(change["new"], on_move), "moved")
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        if isinstance(content, dict) and isinstance(content.get("tapped"), str):
            self._on_tap(content["tapped"])


def _told(moved: Any, on_move: Callable[[int, float, bool], object]) -> None:
    # from a page: a place, an L*, whether the hand has let go
    if len(moved) >= 3 and all(isinstance(each, int | float) for each in moved[:3]):
        on_move(int(moved[0]), float(moved[1]), bool(moved[2]))


class SortPanel(Panel):
    """The panel where the pile is sorted by lightness."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._pictured: tuple[str, ...] = ()
        self._named: set[str] | None = None
        super().__init__(desk, *self._parts())
        desk.watch(self._watch)
        self._show(desk.session, everything=True)

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        now, attempt = self.desk.session.sorting, self.desk.attempt
        self.state, self.verdict = Words(level=3), Words(quiet=True)
        self.strip = Strip(attempt(self._moved), attempt(self._tapped))
        self.told = Words()
        self.too_many = Words()
        self.method = Choice("Edges", sorting.METHODS, now.grouping.method, attempt(self._method))
        self.count = Pick("Groups", [(str(count), count) for count in range(2, 10)], now.grouping.groups,
                          attempt(self._count))
        self.view = Choice("Seen", sorting.VIEWS, now.view, attempt(self._view))
        self.surround = Choice("On", [(name, name) for name in look.SURROUNDS], now.surround, attempt(self._surround))
        self.keep = Press("Keep these edges", attempt(self._keep), main=True)
        self.drop = Press("Let go of all picks", attempt(self._drop))
        self.filters = {
            "ground": Pick("On ground", [("any", "")], "", self._filter("ground")),
            "hue": Pick("Hue", [("any", ""), *((hue, hue) for hue in HUE_NAMES)], "", self._filter("hue"),
                        hint="by hue angle; the limits are ours"),
            "state": Pick("State", [("any", ""), *((state, state) for state in STATES)], "", self._filter("state")),
            "tag": Pick("Tag", [("any", "")], "", self._filter("tag")),
            "least_side": Line("At least so large", "", self._filter("least_side"), hint="such as 3 in, or 80 mm"),
            "words": Line("Or in your own words", "", self._filter("words"),
                          hint="such as: medium on red ground at least 3 inches"),
        }
        self.all = Press("Show all again", attempt(self._all))
        fields = list(self.filters.values())
        show_if(self.desk.catalogue is not None, self.filters["words"])
        return [
            self.state, self.verdict, self.strip, self.too_many, self.told,
            row(self.keep, self.drop),
            beside(column(self.method, self.view, self.surround), column(self.count)),
            Folded("Show only some", row(*fields[:4]), row(*fields[4:]), row(self.all)),
        ]

    # --- what the hand does ---

    def _change(self, now: sorting.Sorting, said: str) -> None:
        self.desk.change(replace(self.desk.session, sorting=now), said)

    def _moved(self, place: int, lightness: float, settled: bool) -> None:
        now = replace(self.desk.session, sorting=sorting.with_edge(self.desk.session, place, lightness))
        if settled:
            self.desk.change(now, sorting.edge_sentence(now, place))
        else:
            self.desk.show(now)

    def _method(self, method: str) -> None:
        self._change(sorting.with_method(self.desk.session.sorting, method), "Sorted anew.")

    def _count(self, count: int) -> None:
        self._change(sorting.with_count(self.desk.session.sorting, count), f"Sorted into {count} groups.")

    def _view(self, view: str) -> None:
        self._change(sorting.with_view(self.desk.session.sorting, view),
                     dict((each, words) for words, each in sorting.VIEWS)[view].capitalize() + ".")

    def _surround(self, surround: str) -> None:
        self._change(sorting.with_surround(self.desk.session.sorting, surround), f"On a {surround} surround.")

    def _filter(self, name: str) -> Callable[[str], None]:
        def asked(word: str) -> None:
            field = self.filters[name]
            try:
                now = sorting.with_shown(self.desk.session, name, word)
                if name == "words":
                    self._named = self._find(word)
            except ContrastkitError as error:
                field.problem = str(error)
                return
            field.problem = ""
            session = replace(self.desk.session, sorting=now)
            count = len(sorting.names_in_view(session, self._named))
            self.desk.change(session, f"{count} of {len(session.pieces)} pieces in view.")

        return asked

    def _find(self, words: str) -> set[str] | None:
        """Names that the catalogue finds; all, where nothing is asked for."""
        if not words.strip() or self.desk.catalogue is None:
            return None
        return set(self.desk.catalogue.names(words))

    def _all(self) -> None:
        self._named = None
        for field in self.filters.values():
            field.problem = ""
        self._change(replace(self.desk.session.sorting, shown=sorting.Shown()), "All pieces are in view.")

    def _tapped(self, name: str) -> None:
        now = self.desk.session.picking(name)
        self.desk.change(now, f"{'Picked' if name in now.picked else 'Let go of'} {name}.")

    def _drop(self) -> None:
        self.desk.change(replace(self.desk.session, picked=()), "Nothing is picked.")

    def _keep(self) -> None:
        edges = ", ".join(f"{edge:.1f}".removesuffix(".0") for edge in self.desk.session.breaks.edges)
        self.desk.keep_project(f"Edges at L* {edges} are kept with {self.desk.session.project}.")

    # --- what is in view ---

    def _watch(self, new: Session, old: Session) -> None:
        if new.table is not old.table or new.sorting != old.sorting:
            only_edges = new.table is old.table and new.sorting.shown == old.sorting.shown
            self._show(new, everything=not only_edges)
        elif new.picked != old.picked:
            self._show_picked(new)

    def _show(self, session: Session, *, everything: bool) -> None:
        now, pile = session.sorting, session.sorted
        if not now.shown.words:
            self._named = None
        names = sorting.names_in_view(session, self._named)
        self._show_words(session, len(names))
        shown = names[: sorting.MOST_SHOWN]
        pieces = [session.by_name[name] for name in shown]
        tone = look.SURROUNDS[now.surround]
        with self.strip.hold_sync():
            if everything:
                self._show_pictures(session, shown)
            self.strip.pieces = [
                [each.swatch_id, round(each.lightness, 2), sorting.piece_sentence(session, each), each.borderline]
                for each in pieces
            ]
            self.strip.greys = [look.grey_hex(each.lightness) for each in pieces]
            self.strip.all = [round(piece.lightness, 2) for piece in session.pieces if piece.known]
            self.strip.edges = list(map(float, pile.breaks.edges))
            self.strip.groups = [[group.name, group.borderline] for group in pile.groups]
            self.strip.view, self.strip.surround = now.view, look.grey_hex(tone)
            self.strip.ink = look.grey_hex(look.legible_on(tone))
            self.strip.label = f"{len(shown)} pieces from dark to light"
        self._show_fields(session)
        self._show_picked(session)

    def _show_pictures(self, session: Session, names: list[str]) -> None:
        if tuple(names) == self._pictured:
            return
        self._pictured = tuple(names)
        side = _MOST_SIDE[len(names) <= _MANY]
        sheet, places = sprites(fetch_crops(session.crops, names), side)
        pixels = np.asarray(PillowImage.open(io.BytesIO(sheet)).convert("RGBA"))
        self.strip.side, self.strip.sheet_size = side, [pixels.shape[1], pixels.shape[0]]
        self.strip.colour, self.strip.grey = sheet, as_png(_in_grey(pixels))
        self.strip.places = {name: list(place) for name, place in places.items()}

    def _show_words(self, session: Session, count: int) -> None:
        self.state.show(session.sorted.balance if len(session.pieces) else "The pile is empty: photograph some pieces.")
        self.verdict.show(session.sorted.verdict if len(session.pieces) > 2 else "")
        left = count - sorting.MOST_SHOWN
        self.too_many.show(f"{left} more are not shown: ask for fewer under “Show only some”." if left > 0 else "")

    def _show_fields(self, session: Session) -> None:
        now = session.sorting
        self.method.show(now.grouping.method)
        self.count.show(now.grouping.groups)
        self.view.show(now.view)
        self.surround.show(now.surround)
        for name, column_name in (("ground", "ground"), ("tag", "tags")):
            words = sorting.words_in(session.table, column_name)
            self.filters[name].offer([("any", ""), *((word, word) for word in words)], getattr(now.shown, name))
            show_if(bool(words), self.filters[name])
        for name in ("hue", "state", "words"):
            self.filters[name].show(getattr(now.shown, name))
        if not now.shown.least_side:
            self.filters["least_side"].show("")

    def _show_picked(self, session: Session) -> None:
        self.strip.picked = list(session.picked)
        words = [sorting.piece_sentence(session, session.by_name[name]) for name in session.picked[-3:]]
        more = len(session.picked) - len(words)
        self.told.show(" ".join(words) + (f" And {more} more picked." if more > 0 else ""))
        self.drop.disabled = not session.picked


def _in_grey(pixels: Any) -> Any:
    """Every pixel the grey of its own L*, alpha kept: 8-bit sRGB with alpha in and out."""
    decoded = srgb1_to_linear(np.arange(256) / 255).astype(np.float32)[pixels[..., :3]]
    grey = encoded(decoded @ np.array((0.2126, 0.7152, 0.0722), np.float32))
    return np.dstack([grey, grey, grey, pixels[..., 3]])


def _munsell_steps() -> list[list[Any]]:
    """From and to which L* a step of Munsell value reaches, its grey, that of its figure, and the figure."""
    steps = []
    for value in range(11):
        low, tone, high = (float(munsell_value_to_lightness(min(max(each, 0), 10)))
                           for each in (value - 0.5, value, value + 0.5))
        ink = look.grey_hex(look.legible_on(tone))
        steps.append([round(low, 2), round(high, 2), look.grey_hex(tone), ink, str(value)])
    return steps
