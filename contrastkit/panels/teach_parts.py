"""The two folded parts of the Teach panel: charts to teach with, and handouts. Both draw when they are asked, aside."""

from __future__ import annotations

import datetime
from collections import OrderedDict
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, cast

import ipywidgets

from contrastkit.errors import InvalidInputError
from contrastkit.panels import teach_paper
from contrastkit.panels.aside import Aside
from contrastkit.panels.parts import Choice, File, Folded, Line, Pick, Picture, Press, Said, column, row, show_if
from contrastkit.panels.session import Session
from contrastkit.panels.teach_paper import (
    HANDOUTS,
    MOST_LEARNERS,
    MOST_PIECES,
    PILE,
    ChartWish,
    Document,
    HandoutWish,
    chart_words,
)
from contrastkit.show.chart import PRINT_DPI, SCREEN_DPI, Chart, pages_pdf
from contrastkit.show.handout_kinds import chart_page
from contrastkit.show.handouts import STEPS, PageLook
from contrastkit.show.lessons import LESSONS
from contrastkit.show.studies import VALUES
from contrastkit.show.words import counted

if TYPE_CHECKING:
    from contrastkit.panels.desk import Desk

_FINE_DPI = 4 / 3 * SCREEN_DPI  # of a chart on the page: screens have pixels finer than the page's
_REMEMBERED = 16  # charts that are kept, so that what was seen a moment ago is there at once
_MOST_FILES = 3
_OWN = ("the pile's darkest, most middling and lightest", PILE)
_PDF, _PNG = "application/pdf", "image/png"
Today = Callable[[], datetime.date]


class _Part(Folded):
    """A folded part that does nothing before it is opened."""

    def __init__(self, label: str, desk: Desk, aside: Aside, today: Today, *children: ipywidgets.Widget) -> None:
        self.desk, self.aside, self._today = desk, aside, today
        self._number = 0  # of what was asked for last: what comes of anything older is out of date
        super().__init__(label, *children)

    @property
    def _page_look(self) -> PageLook:
        now = self.desk.session.teaching
        return PageLook(now.heading, now.paper, self._today())

    def _do(self, job: Callable[[], Any], done: Callable[[Any], object], what: str) -> None:
        """Do a job aside; left out where something newer was asked for before it begins, dropped before it is shown."""
        self._number += 1
        number = self._number

        def only_newest(outcome: Any) -> None:
            if number == self._number:
                done(outcome)

        self.aside.do(lambda: job() if number == self._number else None, only_newest, what=what)


class ChartsPart(_Part):
    """
    Charts to teach with: one of them large, drawn from the pile on the desk, to be taken away as PDF and PNG.

    Parameters
    ----------
    desk, aside, today : what it is about, where it draws, the date on what is printed
    own : the controls that say what all that is printed has in common
    """

    def __init__(self, desk: Desk, aside: Aside, today: Today, own: ipywidgets.Widget) -> None:
        self._drawn: OrderedDict[Any, Chart] = OrderedDict()
        self._asked: Any = None  # what is in view, or on its way there
        self._chart: Chart | None = None
        self._kind = ""  # of the chart in view
        self._drawing = self._make_then = False
        self._offered: Any = None  # heading and paper of what is to be taken away
        first = ChartWish()
        self.kind = Pick("Chart", [(chart_words(kind), kind) for kind in LESSONS], first.kind, self._chosen)
        self.steps = Choice("Steps", [(str(steps), steps) for steps in STEPS], first.steps, self._chosen)
        self.stack = Pick("Stack", [_OWN], PILE, self._chosen)
        self.said, self.picture = Said(), Picture()
        self.make = Press("Make PDF and picture", self._make)
        self.pdf, self.png = File("The chart on paper (PDF)"), File("The picture (PNG)")
        self.away = column(own, row(self.make, self.pdf, self.png))
        super().__init__("Charts to teach with", desk, aside, today, row(self.kind, self.steps, self.stack), self.said,
                         self.picture, self.away)  # fmt: skip
        self._show_options()

    @property
    def wish(self) -> ChartWish:
        """The chart that is chosen."""
        return ChartWish(self.kind.value, self.steps.value, self.stack.value)

    def _chosen(self, _: Any) -> None:
        self._show_options()
        self.refresh()

    def _show_options(self) -> None:
        show_if(self.kind.value == "grey-scale", self.steps)
        show_if(self.kind.value == "distances" and len(self.stack.options) > 1, self.stack)

    def forget(self) -> None:
        """Forget all that was drawn: the pile is another."""
        self._drawn.clear()
        self._asked, self._drawing, self._make_then = None, False, False
        self._number += 1  # and what is on its way
        self.refresh()

    def turn(self) -> None:
        """Open it and draw what is chosen; or fold it away."""
        super().turn()
        self.refresh()

    def refresh(self) -> None:
        """Draw the chart that is chosen, unless it is in view or the part is folded away."""
        if not self.is_open:
            return
        session = self.desk.session
        laid = [_OWN, *teach_paper.stacks(session)]
        self.stack.offer(laid, self.stack.value if self.stack.value in [number for _, number in laid] else PILE)
        self._show_options()
        wish = self.wish
        asked = (wish.kind, *_settled(session, wish))
        if asked != self._asked:
            self._asked = asked
            self._draw(session, wish, asked)
        elif self._offered != (session.teaching.heading, session.teaching.paper):
            self._withdraw()

    def _draw(self, session: Session, wish: ChartWish, asked: Any) -> None:
        self._withdraw()
        self._say(f"Drawing: {chart_words(wish.kind)} …")
        self._drawing, self._make_then = True, False
        _ = session.sorted  # worked out here: sessions are not made for two threads
        known = self._drawn.get(asked)

        def job() -> tuple[Chart, bytes]:
            chart = known or teach_paper.draw_chart(session, wish)
            return chart, chart.png(dpi=_FINE_DPI)

        self._do(job, self._came, "the chart")

    def _came(self, outcome: tuple[Chart, bytes] | str) -> None:
        self._drawing, self._kind = False, self._asked[0]
        if isinstance(outcome, str):
            self._chart = None
            self._say(outcome, problem=True)
            self.picture.draw(b"", "")
        else:
            self._chart, png = outcome
            self._drawn[self._asked] = self._chart
            while len(self._drawn) > _REMEMBERED:
                self._drawn.popitem(last=False)
            width, height = (round(inches * SCREEN_DPI) for inches in self._chart.figure.get_size_inches())
            self.picture.draw(png, self._chart.description, size=(width, height))
            self._say(f"Drawn from the pile: {counted(len(self.desk.session.table), 'piece')}.")
        show_if(self._chart is not None, self.picture, self.away)
        if self._make_then:
            self._make()

    def _say(self, sentence: str, *, problem: bool = False) -> None:
        with self.said.hold_sync():
            self.said.value, self.said.problem = ("", sentence) if problem else (sentence, "")

    # --- taken away ---

    def _withdraw(self) -> None:
        for file in (self.pdf, self.png):
            file.offer(b"", "", _PDF)
        self._offered = None

    def _make(self) -> None:
        if self._drawing:
            self._make_then = True
            return
        self._make_then = False
        chart, kind, look = self._chart, self._kind, self._page_look
        if chart is None:
            return
        self._say("Making PDF and picture …")

        def job() -> tuple[bytes, bytes]:
            page = chart_page(look, kind, chart)
            return pages_pdf([page]), chart.png(dpi=PRINT_DPI)

        self._do(job, lambda outcome: self._made(outcome, kind, look), "the PDF")

    def _made(self, outcome: tuple[bytes, bytes] | str, kind: str, look: PageLook) -> None:
        if isinstance(outcome, str):
            self._say(outcome, problem=True)
            return
        self.pdf.label = f"The chart on {look.paper} (PDF)"
        self.pdf.offer(outcome[0], f"{kind}.pdf", _PDF)
        self.png.offer(outcome[1], f"{kind}.png", _PNG)
        self._offered = (look.heading, look.paper)
        self._say(f"The chart is ready, on {look.paper} and as a picture.")


def _settled(session: Session, wish: ChartWish) -> tuple[Any, ...]:
    """What the chart of a kind hangs on, beside the pile."""
    if wish.kind == "distances" and wish.stack != PILE:
        now = session.laying
        return (now.stacks[wish.stack], now.background, now.rim_mm, now.rim_lightness, now.sides)
    return (session.breaks, *([wish.steps] if wish.kind == "grey-scale" else []))


class HandoutsPart(_Part):
    """
    Handouts: printed pages for a class, each as PDF.

    Parameters
    ----------
    desk, aside, today, own : as for `ChartsPart`
    """

    def __init__(self, desk: Desk, aside: Aside, today: Today, own: ipywidgets.Widget) -> None:
        first = HandoutWish()
        self._asked: Any = None  # what the files are of
        self._learners, self._each = first.learners, first.pieces
        self.kind = Pick("Handout", [(words, kind) for kind, words in HANDOUTS.items()], first.kind, self._chosen)
        self.steps = Choice("Steps", [(str(steps), steps) for steps in STEPS], first.steps, self._chosen)
        self.learners = Line("How many learners", str(first.learners), self._learners_written)
        self.each = Line("Pieces that each makes", str(first.pieces), self._each_written)
        for line in (self.learners, self.each):
            line.layout.max_width = "320px"  # whatever is said below it
        self.subject = Pick("A study of", [], "", self._chosen)
        self.values = Choice("In how many values", [(str(count), count) for count in VALUES], first.values,
                             self._values)
        self.method = Choice("Their edges", teach_paper.methods(first.values), first.method, self._chosen)
        self.make = Press("Make the PDF", self._make)
        self.files = [File("") for _ in range(_MOST_FILES)]
        self.said = Said()
        super().__init__(
            "Handouts, on paper", desk, aside, today, row(self.kind, self.subject, self.learners, self.each),
            self.steps, self.values, self.method, own, row(self.make, *self.files), self.said,
        )  # fmt: skip
        self._show_options()

    @property
    def wish(self) -> HandoutWish:
        """The handout that is chosen."""
        wish = HandoutWish(self.kind.value, self.steps.value, self._learners, self._each, values=self.values.value,
                           method=self.method.value)  # fmt: skip
        return teach_paper.of_subject(wish, cast(str, self.subject.value) or "")

    def _chosen(self, _: Any) -> None:
        self._show_options()
        self.refresh()

    def _values(self, values: int) -> None:
        offered = teach_paper.methods(values)
        known = [method for _, method in offered]
        self.method.offer(offered, self.method.value if self.method.value in known else known[0])
        self.refresh()

    def _learners_written(self, text: str) -> None:
        self._learners = _number_in(self.learners, text, "The number of learners", MOST_LEARNERS, self._learners)
        self.refresh()

    def _each_written(self, text: str) -> None:
        self._each = _number_in(self.each, text, "The number of pieces", MOST_PIECES, self._each)
        self.refresh()

    def _show_options(self) -> None:
        kind = self.kind.value
        show_if(kind == "grey-scale", self.steps)
        show_if(kind == "kit", self.learners, self.each)
        show_if(kind == "study", self.subject, self.values, self.method)

    def turn(self) -> None:
        """Open it, with what the pile now has to choose from; or fold it away."""
        super().turn()
        self.refresh()

    def refresh(self) -> None:
        """Take back what was made of another pile, or in another look."""
        if not self.is_open:
            return
        session = self.desk.session
        listed = teach_paper.subjects(session)
        values = [value for _, value in listed]
        at = self.subject.value
        self.subject.offer(listed, at if at in values else _first_of(session, values))
        if self._asked is not None and self._asked != teach_paper.hangs_on(session, self.wish):
            self.forget()

    def forget(self) -> None:
        """Take back what was made."""
        self._asked = None
        self._number += 1  # and what is being made
        self.said.value, self.said.problem = "", ""
        for file in self.files:
            file.offer(b"", "", _PDF)

    def _make(self) -> None:
        self.forget()
        wrong = self.learners.problem or self.each.problem
        if self.kind.value == "kit" and wrong:
            self.said.problem = wrong
            return
        session, wish, look = self.desk.session, self.wish, self._page_look
        _ = session.sorted  # worked out here: sessions are not made for two threads
        self._asked = teach_paper.hangs_on(session, wish)
        self.said.value = f"Making: {HANDOUTS[wish.kind]} …"

        def job() -> list[tuple[Document, bytes]]:
            return [(document, document.pdf()) for document in teach_paper.documents(session, wish, look)]

        self._do(job, self._made, "the handout")

    def _made(self, outcome: list[tuple[Document, bytes]] | str) -> None:
        if isinstance(outcome, str):
            self.said.value, self.said.problem = "", outcome
            return
        for file, (document, data) in zip(self.files, outcome, strict=False):
            file.label = f"{document.words} (PDF, {counted(len(document.pages), 'page')})"
            file.offer(data, f"{document.name}.pdf", _PDF)
        paper = self._page_look.paper
        self.said.value = f"Ready to print on {paper}, at 100 %: true to size only if the printer does not fit it."


def _number_in(line: Line, text: str, what: str, most: int, before: int) -> int:
    """The number that was written, or the one before where it is none, which the line then says."""
    line.problem = ""
    try:
        return teach_paper.whole_number(text, most, what)
    except InvalidInputError as error:
        line.problem = str(error)
        return before


def _first_of(session: Session, subjects: list[str]) -> str:
    """The piece that was picked last on any panel, or else the first there is."""
    picked = [f"swatch {name}" for name in session.picked if f"swatch {name}" in subjects]
    return (picked or subjects or [""])[-1 if picked else 0]
