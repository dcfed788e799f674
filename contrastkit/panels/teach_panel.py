"""The Teach panel: sort by eye, see what was misplaced and why, how the class did; charts and handouts for it."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import traitlets

from contrastkit.compose.exercise import LEVELS, MOST
from contrastkit.errors import InvalidInputError
from contrastkit.panels import teaching
from contrastkit.panels.aside import Aside
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import (
    Choice,
    Folded,
    Line,
    Pick,
    Press,
    Rows,
    Words,
    column,
    row,
    script,
    show_if,
    sprites,
)
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.panels.teach_parts import ChartsPart, HandoutsPart
from contrastkit.panels.teaching import Teaching
from contrastkit.show import look
from contrastkit.show.words import two_decimals

if TYPE_CHECKING:
    from contrastkit.panels.desk import Desk

_SIDE = 84  # pixels of a piece on the page
_LEVEL_WORDS = {"far apart": "far apart in value", "vivid": "half of them vivid, where eyes go wrong"}


class Arrangement(anywidget.AnyWidget):
    """Pieces under numbers that are moved into an order; `order` is their numbers, dark to light."""

    _esm = script("order.js")
    label = traitlets.Unicode("Swatches from dark to light").tag(sync=True)
    sheet = traitlets.Bytes(b"").tag(sync=True)
    places: Any = traitlets.Dict().tag(sync=True)
    side = traitlets.Int(_SIDE).tag(sync=True)
    order: Any = traitlets.List().tag(sync=True)
    marks: Any = traitlets.Dict().tag(sync=True)
    locked = traitlets.Bool(False).tag(sync=True)
    surround = traitlets.Unicode("").tag(sync=True)
    ink = traitlets.Unicode("").tag(sync=True)

    def __init__(self, on_order: Callable[[Any], object]) -> None:
        super().__init__()
        self._on_order, self._quiet = on_order, False
        self.observe(self._moved, "order")

    def show(self, **traits: Any) -> None:
        """Show other pieces or another order, without doing what a hand's move would do."""
        self._quiet = True
        try:
            with self.hold_sync():
                for name, value in traits.items():
                    setattr(self, name, value)
        finally:
            self._quiet = False

    def _moved(self, change: Any) -> None:
        if not self._quiet:
            self._on_order(change["new"])


class TeachPanel(Panel):
    """
    The panel where learners sort swatches by eye, with charts to teach with and handouts folded away below.

    Parameters
    ----------
    desk : what it is about
    today : the date that results are kept under; today's, if not given
    """

    def __init__(self, desk: Desk, *, today: datetime.date | None = None) -> None:
        self.desk = desk
        self._today = today
        self._pictured: tuple[str, ...] = ()
        self.count, self.level, self.seed = 12, LEVELS[0], 1
        super().__init__(desk, *self._parts())
        desk.watch(self._watch)
        self._show()

    @property
    def _teaching(self) -> Teaching:
        return self.desk.session.teaching

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        attempt = self.desk.attempt
        self.state = Words(level=3)
        self.how = Words(
            "Lay the pieces from dark, left, to light, right: drag them, or press one and move it with the arrow keys. "
            "Drop a piece onto another if the two look equal. Squint: colour fools, value does not.", quiet=True,
        )
        self.arrangement = Arrangement(attempt(self._arranged))
        on = [(name, name) for name in look.SURROUNDS]
        self.surround = Choice("On", on, "middle", lambda _: self._show_surround())
        self.learner = Line("Name or initials", "", attempt(self._named))
        self.give_in = Press("Give in this order", attempt(self._given_in), main=True)
        self.next = Press("Next learner", attempt(self._next), main=True)
        self.result = [Words() for _ in range(3)]
        heads = ("number", "piece", "put", "belongs", "by", "what may have led the eye")
        self.misplaced = Rows("To look at again", heads)
        counts = [(str(count), count) for count in (6, 8, 12, 16, 20, 30, MOST)]
        self.pieces = Pick("How many pieces", counts, self.count, self._set("count"))
        self.difficulty = Choice("Pieces", [(_LEVEL_WORDS[level], level) for level in LEVELS], self.level,
                                 self._set("level"))
        self.begin = Press("Begin a new exercise", attempt(self._begin))
        self.pooled = Rows("The class on this exercise", ("learner", "in order", "tau-b", "rho"))
        heads = ("learner", "date", "exercise", "in order", "tau-b", "since the first alike")
        self.weeks = Rows("From week to week", heads)
        self.class_words = Words()
        self.keep = Press("Keep the results", attempt(self._keep))
        self.class_part = Folded("How the class did", self.class_words, self.pooled, self.weeks, row(self.keep))
        self.new_part = Folded("Another exercise", row(self.pieces), self.difficulty, row(self.begin))
        return [
            self.state, self.how, self.arrangement, self.surround, row(self.learner, self.give_in, self.next),
            column(*self.result, self.misplaced), self.new_part, self.class_part, *self._paper_parts(),
        ]

    def _paper_parts(self) -> list[ipywidgets.Widget]:
        """Charts and handouts; heading and paper are one for both, and in view in both."""
        attempt, aside = self.desk.attempt, Aside("teaching")
        self.heading = Line("Your own heading", self._teaching.heading, self._headed,
                            hint="on every page, such as Tuesday class")
        self.heading.layout.flex = "0 1 420px"
        self.paper = Choice("Paper", [("A4", "A4"), ("US Letter", "Letter")], self._teaching.paper,
                            attempt(self._on_paper))
        self.keep_look = Press("Keep heading and paper", attempt(self._keep_look))
        own = row(self.heading, self.paper, self.keep_look)
        self.charts = ChartsPart(self.desk, aside, self._day, own)
        self.handouts = HandoutsPart(self.desk, aside, self._day, own)
        return [self.charts, self.handouts]

    def _day(self) -> datetime.date:
        return self._today or datetime.date.today()

    def _set(self, name: str) -> Callable[[Any], None]:
        return lambda value: setattr(self, name, value)

    # --- what the hand does ---

    def _change(self, now: Teaching, said: str) -> None:
        self.desk.change(replace(self.desk.session, teaching=now), said)

    def _begin(self) -> None:
        taken = [each.exercise.seed for each in self._teaching.results]
        if self._teaching.exercise is not None:
            taken.append(self._teaching.exercise.seed)
        seed = max([0, *taken]) + 1
        now = teaching.begun(self._teaching, self.desk.session.table, count=self.count, level=self.level, seed=seed)
        self._change(now, f"Exercise {seed} is laid out: {self.count} pieces.")
        if self.new_part.is_open:
            self.new_part.turn()

    def _arranged(self, places: Any) -> None:
        try:
            now = teaching.arranged(self._teaching, places)
        except (InvalidInputError, TypeError) as error:
            self._show()
            raise InvalidInputError(str(error)) from error
        if now != self._teaching:
            self._change(now, "A piece was moved.")

    def _named(self, name: str) -> None:
        self.desk.show(replace(self.desk.session, teaching=teaching.named(self._teaching, name)))

    def _given_in(self) -> None:
        now = teaching.given_in(self._teaching, today=self._day())
        self._change(now, f"Given in by {now.learner}.")

    def _next(self) -> None:
        self._change(teaching.again(self._teaching), "Laid out anew for the next learner.")

    def _keep(self) -> None:
        count = len(self._teaching.results)
        self.desk.keep_project(f"{count} {'result is' if count == 1 else 'results are'} kept with "
                               f"{self.desk.session.project}.")

    def _headed(self, heading: str) -> None:
        self.heading.problem = ""
        try:
            now = teaching.headed(self._teaching, heading)
        except InvalidInputError as error:
            self.heading.problem = str(error)
            return
        if now != self._teaching:
            self._change(now, f"The heading is {now.heading}." if now.heading else "There is no heading.")

    def _on_paper(self, paper: str) -> None:
        self._change(teaching.on_paper(self._teaching, paper), f"All is printed on {paper}.")

    def _keep_look(self) -> None:
        self.desk.keep_project(f"Heading and paper are kept with {self.desk.session.project}.")

    # --- what is in view ---

    def _watch(self, new: Session, old: Session) -> None:
        if new.teaching != old.teaching or new.table is not old.table:
            self._show()
        if not _same_pile(new, old):
            self.charts.forget()
            self.handouts.forget()
        self.charts.refresh()
        self.handouts.refresh()

    def _show(self) -> None:
        session, now = self.desk.session, self._teaching
        under_way = now.exercise is not None and set(now.exercise.pieces) <= set(session.table["swatch_id"])
        self.state.show(self._state_words(session, under_way))
        show_if(under_way, self.how, self.arrangement, self.surround, self.learner)
        show_if(under_way and not now.judged, self.give_in)
        show_if(under_way and now.judged, self.next)
        self.begin.main = not under_way
        self.learner.show(now.learner)
        self.learner.disabled = now.judged
        if not self.heading.problem:
            self.heading.show(now.heading)
        self.paper.show(now.paper)
        if under_way:
            self._show_arrangement(session)
        else:
            self.arrangement.show(order=[], marks={})
        self._show_result(session, under_way and now.judged)
        self._show_class(session, under_way)
        if not under_way and not self.new_part.is_open:
            self.new_part.turn()

    def _state_words(self, session: Session, under_way: bool) -> str:
        now = self._teaching
        if under_way and now.exercise is not None:
            count = len(now.exercise.pieces)
            done = f", given in by {now.learner}" if now.judged else ""
            return f"Exercise {now.exercise.seed}: sort {count} pieces from dark to light{done}"
        known = int(session.table["lightness"].notna().sum())
        if known < 3:
            return f"The pile has {known} measured pieces; an exercise takes 3 or more. Photograph some first."
        return f"The pile has {known} measured pieces. Begin an exercise."

    def _show_arrangement(self, session: Session) -> None:
        exercise = self._teaching.exercise
        assert exercise is not None
        if self._pictured != exercise.pieces:
            crops = fetch_crops(session.crops, list(exercise.pieces))
            sheet, places = sprites({name: crops[name][..., :4] for name in exercise.pieces if name in crops}, _SIDE)
            numbered = {str(exercise.number_of(name)): list(place) for name, place in places.items()}
            self.arrangement.show(sheet=sheet, places=numbered)
            self._pictured = exercise.pieces
        marks = {}
        if self._teaching.judged:
            moved = teaching.judged(self._teaching, session.table).misplaced
            marks = {str(exercise.number_of(each.swatch_id)): f"belongs in place {each.right_place}" for each in moved}
        self.arrangement.show(order=teaching.numbers(self._teaching), marks=marks, locked=self._teaching.judged)
        self._show_surround()

    def _show_surround(self) -> None:
        lightness = look.SURROUNDS[self.surround.value]
        self.arrangement.show(surround=look.grey_hex(lightness), ink=look.grey_hex(look.legible_on(lightness)))

    def _show_result(self, session: Session, shown: bool) -> None:
        show_if(shown, *self.result, self.misplaced)
        exercise = self._teaching.exercise
        if not shown or exercise is None:
            return
        order = teaching.judged(self._teaching, session.table)
        sentences = [*order.sentences[: len(order.sentences) - len(order.misplaced)], "", ""]
        for words, sentence in zip(self.result, sentences, strict=False):
            words.show(sentence)
        self.misplaced.fill([
            (exercise.number_of(each.swatch_id), each.swatch_id, "too light" if each.widest > 0 else "too dark",
             f"place {each.right_place}", f"{abs(each.widest):.0f} L*", ", ".join(each.reasons) or "–")
            for each in order.misplaced
        ])  # fmt: skip
        show_if(bool(order.misplaced), self.misplaced)

    def _show_class(self, session: Session, under_way: bool) -> None:
        pooled = teaching.pooled(self._teaching, session.table) if under_way else None
        weeks = teaching.weeks(self._teaching, session.table)
        show_if(bool(self._teaching.results), self.class_part)
        show_if(pooled is not None, self.pooled, self.class_words)
        show_if(len(weeks) > 0, self.weeks)
        if pooled is not None:
            self.class_words.show(" ".join(pooled.sentences))
            self.pooled.fill([
                (name, f"{len(one.right) - len(one.misplaced)} of {len(one.right)}", two_decimals(one.tau),
                 two_decimals(one.rho))
                for name, one in pooled.learners.items()
            ])  # fmt: skip
        self.weeks.fill([
            (each["learner"], each["date"], each["exercise"], f"{each['in_order']} of {each['pieces']}",
             two_decimals(each["tau"]), two_decimals(each["gain"], signed=True))
            for each in weeks.to_dict("records")
        ])  # fmt: skip


def _same_pile(new: Session, old: Session) -> bool:
    """Whether charts and handouts would come out alike; reading the catalogue again gives another, equal table."""
    return new.table is old.table or bool(new.table.equals(old.table))
