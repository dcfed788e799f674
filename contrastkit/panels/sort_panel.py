"""The Sort panel: the pile along its lightness, edges to drag, counts and balance that follow the hand."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import numpy as np
import traitlets
from PIL import Image as PillowImage

from contrastkit.compose.hues import HUE_NAMES
from contrastkit.errors import ContrastkitError
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
    is_number,
    moved,
    row,
    script,
    show_if,
    sprites,
)
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.show import look
from contrastkit.show.crops import encoded

if TYPE_CHECKING:
    from contrastkit.compose.groups import Breaks
    from contrastkit.panels.desk import Desk

_SIDE = 72  # pixels of a piece on the sheet
_MOST_SIDE = {True: _SIDE, False: 36}  # of a few pieces, of many
_MANY = 250


class Strip(anywidget.AnyWidget):
    """
    The pieces along their lightness; what a hand moved or tapped comes as a message.

    `answered` is the number of the last move that was answered: until then the page keeps to the hand.
    """

    _esm = script("strip.js")
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
    answered = traitlets.Float(0.0).tag(sync=True)

    def __init__(self, on_move: Callable[[int, float, bool], object], on_tap: Callable[[str], object]) -> None:
        super().__init__(steps=_munsell_steps())
        self._on_tap = on_tap
        self._on_move = on_move
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        move = moved(content)
        if move is not None:
            if isinstance(move.to, list) and len(move.to) == 2 and all(map(is_number, move.to)):
                self._on_move(int(move.to[0]), float(move.to[1]), move.settled)
            self.answered = move.number
        elif isinstance(content, dict) and isinstance(content.get("tapped"), str):
            self._on_tap(content["tapped"])


class SortPanel(Panel):
    """The panel where the pile is sorted by lightness."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._pictured: tuple[list[str], Any] | None = None
        self._found: tuple[tuple[str, Breaks], Any, set[str]] | None = None
        self._moving = self._behind = False  # an edge is in the hand; all but the counts is as it was before
        super().__init__(desk, *self._parts())
        desk.watch(self._watch)
        self._show(desk.session)

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        now, attempt = self.desk.session.sorting, self.desk.attempt
        self.state, self.verdict = Words(level=3), Words(quiet=True)
        self.state.add_class("ck-strip-state")
        self.strip = Strip(attempt(self._moved), attempt(self._tapped))
        self.told, self.in_view = Words(), Words()
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
            "state": Pick("State", [("any", "")], "", self._filter("state")),
            "tag": Pick("Tag", [("any", "")], "", self._filter("tag")),
            "least_side": Line("At least so large", "", self._filter("least_side"), hint="such as 3 in, or 80 mm"),
            "words": Line("Or in your own words", "", self._filter("words"),
                          hint="such as: medium on red ground at least 3 inches"),
        }
        self.all = Press("Show all again", attempt(self._all))
        fields = list(self.filters.values())
        show_if(self.desk.catalogue is not None, self.filters["words"])
        return [
            self.state, self.strip, self.in_view, self.told,
            row(self.keep, self.drop),
            beside(column(self.method, self.view, self.surround), column(self.count)), self.verdict,
            Folded("Show only some", row(*fields[:4]), row(*fields[4:]), row(self.all)),
        ]

    # --- what the hand does ---

    def _change(self, now: sorting.Sorting, said: str) -> None:
        self.desk.change(replace(self.desk.session, sorting=now), said)

    def _moved(self, place: int, lightness: float, settled: bool) -> None:
        now = replace(self.desk.session, sorting=sorting.with_edge(self.desk.session, place, lightness))
        if settled:
            self.desk.change(now, sorting.edge_sentence(now, place))
            return
        self._moving = True
        try:
            self.desk.show(now)
        finally:
            self._moving = False

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
                session = replace(self.desk.session, sorting=now)
                count = len(sorting.names_in_view(session, self._named(session)))
            except ContrastkitError as error:
                field.problem = str(error)
                return
            field.problem = "" if count else self._hint(session, name)
            self.desk.change(session, f"{count} of {len(session.pieces)} pieces in view.")

        return asked

    def _named(self, session: Session) -> set[str] | None:
        """Names that the catalogue finds by the filter in words, in these groups; None where nothing is asked for."""
        words, catalogue = session.sorting.shown.words, self.desk.catalogue
        if not words or catalogue is None:
            return None
        asked = words, session.breaks
        if self._found is None or self._found[0] != asked or self._found[1] is not session.table:
            self._found = asked, session.table, set(catalogue.names(words, breaks=session.breaks))
        return self._found[2]

    def _hint(self, session: Session, name: str) -> str:
        """Why a filter in words may have found nothing."""
        if name != "words" or self.desk.catalogue is None:
            return ""
        return " ".join(self.desk.catalogue.hints(session.sorting.shown.words, breaks=session.breaks))

    def _all(self) -> None:
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
        if self._moving:
            self._show_counts(new)
            self._behind = True
        elif self._behind or new.table is not old.table or new.sorting != old.sorting:
            self._show(new)
            self._behind = False
        elif new.picked != old.picked:
            self._show_picked(new)

    def _show(self, session: Session) -> None:
        now = session.sorting
        names = sorting.names_in_view(session, self._named(session))
        shown = names[: sorting.MOST_SHOWN]
        pieces = [session.by_name[name] for name in shown]
        tone = look.SURROUNDS[now.surround]
        with self.strip.hold_sync():
            self._show_pictures(session, shown)
            self.strip.pieces = [
                [each.swatch_id, each.lightness, words, each.borderline]
                for each, words in zip(pieces, sorting.piece_sentences(session, pieces), strict=True)
            ]
            self.strip.greys = [look.grey_hex(each.lightness) for each in pieces]
            self.strip.all = [piece.lightness for piece in session.pieces if piece.known]
            self.strip.view, self.strip.surround = now.view, look.grey_hex(tone)
            self.strip.ink = look.grey_hex(look.legible_on(tone))
            self.strip.label = f"{len(shown)} {'piece' if len(shown) == 1 else 'pieces'} from dark to light"
            self._show_counts(session)
        self.verdict.show(sorting.verdict_sentence(session))
        self.in_view.show(sorting.view_sentence(session, len(names)))
        self._show_fields(session)
        self._show_picked(session)

    def _show_counts(self, session: Session) -> None:
        """What changes while an edge is in the hand."""
        pile = session.sorted
        self.state.show(pile.balance if len(session.table) else "The pile is empty: photograph some pieces.")
        with self.strip.hold_sync():
            self.strip.groups = [[group.name, group.borderline] for group in pile.groups]
            self.strip.edges = list(map(float, pile.breaks.edges))

    def _show_pictures(self, session: Session, names: list[str]) -> None:
        if self._pictured is not None and self._pictured[0] == names and self._pictured[1] is session.crops:
            return
        self._pictured = names, session.crops
        side = _MOST_SIDE[len(names) <= _MANY]
        sheet, places = sprites(fetch_crops(session.crops, names), side)
        pixels = np.asarray(PillowImage.open(io.BytesIO(sheet)).convert("RGBA"))
        self.strip.side, self.strip.sheet_size = side, [pixels.shape[1], pixels.shape[0]]
        self.strip.colour, self.strip.grey = sheet, as_png(_in_grey(pixels))
        self.strip.places = {name: list(place) for name, place in places.items()}

    def _show_fields(self, session: Session) -> None:
        now = session.sorting
        self.method.show(now.grouping.method)
        self.count.show(now.grouping.groups)
        self.view.show(now.view)
        self.surround.show(now.surround)
        for name, column_name in (("ground", "ground"), ("state", "state"), ("tag", "tags")):
            words = sorting.words_in(session.table, column_name)
            self.filters[name].offer([("any", ""), *((word, word) for word in words)], getattr(now.shown, name))
            show_if(bool(words), self.filters[name])
        for name in ("hue", "words"):
            self.filters[name].show(getattr(now.shown, name))
        for name, column_name in (("hue", "chroma"), ("least_side", "side")):
            show_if(column_name in session.table, self.filters[name])
        least = self.filters["least_side"]
        if sorting.side_of(least.value) != now.shown.least_side:
            least.show(f"{now.shown.least_side:g} mm" if now.shown.least_side else "")

    def _show_picked(self, session: Session) -> None:
        self.strip.picked = list(session.picked)
        self.told.show(sorting.picked_sentence(session))
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
