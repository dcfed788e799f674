"""The Photograph panel: photographs dropped or chosen, outlines corrected by hand, pieces described and kept."""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anywidget
import ipywidgets
import traitlets

from contrastkit.camera.read import PHOTO_SUFFIXES, list_photos
from contrastkit.errors import ContrastkitError, InvalidInputError, UnreadablePhotoError
from contrastkit.keep.adding import Added
from contrastkit.keep.files import StrPath, shown
from contrastkit.keep.photos import keep_photo, photo_folder
from contrastkit.panels import photographs
from contrastkit.panels.panel import Panel
from contrastkit.panels.parts import (
    Choice,
    Folded,
    Line,
    Pick,
    Picture,
    Press,
    Words,
    beside,
    column,
    row,
    script,
    show_if,
)
from contrastkit.panels.photographs import ANOTHER, Marked, Photographs, Shot
from contrastkit.panels.uploads import PART_BYTES, Upload, plain_name
from contrastkit.show.crops import cut_out
from contrastkit.show.study import piece_crops
from contrastkit.show.words import counted

if TYPE_CHECKING:
    from contrastkit.keep.catalogue import Catalogue
    from contrastkit.panels.desk import Desk
    from contrastkit.panels.session import Session

_CROP_SIDE = 240  # pixels
_MOST_OFFERS = 3
_PART = PART_BYTES * 3 // 4
_LABELS = {"ground": "Ground", "paints": "Paints", "plate": "Plate", "sheet": "Sheet", "side": "Side it can be cut to"}
_HINTS = {"side": "such as 3 in, or 80 mm"}
_LIGHTNESS_HINTS = {
    "card": "read it off the card; 49.5 if not said",
    "scale": "of each step, light to dark, such as 95.5, 81, 66, 50.5, 35.5, 20.5",
}


@dataclass(frozen=True)
class Waiting:
    """A photograph that waits to be measured."""

    file: Path
    name: str
    dropped: bool


class Board(anywidget.AnyWidget):
    """The photograph with its outlines; what a hand does to them comes as messages."""

    _esm = script("outlines.js")
    label = traitlets.Unicode("").tag(sync=True)
    alt = traitlets.Unicode("").tag(sync=True)
    photo = traitlets.Bytes(b"").tag(sync=True)
    size: Any = traitlets.List([1, 1]).tag(sync=True)  # rows, columns at full resolution
    pieces: Any = traitlets.List().tag(sync=True)
    reference: Any = traitlets.List().tag(sync=True)
    chosen = traitlets.Unicode("").tag(sync=True)
    task = traitlets.Unicode("look").tag(sync=True)
    turn = traitlets.Int(0).tag(sync=True)  # counts what was refused: the page shows again what holds

    def __init__(self, on_hand: Callable[[str, Any, Any], object]) -> None:
        super().__init__()
        self._on_hand = on_hand
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        if not isinstance(content, dict):
            return
        for verb in ("chose", "moved", "drawn", "discarded", "pointed", "task"):
            if verb in content:
                self._on_hand(verb, content[verb], content.get("corners"))
                return


class Drop(anywidget.AnyWidget):
    """Where photographs are dropped or chosen; they come part by part, see `uploads`."""

    _esm = script("drop.js")
    label = traitlets.Unicode("Choose photographs").tag(sync=True)
    hint = traitlets.Unicode("or drop them here: as a telephone or camera saves them, up to 200 MB each").tag(sync=True)
    main = traitlets.Bool(True).tag(sync=True)
    accept: Any = traitlets.List(["image/*", *sorted(PHOTO_SUFFIXES)]).tag(sync=True)

    def __init__(
        self, folder: Path, on_whole: Callable[[Path, str], object], on_refused: Callable[[str, str], object]
    ) -> None:
        super().__init__()
        self._folder, self._on_whole, self._on_refused = folder, on_whole, on_refused
        self._coming: tuple[str, Upload] | None = None
        self._count = 0
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, buffers: Sequence[memoryview]) -> None:
        if not isinstance(content, dict):
            return
        if isinstance(content.get("offer"), str):
            self._offered(content)
        elif isinstance(content.get("part"), str):
            self._came(content["part"], buffers)
        elif "cancel" in content or "lost" in content:
            self._let_go()
            if "lost" in content:
                name = plain_name(str(content.get("name", "")))
                self._on_refused(name, f"{shown(name)} cannot be read by the browser: is it a folder? Drop it again.")

    def _offered(self, content: Mapping[str, Any]) -> None:
        self._let_go()
        name, size, own = str(content.get("name", "")), content.get("size"), content["offer"]
        self._count += 1
        try:
            upload = Upload(self._folder / str(self._count), name, size if isinstance(size, int) else 0)
        except ContrastkitError as error:
            self._refuse(own, plain_name(name), error)
            return
        self._coming = own, upload
        self._ask()

    def _came(self, own: str, buffers: Sequence[memoryview]) -> None:
        if self._coming is None or self._coming[0] != own:
            return
        upload = self._coming[1]
        try:
            upload.take(buffers[0] if buffers else b"")
        except ContrastkitError as error:
            self._let_go()
            self._refuse(own, upload.name, error)
            return
        if upload.is_whole:
            self._coming = None
            self.send({"done": own})
            self._on_whole(upload.file, upload.name)
        else:
            self._ask()

    def _ask(self) -> None:
        assert self._coming is not None
        own, upload = self._coming
        self.send({"send": own, "from": upload.taken, "length": min(_PART, upload.size - upload.taken)})

    def _refuse(self, own: str, name: str, error: ContrastkitError) -> None:
        self.send({"done": own})
        self._on_refused(name, str(error))

    def _let_go(self) -> None:
        if self._coming is not None:
            self._coming[1].drop()
            self._coming = None


class PhotographPanel(Panel):
    """
    The panel where photographs become pieces of the pile.

    A photograph takes half a second to measure. That is done beside the kernel's own thread, one photograph after the
    other, so that all panels answer meanwhile; widgets are touched by the kernel's thread alone.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._home = tempfile.TemporaryDirectory(prefix="contrastkit-", ignore_cleanup_errors=True)
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="contrastkit-photographs")
        self._waiting: list[Waiting] = []
        self._jobs: list[tuple[Callable[[], Any], Callable[[Any], object]]] = []  # where no kernel is running
        self._busy = False
        self._measured = self._asked = 0
        self._pictured: Shot | None = None
        self._cropped: tuple[Any, ...] = ()
        self._about = ""
        self._looked = (desk.session.photographs, desk.session.photographs)
        super().__init__(desk, *self._parts())
        desk.watch(self._watch)
        self._show(desk.session)

    @property
    def photographs(self) -> Photographs:
        """The photographs on the desk, with the one and the piece that are looked at here; looking is no step."""
        held, looked = self._looked
        return looked if held is self.desk.session.photographs else self.desk.session.photographs

    def _look(self, now: Photographs) -> None:
        self._looked = (self.desk.session.photographs, now)
        self._show(self.desk.session)

    # --- its parts ---

    def _parts(self) -> list[ipywidgets.Widget]:
        attempt = self.desk.attempt
        self.state, self.sentence, self.busy = Words(level=3), Words(), Words()
        self.drop = Drop(Path(self._home.name), self.add_dropped, self._failed)
        self.place = Line("Or the place of a photograph, or of a folder of them, on this computer", "",
                          attempt(self._place), hint="such as /home/me/photos")
        self.failed = column()
        self.forget = Press("Put these away", self._forget)
        self.failures = column(Words("These could not be used:"), self.failed, self.forget)
        self.which = Pick("Photograph", [], 0, attempt(self._which))
        self.board = Board(self._hand)
        self.draw = Press("Draw a missed piece", lambda: self._set_task("draw"))
        self.next = Press("Next to look at", attempt(self._next_doubt))
        self.keep = Press("Keep these pieces", attempt(self._keep), main=True)
        self.away = Press("Put this photograph away", attempt(self._away))
        self.where = Words(quiet=True)
        self.keeping = row(self.keep, self.next)
        work = column(self.which, self.sentence, row(self.draw, self.away), self.board)
        self.work = beside(work, self._piece_part())
        self.about_all, self.about_grey = self._all_part(), self._reference_part()
        return [self.state, self.keeping, self.busy, self.failures, self.work, self.where, self.about_grey,
                self.about_all, self.drop, Folded("From this computer's folders", self.place)]  # fmt: skip

    def _piece_part(self) -> ipywidgets.Widget:
        """What is known and said of the piece that was pointed at."""
        attempt = self.desk.attempt
        self.title, self.crop, self.reading = Words(level=4), Picture(), Words()
        self.flags = [Words() for _ in range(7)]
        self.kept = Words()
        self.offers = [_Offered(attempt(self._same), place) for place in range(_MOST_OFFERS)]
        self.another = Press("None of these: it is new", attempt(self._another))
        self.discard = Press("Not a piece: discard it", attempt(self._discard))
        self.back = Press("Bring it back", attempt(self._bring_back))
        self.undraw = Press("Outline as it was found", attempt(self._as_found))
        self.name = Line("Name", "", attempt(self._rename))
        self.note = Line("Note", "", self._describe("note"), rows=2)
        self.lines = {name: Line(_LABELS[name], "", self._describe(name), hint=_HINTS.get(name, ""))
                      for name in photographs.FIELDS}
        self.fields = column(self.name, self.note, self.lines["ground"], self.lines["paints"], self.lines["side"],
                             Folded("More about it", self.lines["plate"], self.lines["sheet"]))
        show_if(False, *self.offers, self.another, self.back, self.undraw)
        self.details = column(
            self.crop, self.reading, *self.flags, self.kept, *self.offers, self.another,
            row(self.discard, self.back, self.undraw), self.fields,
        )
        return column(self.title, self.details)

    def _all_part(self) -> ipywidgets.Widget:
        of_all = self.photographs.of_all
        self.surface = Choice("The paint is", [(words, each) for each, words in photographs.SURFACE_WORDS.items()],
                              of_all.surface, self._say("surface"))
        self.all_lines = {name: Line(_LABELS[name], getattr(of_all, name), self._say(name), hint=_HINTS.get(name, ""))
                          for name in photographs.FIELDS}
        return Folded("What is true of all these pieces", self.surface, row(*self.all_lines.values()),
                      Words("What is said of one piece goes before what is said of all.", quiet=True))

    def _reference_part(self) -> ipywidgets.Widget:
        self.grey_words = Words()
        self.kind = Choice("Measured against", photographs.REFERENCES, "auto", self._reference)
        self.lightness = Line("Its lightness, L*", "", self._lightness)
        self.point = Press("Point at it", lambda: self._set_task("point"))
        return Folded("What it is measured against", self.grey_words, self.kind, self.lightness, self.point)

    # --- photographs come in ---

    def add(self, paths: StrPath | Iterable[StrPath]) -> None:
        """Measure photographs, or folders of them, on this computer, and put them on the desk."""
        named = [paths] if isinstance(paths, str | os.PathLike) else list(paths)
        self._queue([Waiting(path, path.name, False) for path in list_photos(Path(path) for path in named)])

    def add_dropped(self, file: Path, name: str) -> None:
        """Measure a photograph that came from a page, and put it on the desk."""
        self._queue([Waiting(file, name, True)])

    def _place(self, text: str) -> None:
        place = text.strip().strip('"')
        if not place:
            return
        found = list_photos([Path(place).expanduser()])
        if not found:
            raise UnreadablePhotoError(f"There must be a photograph to measure; none is in {shown(place)}. Name one.")
        self._queue([Waiting(path, path.name, False) for path in found])

    def _queue(self, more: Sequence[Waiting]) -> None:
        if not self._busy:
            self._asked = self._measured = 0
        self._waiting += more
        self._asked += len(more)
        if not self._busy:
            self._measure_next()

    def _measure_next(self) -> None:
        if not self._waiting:
            self._busy = False
            self.busy.show("")
            return
        self._busy = True
        self._measured += 1
        waiting = self._waiting.pop(0)
        self.busy.show(f"Measuring {self._measured} of {self._asked}: {waiting.name}")
        catalogue = self.desk.catalogue

        def look() -> Shot | str:
            try:
                return photographs.look_at(
                    waiting.file, name=waiting.name, dropped=waiting.dropped, catalogue=catalogue
                )
            except ContrastkitError as error:
                return str(error).replace(shown(waiting.file.name), shown(waiting.name))
            except Exception as error:  # whatever it was, the other photographs go on
                return _unforeseen(shown(waiting.name), "measured", error)

        self._beside(look, lambda outcome: self._came(waiting, outcome))

    def _beside(self, job: Callable[[], Any], done: Callable[[Any], object]) -> None:
        """Do a job in the worker and what follows in the kernel's thread; at once where no kernel is running."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._do_here(job, done)
            return

        def told(future: Future[Any]) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(lambda: done(future.result()))

        self._worker.submit(job).add_done_callback(told)

    def _do_here(self, job: Callable[[], Any], done: Callable[[Any], object]) -> None:
        """Do a job now, and then those that follow from it: one after the other, however many there are."""
        self._jobs.append((job, done))
        if len(self._jobs) > 1:
            return
        try:
            while self._jobs:
                now, then = self._jobs[0]
                then(now())
                del self._jobs[0]
        finally:
            self._jobs.clear()

    def _came(self, waiting: Waiting, outcome: Shot | str) -> None:
        if isinstance(outcome, str):
            self._failed(waiting.name, outcome)
        else:
            self._put(waiting, outcome)
        self._measure_next()

    def _put(self, waiting: Waiting, shot: Shot) -> None:
        try:
            now = photographs.with_shot(self.photographs, shot, taken=photographs.names_in(self.desk.session))
        except ContrastkitError as error:
            self._failed(waiting.name, str(error))
            return
        told = photographs.shot_sentence(now.shots[-1])
        known = f" This photograph is known already, as {shot.known}." if shot.known else ""
        self._change(now, f"{now.shots[-1].name}: {told}{known}")

    def _failed(self, name: str, reason: str) -> None:
        self._change(photographs.with_failure(self.photographs, name, reason), f"{name} could not be used.")

    def _forget(self) -> None:
        self._change(photographs.without_failures(self.photographs), "Put away.")

    # --- what the hand does on the photograph ---

    def _change(self, now: Photographs, said: str) -> None:
        self.desk.change(replace(self.desk.session, photographs=now), said)

    def _hand(self, verb: str, value: Any, corners: Any) -> None:
        """What came from the page: held against what can be, before anything is done."""
        calls: dict[str, Callable[[], object]] = {
            "chose": lambda: self._choose(str(value)),
            "moved": lambda: self._move(str(value), corners),
            "drawn": lambda: self._drawn(value),
            "discarded": lambda: self._discard(str(value)),
            "pointed": lambda: self._pointed(value),
            "task": lambda: self._set_task("look"),
        }
        before = self.desk.session
        self.desk.attempt(calls[verb])()
        if self.desk.session is before:
            self.board.turn += 1

    def _set_task(self, task: str) -> None:
        self.board.task = task if self.photographs.shot is not None else "look"

    def _choose(self, name: str) -> None:
        self._look(photographs.choosing(self.photographs, name))

    def _move(self, name: str, corners: Any) -> None:
        now = photographs.with_outline(photographs.choosing(self.photographs, name), name, corners)
        self._change(now, f"Outlined anew: {self._read(now, name)}.")

    def _drawn(self, corners: Any) -> None:
        now = photographs.with_piece(self.photographs, corners)
        self._set_task("look")
        self._change(now, f"Drawn: {self._read(now, now.chosen)}.")

    def _read(self, now: Photographs, name: str) -> str:
        assert now.shot is not None
        return photographs.piece_sentence(photographs.measured_pieces(self.desk.session, now.shot)[name])

    def _discard(self, name: str = "") -> None:
        name = name or self.photographs.chosen
        now = photographs.with_discarded(photographs.choosing(self.photographs, name), name)
        self._change(now, f"Discarded {name}: it is no piece.")

    def _bring_back(self) -> None:
        name = self.photographs.chosen
        self._change(photographs.with_discarded(self.photographs, name, False), f"Brought back {name}.")

    def _as_found(self) -> None:
        name = self.photographs.chosen
        self._change(photographs.as_found(self.photographs, name), f"{name} is outlined as it was found.")

    def _which(self, place: int) -> None:
        self._set_task("look")
        self._look(photographs.looking_at(self.photographs, place))

    def _next_doubt(self) -> None:
        """Point at the next piece that is flagged, or that may be a known one, on whatever photograph it lies."""
        doubts = [(place, name) for place, shot in enumerate(self.photographs.shots) for name in _doubts(shot)]
        here = (self.photographs.looked_at, self.photographs.chosen)
        order = doubts[doubts.index(here) + 1 :] + doubts if here in doubts else doubts
        if not order:
            raise InvalidInputError("There must be a piece to check; there is none. Keep the pieces.")
        self._look(photographs.choosing(photographs.looking_at(self.photographs, order[0][0]), order[0][1]))

    def _away(self) -> None:
        shot = self.photographs.shot
        if shot is not None:
            self._change(photographs.without_shot(self.photographs), f"Put {shot.name} away.")

    # --- the reference ---

    def _reference(self, kind: str) -> None:
        lightness = self.photographs.scale if kind == "scale" else ""
        if kind == "scale" and not lightness:
            self._show_lightness(kind, "")  # to be filled in first
            return
        self._against(kind, lightness)

    def _lightness(self, text: str) -> None:
        self._against(self.kind.value, text, typed=True)

    def _pointed(self, place: Any) -> None:
        self._set_task("look")
        shot = self.photographs.shot
        if not (isinstance(place, list) and len(place) == 2 and all(isinstance(each, int | float) for each in place)):
            raise InvalidInputError("A place on the photograph must be a row and a column. Point again.")
        kind = "card" if shot is None or shot.reference in ("auto", "none") else shot.reference
        self._against(kind, shot.lightness if shot else "", (float(place[0]), float(place[1])))

    def _against(
        self, kind: str, lightness: str, at: tuple[float, float] | None = None, *, typed: bool = False
    ) -> None:
        self._not_busy()
        before = self.photographs
        self._busy = True
        self.busy.show("Measuring this photograph again")

        def measured() -> Photographs | str:
            try:
                return photographs.with_reference(before, kind, lightness, at)
            except ContrastkitError as error:
                return str(error)
            except Exception as error:  # or nothing could be kept or measured on this page any more
                return _unforeseen("the photograph", "measured again", error)

        def told(outcome: Photographs | str) -> None:
            self._busy = False
            self.busy.show("")
            at_field = typed or (kind == "scale" and at is None)
            self.lightness.problem = outcome if isinstance(outcome, str) and at_field else ""
            if isinstance(outcome, str):
                if before.shot is not None and kind != "scale":
                    self.kind.show(before.shot.reference)
                self.desk.say(outcome, problem=True)
            elif self.photographs.shots != before.shots:
                self.desk.say("The pieces have changed meanwhile. Choose again.", problem=True)
                self._show(self.desk.session)
            else:
                assert outcome.shot is not None
                self._change(outcome, f"Measured again: {photographs.shot_sentence(outcome.shot)}")
            self._measure_next()

        self._beside(measured, told)

    def _not_busy(self) -> None:
        if self._busy:
            self._show(self.desk.session)
            raise InvalidInputError("All photographs must be measured first; some still are. Wait a moment.")

    # --- what is said of pieces ---

    def _rename(self, new: str) -> None:
        old = self.photographs.chosen
        try:
            now = photographs.renamed(self.photographs, old, new, taken=photographs.names_in(self.desk.session))
        except ContrastkitError as error:
            self.name.problem = str(error)
            return
        self._change(now, f"{old} is called {now.chosen} now.")

    def _describe(self, field: str) -> Callable[[str], None]:
        def said(text: str) -> None:
            line = self.note if field == "note" else self.lines[field]
            try:
                now = photographs.described(self.photographs, self.photographs.chosen, **{field: text})
            except ContrastkitError as error:
                line.problem = str(error)
                return
            line.problem = ""
            self._change(now, f"{self.photographs.chosen}: {field} {text.strip() or 'not said'}.")

        return said

    def _say(self, field: str) -> Callable[[str], None]:
        def said(text: str) -> None:
            line = self.surface if field == "surface" else self.all_lines[field]
            try:
                now = photographs.said_of_all(self.photographs, **{field: text})
            except ContrastkitError as error:
                line.problem = str(error)
                return
            line.problem = ""
            self._change(now, f"All pieces: {field} {text.strip() or 'not said'}.")

        return said

    def _same(self, place: int) -> None:
        shot, piece = self.photographs.shot, self.photographs.piece
        if shot is None or piece is None:
            return
        known = shot.offers[piece.name][place].name
        now = photographs.same_as(self.photographs, piece.name, known)
        self._change(now, f"{piece.name} is {known}, measured again.")

    def _another(self) -> None:
        name = self.photographs.chosen
        self._change(photographs.same_as(self.photographs, name, ANOTHER), f"{name} is new.")

    # --- kept ---

    def _keep(self) -> None:
        """Make all ready beside the kernel's thread, then keep it as one step."""
        self._not_busy()
        now, catalogue = self.photographs, self.desk.catalogue
        if catalogue is None:
            count = sum(len(shot.to_keep) for shot in now.shots)
            self.desk.change(photographs.joined_to(self.desk.session),
                             f"{counted(count, 'piece')} in the pile, for as long as this page is open.")
            return
        places = [place for place, shot in enumerate(now.shots) if shot.to_keep]
        self._busy = True
        self.busy.show(f"Keeping {counted(sum(len(now.shots[place].to_keep) for place in places), 'piece')}")

        def ready() -> dict[int, dict[str, Any]] | str:
            try:
                return {place: photographs.to_add(now, now.shots[place], _for_good(catalogue, now.shots[place]))
                        for place in places}
            except ContrastkitError as error:
                return str(error)
            except Exception as error:  # or nothing could be kept or measured on this page any more
                return _unforeseen("the pieces", "made ready", error)

        self._beside(ready, lambda outcome: self._ready(now, outcome))

    def _ready(self, now: Photographs, outcome: dict[int, dict[str, Any]] | str) -> None:
        self._busy = False
        self.busy.show("")
        if isinstance(outcome, str):
            self.desk.say(outcome, problem=True)
        elif self.photographs.shots != now.shots or self.photographs.of_all != now.of_all:
            self.desk.say("The pieces have changed meanwhile. Keep again.", problem=True)
        else:
            self.desk.attempt(self._keep_ready)(outcome)
        self._measure_next()

    def _keep_ready(self, adding: dict[int, dict[str, Any]]) -> None:
        added: dict[int, Added] = {}

        def add(place: int) -> Callable[[Catalogue], object]:
            def call(catalogue: Catalogue) -> None:
                added[place] = catalogue.add(**adding[place])

            return call

        def done(_: Catalogue) -> None:
            paths = {place: each["path"] for place, each in adding.items()}
            kept = photographs.with_kept(self.photographs, added, paths)
            self.desk.show(replace(self.desk.session, photographs=kept))

        count = sum(len(self.photographs.shots[place].to_keep) for place in adding)
        said = f"{counted(count, 'piece')} kept in {self.desk.kept_in().where}."
        self.desk.keep(said, *(add(place) for place in adding), done)

    # --- what is in view ---

    def _watch(self, new: Session, old: Session) -> None:
        if new.photographs is not old.photographs:
            self._keep_looking(new.photographs)
        if new.photographs is not old.photographs or new.table is not old.table or new.sorting != old.sorting:
            self._show(new)

    def _keep_looking(self, now: Photographs) -> None:
        """Where nothing else is pointed at on a photograph, the piece that was pointed at before still is."""
        before = self._looked[1]
        here = now.shot.pieces if now.shot is not None and before.looked_at == now.looked_at else ()
        still = not now.chosen and any(piece.name == before.chosen for piece in here)
        self._looked = (now, replace(now, chosen=before.chosen) if still else now)

    def _show(self, session: Session) -> None:
        now = self.photographs
        shot = now.shot
        self.state.show(photographs.state_sentence(now))
        self.drop.main = not now.shots
        self.drop.label = "Add photographs" if now.shots else "Choose photographs"
        show_if(shot is not None, self.work, self.keeping, self.where, self.about_all, self.about_grey)
        show_if(bool(now.failed), self.failures)
        self._show_failed(now.failed)
        self.which.offer([(f"{place + 1} of {len(now.shots)}: {each.name}", place) for place, each
                          in enumerate(now.shots)], now.looked_at)
        show_if(len(now.shots) > 1, self.which, self.sentence)
        self._show_all(now)
        if shot is not None:
            self._show_shot(session, now, shot)
            self._show_keep(session, now, shot)

    def _show_failed(self, failed: Sequence[tuple[str, str]]) -> None:
        there = self.failed.children
        parts = [*there[: len(failed)], *(Words() for _ in failed[len(there) :])]
        for words, (name, reason) in zip(parts, failed, strict=True):
            words.show(f"{name}: {reason}")
        if len(parts) != len(there):
            self.failed.children = parts
        for words in there[len(failed) :]:
            words.close()

    def _show_shot(self, session: Session, now: Photographs, shot: Shot) -> None:
        measured = photographs.measured_pieces(session, shot)
        self.sentence.show(photographs.shot_sentence(shot))
        with self.board.hold_sync():
            if self._pictured is None or self._pictured.picture is not shot.picture:
                self.board.photo = shot.picture
                self.board.size = list(shot.size)
            self._pictured = shot
            self.board.alt = f"{shot.name}, a photograph of a board with {counted(len(measured), 'piece')}"
            self.board.label = f"Pieces on {shot.name}"
            self.board.reference = [list(corner) for corner in shot.reference_outline]
            self.board.pieces = [_on_board(shot, piece, measured) for piece in shot.pieces]
            self.board.chosen = now.chosen
        words = photographs.reference_words(shot)
        self.grey_words.show(f"{words[0].upper()}{words[1:]}.")
        self.kind.show(shot.reference)
        self._show_lightness(shot.reference, shot.lightness)
        self._show_piece(now, shot, measured)
        doubts = sum(len(_doubts(each)) for each in now.shots)
        self.next.disabled = not doubts
        self.next.label = f"Next of {doubts} to look at" if doubts else "None to look at"

    def _show_lightness(self, kind: str, lightness: str) -> None:
        show_if(kind in _LIGHTNESS_HINTS, self.lightness)
        self.lightness.show(lightness)
        self.lightness.hint = _LIGHTNESS_HINTS.get(kind, "")
        if kind not in _LIGHTNESS_HINTS:
            self.lightness.problem = ""

    def _show_piece(self, now: Photographs, shot: Shot, measured: Mapping[str, Any]) -> None:
        piece = now.piece
        show_if(piece is not None, self.details)
        if piece is None:
            self.title.show("Point at a piece to see what is known of it.")
            return
        reading = measured.get(piece.name)
        self.title.show(piece.name)
        self.reading.show("" if reading is None else _reading(reading))
        flags = [] if reading is None else photographs.flag_sentences(reading)
        for words, place in zip(self.flags, range(len(self.flags)), strict=True):
            words.show(flags[place] if place < len(flags) else "")
        self._show_crop(shot, piece)
        known = shot.kept.get(piece.name, ("", ()))[0]
        self.kept.show(f"Kept as {known}." if known else "Discarded: it is no piece." if piece.discarded else "")
        show_if(not piece.discarded, self.discard)
        show_if(piece.discarded, self.back)
        show_if(piece.found not in (None, piece.outline), self.undraw)
        self._show_offers(shot, piece, bool(known))
        show_if(not known and not piece.discarded, self.fields)
        for line, text in ((self.name, piece.name), (self.note, piece.note),
                           *((self.lines[name], getattr(piece, name)) for name in photographs.FIELDS)):
            if self._about != piece.name:
                line.problem = ""
            line.show(text)
        self._about = piece.name

    def _show_crop(self, shot: Shot, piece: Marked) -> None:
        wanted = (id(shot.result.calibration), piece.outline, piece.discarded)
        if self._cropped == wanted:
            return
        self._cropped = wanted
        table = shot.result.table
        one = table[table["swatch_id"] == piece.name]
        if not len(one):
            self.crop.draw(b"", "")
            return
        crop = piece_crops(replace(shot.result, table=one))[piece.name]
        self.crop.draw(cut_out(crop, side=_CROP_SIDE, name=piece.name).pixels, f"{piece.name}, cut out")

    def _show_offers(self, shot: Shot, piece: Marked, kept: bool) -> None:
        offers = () if kept or piece.discarded else shot.offers.get(piece.name, ())
        for place, part in enumerate(self.offers):
            part.tell(offers[place] if place < len(offers) else None, piece.same)
        show_if(bool(offers), self.another)
        self.another.disabled = piece.same == ANOTHER

    def _show_all(self, now: Photographs) -> None:
        self.surface.show(now.of_all.surface)
        for name, line in self.all_lines.items():
            line.show(getattr(now.of_all, name))

    def _show_keep(self, session: Session, now: Photographs, shot: Shot) -> None:
        count = sum(len(each.to_keep) for each in now.shots)
        self.keep.disabled = not count
        them = "this" if count == 1 else "these"
        self.keep.label = f"Keep {them} {counted(count, 'piece')}" if count else "All pieces are kept"
        self.where.show(self._where_words(shot))

    def _where_words(self, shot: Shot) -> str:
        catalogue = self.desk.catalogue
        if catalogue is None:
            return "There is no catalogue behind this page: pieces are kept only for as long as it is open."
        photo = f" The photograph itself is copied to {shown(photo_folder(catalogue.store))}." if shot.dropped else ""
        return f"Pieces are kept in {catalogue.where}.{photo}"


class _Offered(ipywidgets.Box):
    # a known piece that the one pointed at may be

    def __init__(self, on_same: Callable[[int], object], place: int) -> None:
        self.words = Words()
        self.yes = Press("It is the same piece", lambda: on_same(place))
        super().__init__([self.words, self.yes])
        self.add_class("ck-column")

    def tell(self, offer: Any, same: str | None) -> None:
        show_if(offer is not None, self)
        if offer is not None:
            self.words.show(photographs.offer_sentence(offer))
            self.yes.disabled = same == offer.name
            self.yes.label = f"It is {offer.name}" if same == offer.name else "It is the same piece"


def _unforeseen(what: str, done: str, error: Exception) -> str:
    words = str(error) or type(error).__name__
    return f"All must go well for {what} to be {done}; it did not, the computer says: {words}. Try again with fewer."


def _for_good(catalogue: Catalogue, shot: Shot) -> Path:
    return keep_photo(catalogue.store, shot.file, shot.name) if shot.dropped else shot.file


def _doubts(shot: Shot) -> list[str]:
    """Names of pieces that are flagged, or that may be known ones and nobody has said."""
    flags = dict(zip(shot.result.table["swatch_id"], shot.result.table["flags"], strict=True))
    return [
        piece.name for piece in shot.shown
        if flags.get(piece.name) or (piece.name in shot.offers and piece.same is None and piece.name not in shot.kept)
    ]  # fmt: skip


def _reading(piece: Any) -> str:
    group = f"{piece.group}, between two groups" if piece.borderline else piece.group
    return f"L* {piece.lightness_words}, {group}; Munsell value {piece.value_words}."


def _on_board(shot: Shot, piece: Marked, measured: Mapping[str, Any]) -> dict[str, Any]:
    stem = shot.name.rsplit(".", 1)[0]
    short = piece.name.removeprefix(f"{stem}-") if piece.name.startswith(f"{stem}-") else piece.name
    short = short if len(short) <= 14 else f"{short[:12]}…"
    reading = measured.get(piece.name)
    words = f"{piece.name}, discarded" if reading is None else photographs.piece_sentence(reading)
    mark = " discarded" if piece.discarded else " check" if reading is not None and reading.flags else ""
    return {"name": piece.name, "short": f"{short}{mark}", "corners": [list(corner) for corner in piece.outline],
            "words": words, "discarded": piece.discarded}
